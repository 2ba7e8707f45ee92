"""Numbers out of the text of a mesh file, fast: compiled readers over the file's bytes."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from numba import njit

FloatArray = npt.NDArray[np.float64]
POWERS = 10.0 ** np.arange(0, 23)  # exact in float64, so numbers of up to 15 digits come out correctly rounded


@njit(cache=True, nogil=True)
def number_at(text, at, powers):  # type: ignore[no-untyped-def]
    """Read one number that starts at byte `at`: (value, next byte); next byte is -1 where there is no number."""
    n = len(text)
    negative = False
    if at < n and (text[at] == 45 or text[at] == 43):
        negative = text[at] == 45
        at += 1
    mantissa, digits, exponent, any_digit, point = np.int64(0), 0, 0, False, False
    while at < n:
        c = text[at]
        if 48 <= c <= 57:
            any_digit = True
            if digits < 18:
                mantissa = mantissa * 10 + (c - 48)
                if mantissa > 0:
                    digits += 1
                if point:
                    exponent -= 1
            elif not point:
                exponent += 1
        elif c == 46 and not point:
            point = True
        else:
            break
        at += 1
    if not any_digit:
        word = at + 2 < n and (text[at] | 32) == 110 and (text[at + 1] | 32) == 97 and (text[at + 2] | 32) == 110
        return (np.nan, at + 3) if word else (0.0, -1)
    if at < n and (text[at] == 101 or text[at] == 69):
        at += 1
        below = False
        if at < n and (text[at] == 45 or text[at] == 43):
            below = text[at] == 45
            at += 1
        written = 0
        while at < n and 48 <= text[at] <= 57:
            written = min(written * 10 + (text[at] - 48), 9999)
            at += 1
        exponent += -written if below else written
    value = float(mantissa)
    while exponent > 0 and value < np.inf and value > 0:
        step = min(exponent, 22)
        value *= powers[step]
        exponent -= step
    while exponent < 0 and value > 0:
        step = min(-exponent, 22)
        value /= powers[step]
        exponent += step
    return (-value if negative else value), at


@njit(cache=True, nogil=True)
def _numbers(text, start, out, powers):  # type: ignore[no-untyped-def]
    n, count, at = len(text), 0, start
    while count < len(out):
        while at < n and text[at] <= 32:
            at += 1
        if at >= n:
            break
        value, after = number_at(text, at, powers)
        if after < 0:
            return count, -1
        out[count] = value
        count += 1
        at = after
    return count, at


@njit(cache=True, nogil=True)
def _after_word(text, word, out, powers):  # type: ignore[no-untyped-def]
    """Three numbers after each place where `word` stands alone between blanks: count, in lower or upper case."""
    n, w, count, at = len(text), len(word), 0, 0
    while at + w < n and count < len(out):
        hit = text[at + w] <= 32 and (at == 0 or text[at - 1] <= 32)
        k = 0
        while hit and k < w:
            hit = (text[at + k] | 32) == word[k]
            k += 1
        if not hit:
            at += 1
            continue
        p = at + w
        good = True
        for k in range(3):
            while p < n and text[p] <= 32:
                p += 1
            value, after = number_at(text, p, powers)
            if after < 0:
                good = False
                break
            out[count, k] = value
            p = after
        if good:
            count += 1
            at = p
        else:
            at += w
    return count


def numbers(text: npt.NDArray[np.uint8], start: int, most: int) -> tuple[FloatArray, int]:
    """Up to `most` blank-separated numbers from byte `start`: (values, next byte), next byte -1 after a bad word."""
    out = np.empty(most)
    count, at = _numbers(text, start, out, POWERS)
    return out[:count], at


def triples_after(text: npt.NDArray[np.uint8], word: bytes) -> FloatArray:
    """Three numbers after each stand-alone `word` (lower case; any case is found): (k, 3)."""
    out = np.empty((len(text) // (len(word) + 6) + 1, 3))
    count = _after_word(text, np.frombuffer(word, np.uint8), out, POWERS)
    return out[:count]
