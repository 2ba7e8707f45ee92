"""Files of one command put into a folder all at once, each whole; other files there are left alone."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Mapping
from io import BytesIO
from pathlib import Path

from PIL import Image

from shellgen.errors import ShellgenError


def put_files(folder: Path, files: Mapping[str, bytes]) -> None:
    """Write files by name, in subfolders where the name has them; all are complete before the first takes its place.

    Raises ShellgenError if the folder cannot be written.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(prefix=".new-", dir=folder) as fresh:
            for name, data in files.items():
                path = Path(fresh, name)
                path.parent.mkdir(parents=True, exist_ok=True)
                path.write_bytes(data)
            for name in files:
                (folder / name).parent.mkdir(parents=True, exist_ok=True)
                os.replace(Path(fresh, name), folder / name)
    except OSError as error:
        raise ShellgenError(
            f"{folder} cannot be written: {error.strerror or error}. Choose another folder with --out."
        ) from error


def png(page: Image.Image) -> bytes:
    """A picture as PNG bytes that depend on the drawing alone."""
    buffer = BytesIO()
    page.save(buffer, format="PNG", compress_level=4)
    return buffer.getvalue()
