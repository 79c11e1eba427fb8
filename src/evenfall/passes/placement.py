"""Putting the rectangle that a renderer stored where it belongs in the picture."""

from __future__ import annotations

import numpy as np

from evenfall.passes.header import Window
from evenfall.passes.image import Array

__all__ = ["place"]


def place(stored: Array, data_window: Window, display_window: Window) -> Array:
    """Return `stored` in the frame of the display window, 0 where nothing was stored.

    Parameters
    ----------
    stored : ndarray, shape (h, w)
        Pixels of the data window.
    data_window, display_window : tuple of 4 int
        Min x, min y, max x, max y, inclusive, in the same coordinates.

    Returns
    -------
    ndarray, shape (H, W) of the display window
        `stored` itself where the windows are the same.

    Examples
    --------
    >>> place(np.ones((1, 2)), (1, 0, 2, 0), (0, 0, 2, 1)).tolist()
    [[0.0, 1.0, 1.0], [0.0, 0.0, 0.0]]
    """
    if data_window == display_window:
        return np.ascontiguousarray(stored)
    left, top, right, bottom = display_window
    placed = np.zeros((bottom - top + 1, right - left + 1), stored.dtype)
    first_x, first_y = max(left, data_window[0]), max(top, data_window[1])
    last_x, last_y = min(right, data_window[2]), min(bottom, data_window[3])
    if first_x > last_x or first_y > last_y:
        return placed
    placed[first_y - top : last_y - top + 1, first_x - left : last_x - left + 1] = stored[
        first_y - data_window[1] : last_y - data_window[1] + 1,
        first_x - data_window[0] : last_x - data_window[0] + 1,
    ]
    return placed
