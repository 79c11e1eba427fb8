"""What is lost at the ends of the display: where a picture is clipped, and where it is black."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

__all__ = ["draw_ends"]

_CLIPPED, _BLACK = (232, 72, 28), (40, 96, 220)

Codes = npt.NDArray[np.uint8]


def draw_ends(codes: Codes) -> Codes:
    """Show a picture in grey, with what is clipped in orange and what is black in blue.

    A pixel is clipped where any channel is at its top code, and black where all are 0.

    Parameters
    ----------
    codes : ndarray, shape (H, W, 3), uint8
        sRGB codes.

    Returns
    -------
    ndarray, shape (H, W, 3), uint8

    Examples
    --------
    >>> draw_ends(np.array([[[255, 9, 9], [0, 0, 0], [90, 90, 90]]], np.uint8)).tolist()
    [[[232, 72, 28], [40, 96, 220], [70, 70, 70]]]
    """
    grey = codes @ np.array([0.2126, 0.7152, 0.0722], np.float32)  # BT.709 luma
    dulled = (20 + 0.56 * grey).astype(np.uint8)
    drawn = np.repeat(dulled[..., None], 3, axis=2)
    drawn[(codes == 255).any(axis=2)] = _CLIPPED
    drawn[(codes == 0).all(axis=2)] = _BLACK
    return drawn
