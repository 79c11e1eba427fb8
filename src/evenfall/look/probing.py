"""Whether a step of the look gives numbers: tried on colours before it meets a picture.

What a LUT, a CDL or a view does is not for us to judge, but NaN and Inf are no colours: a picture
with them is black. Tables, matrices and exponents are not looked into, since what counts is what
comes out.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import product

import numpy as np

from evenfall.look.arrays import Planes

__all__ = ["ENCODED", "SCENE", "unsound_value"]

SCENE = (0.0, 0.001, 0.18, 1.0, 16.0, 1024.0)
"""Scene-linear values that pictures are made of, and a lamp seen directly."""

ENCODED = (0.0, 0.1, 0.25, 0.5, 0.75, 0.9, 1.0)
"""Display-encoded values."""


def unsound_value(step: Callable[[Planes], object], levels: tuple[float, ...]) -> float | None:
    """Find out for which values a step gives NaN or Inf.

    Parameters
    ----------
    step : callable
        Works in place on planes of the shape (3, n).
    levels : tuple of float
        `SCENE` or `ENCODED`; every colour of three of them is tried.

    Returns
    -------
    float or None
        The least of the levels such that colours of it and those below are not all sound; None
        when all are.

    Examples
    --------
    >>> def too_steep(planes):
    ...     planes **= 50
    >>> unsound_value(too_steep, SCENE), unsound_value(too_steep, ENCODED)
    (16.0, None)
    """
    colours = np.array(list(product(levels, repeat=3)), np.float32)
    planes = np.ascontiguousarray(colours.T)
    with np.errstate(all="ignore"):  # which is what is being looked for
        step(planes)
    broken = ~np.isfinite(planes).all(axis=0)
    if not broken.any():
        return None
    return min(levels, key=lambda level: abs(level - float(colours[broken].max(axis=1).min())))
