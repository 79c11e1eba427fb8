"""Chromatic fringing: a lens that magnifies red, green and blue a little differently."""

from __future__ import annotations

import numpy as np

from evenfall.look.arrays import Planes
from evenfall.recipe.look import Fringe

__all__ = ["STRONGEST_SHIFT", "add_fringe"]

STRONGEST_SHIFT = 0.003
"""Shift of red outwards and of blue inwards at strength 1, as a share of the distance from the
middle."""


def add_fringe(planes: Planes, fringe: Fringe) -> None:
    """Magnify red and reduce blue about the middle of the picture, in place.

    Resampled linearly, because a kernel with negative lobes would draw dark rings around lamps;
    beyond the border the picture is continued by its edge.

    Parameters
    ----------
    planes : ndarray of float32, shape (3, H, W)
        Working values.
    fringe : Fringe
        Strength.

    Examples
    --------
    >>> planes = np.ones((3, 20, 30), np.float32)
    >>> add_fringe(planes, Fringe(strength=1.0))
    >>> bool(np.allclose(planes, 1.0, atol=1e-6))
    True
    """
    from PIL import Image

    height, width = planes.shape[1:]
    margin = 3 + int(np.ceil(STRONGEST_SHIFT * max(width, height)))
    for channel, sign in ((0, 1.0), (2, -1.0)):
        shrink = 1.0 / (1.0 + sign * STRONGEST_SHIFT * fringe.strength)
        padded = Image.fromarray(np.pad(planes[channel], margin, mode="edge"))
        half_width, half_height = width * shrink / 2, height * shrink / 2
        middle_x, middle_y = width / 2 + margin, height / 2 + margin
        box = (
            middle_x - half_width,
            middle_y - half_height,
            middle_x + half_width,
            middle_y + half_height,
        )
        planes[channel] = np.asarray(padded.resize((width, height), Image.Resampling.BILINEAR, box))
