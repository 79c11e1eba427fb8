"""A damped step of least squares that stays inside bounds."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

__all__ = ["bounded_step"]

Vector = npt.NDArray[np.float64]
Matrix = npt.NDArray[np.float64]

_AT = 1e-9


def bounded_step(
    normal: Matrix, gradient: Vector, here: Vector, low: Vector, high: Vector, damping: float
) -> Vector:
    """Step from a point towards the least squares there (Levenberg 1944, Marquardt 1963).

    Unknowns that lie at a bound and are pushed beyond it stand still, and the others are solved
    without them; what would leave the bounds on its way ends there.

    Parameters
    ----------
    normal : ndarray, shape (n, n)
        Derivatives times derivatives; positive on its diagonal.
    gradient : ndarray, shape (n,)
        Of half the sum of squares.
    here, low, high : ndarray, shape (n,)
        Where the unknowns are, and their bounds.
    damping : float
        By which share the diagonal counts more.

    Examples
    --------
    One unknown is free and goes to 2; the other is at its bound and is pushed outwards:

    >>> bounds, gradient = np.full(2, 5.0), np.array([-2.0, -1.0])
    >>> bounded_step(np.eye(2), gradient, np.array([0.0, 5.0]), -bounds, bounds, 0.0).tolist()
    [2.0, 0.0]
    """
    matrix = normal + damping * np.diag(np.diag(normal))
    at_low, at_high = here <= low + _AT, here >= high - _AT
    free = ~((at_low & (gradient > 0)) | (at_high & (gradient < 0)))
    step = np.zeros(here.size)
    while free.any():
        step = np.zeros(here.size)
        step[free] = np.linalg.solve(matrix[np.ix_(free, free)], -gradient[free])
        out = free & ((at_low & (step < 0)) | (at_high & (step > 0)))
        if not out.any():
            break
        free &= ~out
    inside: Vector = np.clip(here + step, low, high) - here
    return inside
