"""Soft shade in corners and behind edges, from the depth of a drawn picture."""

from __future__ import annotations

import numpy as np
from PIL import Image

from shellgen.sheet.zbuffer import ByteArray, Picture

_COARSE = 4


def contact_shade(picture: Picture, strength: float = 0.36, radius_px: float = 24.0) -> ByteArray:
    """The picture's colours (height, width, 3), darkened where the neighbourhood stands nearer to the viewer.

    The mean depth within about `radius_px` pixels, over drawn pixels alone, less the pixel's own depth; an eighth of
    the scene's depth saturates. The means are smooth and taken on a raster four times coarser. Empty paper stays.
    """
    from scipy.ndimage import gaussian_filter

    height, width = picture.rgb.shape[:2]
    over = picture.depth_mm.shape[0] // height
    own = picture.depth_mm[::over, ::over]
    drawn = np.isfinite(own)
    if not drawn.any():
        return picture.rgb
    span = float(np.ptp(own[drawn])) or 1.0
    coarse = own[_COARSE // 2 :: _COARSE, _COARSE // 2 :: _COARSE]
    weight = np.isfinite(coarse).astype(np.float32)
    filled = np.where(weight > 0, coarse, 0.0).astype(np.float32)
    factor = np.ones(own.shape, np.float32)
    for sigma in (radius_px / _COARSE, radius_px / _COARSE / 3):
        share = gaussian_filter(weight, sigma, truncate=3.0)
        mean = gaussian_filter(filled, sigma, truncate=3.0) / np.maximum(share, 1e-6)
        wide = Image.fromarray(mean.astype(np.float32)).resize((width, height), Image.Resampling.BILINEAR)
        over_own = (np.asarray(wide) - own) / np.float32(0.125 * span)
        factor -= np.float32(strength / 2) * np.clip(over_own, 0.0, 1.0, dtype=np.float32)
    factor[~drawn] = 1.0
    out: ByteArray = np.rint(picture.rgb * factor[..., None]).astype(np.uint8)
    return out
