"""Pictures turned upright by the orientation tag that TIFF and Exif share.

Source: TIFF Revision 6.0, section 8, tag 274; CIPA DC-008 (Exif), 4.6.4.
"""

from __future__ import annotations

from typing import TypeVar

import numpy as np
import numpy.typing as npt

__all__ = ["is_transposed", "upright"]

Pixels = TypeVar("Pixels", bound="npt.NDArray[np.generic]")

_TURNS: dict[int, tuple[int, bool]] = {
    # Quarter turns against the clock, then mirrored from left to right.
    2: (0, True),
    3: (2, False),
    4: (2, True),
    5: (3, True),
    6: (3, False),
    7: (1, True),
    8: (1, False),
}


def is_transposed(orientation: int) -> bool:
    """Whether width and height change places.

    Examples
    --------
    >>> is_transposed(3), is_transposed(6)
    (False, True)
    """
    return _TURNS.get(orientation, (0, False))[0] % 2 == 1


def upright(pixels: Pixels, orientation: int) -> Pixels:
    """Return pixels as they are meant to be seen; orientations that are none change nothing.

    Parameters
    ----------
    pixels : ndarray
        Shape (H, W) or (H, W, C), as stored.
    orientation : int
        1 to 8.

    Examples
    --------
    >>> upright(np.array([[1, 2, 3]]), 6).tolist()  # its first row is the right side
    [[1], [2], [3]]
    """
    if orientation not in _TURNS:
        return pixels
    quarters, mirrored = _TURNS[orientation]
    turned = np.rot90(pixels, quarters)
    found: Pixels = np.ascontiguousarray(turned[:, ::-1] if mirrored else turned)  # type: ignore[assignment]
    return found
