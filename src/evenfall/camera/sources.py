"""Where a pass shows its lights themselves: lamps, and the sky in a window or above a house.

A lamp is many times as bright as nearly all of what it lights; the sky is near the brightest of its
pass. Both are told by quantiles, so that neither exposure nor units count.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

__all__ = ["LAMP", "SKY", "shining", "widened"]

Mask = npt.NDArray[np.bool_]
Plane = npt.NDArray[np.floating[Any]]

LAMP = (5.0, 0.97)
"""A lamp: so many times as bright as the light of its pass at this quantile."""

SKY = (0.5, 0.98)
"""The sky, as `LAMP`."""


def shining(light: Plane, kind: tuple[float, float], among: Plane) -> Mask:
    """Tell where a light is seen itself.

    Parameters
    ----------
    light : ndarray, shape (H, W)
        What the pass has, in any unit.
    kind : tuple of float
        `LAMP` or `SKY`.
    among : ndarray
        Pixels that the quantile is taken of; those without light do not count.

    Returns
    -------
    ndarray of bool, shape (H, W)
        Nowhere where nothing is lit.

    Examples
    --------
    >>> wall = np.ones((20, 20)); wall[3, 4] = 50
    >>> int(np.count_nonzero(shining(wall, LAMP, wall)))
    1
    """
    times, quantile = kind
    lit = among[among > 0]
    if not lit.size:
        return np.zeros(light.shape, bool)
    seen: Mask = light > times * float(np.quantile(lit, quantile))
    return seen


def widened(mask: Mask, reach: int) -> Mask:
    """Widen a mask by so many pixels to all sides, corners included.

    Examples
    --------
    >>> mask = np.zeros((9, 9), bool); mask[4, 4] = True
    >>> int(np.count_nonzero(widened(mask, 2)))
    25
    """
    wide: Mask = mask.copy()
    for axis in (0, 1):
        before = np.moveaxis(wide.copy(), axis, 0)
        after = np.moveaxis(wide, axis, 0)
        for step in range(1, reach + 1):
            after[step:] |= before[:-step]
            after[:-step] |= before[step:]
    return wide
