"""Figures of a finished picture that several reports give: each is counted here, once."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

__all__ = ["at_top", "count_ends"]

Floats = npt.NDArray[np.float32]
PixelCounts = tuple[int, int]
"""Pixels at the top of the display, and pixels at its bottom."""

_TOP = np.float32(1 - 0.5 / 255)
_BOTTOM = np.float32(0.5 / 255)


def at_top(encoded: Floats) -> npt.NDArray[np.bool_]:
    """Mark pixels that have a channel at the top code of an 8-bit display, 255; shape (h, W)."""
    top: npt.NDArray[np.bool_] = encoded.max(axis=0) >= _TOP
    return top


def count_ends(encoded: Floats) -> PixelCounts:
    """Count pixels that have a channel at the top of an 8-bit display, and those all at its bottom.

    A value counts as the code of 8 bits that it is nearest to: 255 and 0.

    Parameters
    ----------
    encoded : ndarray, shape (3, h, W), float32
        Display-encoded values, 0 to 1.

    Examples
    --------
    >>> pixels = np.array([[[1.0, 0.5, 0.0]], [[0.2, 0.5, 0.0]], [[0.2, 0.5, 0.001]]], np.float32)
    >>> count_ends(pixels)
    (1, 1)
    """
    highest = np.maximum(np.maximum(encoded[0], encoded[1]), encoded[2])
    return int(np.count_nonzero(highest >= _TOP)), int(np.count_nonzero(highest < _BOTTOM))
