"""Array types of the look, and the matrix product that every strip computes alike."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from evenfall.system.scratch import buffer

__all__ = ["Matrix", "Plane", "Planes", "apply_matrix", "luminance"]

Planes = npt.NDArray[np.float32]
"""A planar colour picture or a strip of one: float32, shape (3, h, W) or (3, n)."""

Plane = npt.NDArray[np.float32]
"""One channel: float32, shape (h, W) or (n,)."""

Matrix = npt.NDArray[np.float64]
"""A 3 x 3 matrix in double precision."""


def apply_matrix(matrix: Matrix, planes: Planes, out: Planes | None = None) -> Planes:
    """Multiply every pixel by a 3 x 3 matrix.

    The sum is written out column by column instead of calling a matrix product, whose kernels
    round the last few columns differently from the rest: the bytes of a pixel must not depend on
    where a strip ends.

    Parameters
    ----------
    matrix : ndarray of float, shape (3, 3)
        Rows give the new channels.
    planes : ndarray of float32, shape (3, ...)
        Any finite values.
    out : ndarray of float32, shape (3, ...), optional
        Where the result goes; it must not share memory with `planes`.

    Returns
    -------
    ndarray of float32, shape (3, ...)

    Examples
    --------
    >>> swap = np.array([[0.0, 0, 1], [0, 1, 0], [2, 0, 0]])
    >>> apply_matrix(swap, np.array([[1.0], [2.0], [3.0]], np.float32)).ravel().tolist()
    [3.0, 2.0, 2.0]
    """
    if out is None:
        out = np.empty_like(planes)
    columns = matrix.astype(np.float32).T.reshape(3, 3, *(1,) * (planes.ndim - 1))
    if np.count_nonzero(matrix - np.diag(np.diagonal(matrix))) == 0:
        np.multiply(planes, columns.sum(axis=0), out=out)
        return out
    term = buffer("term", planes.shape)
    np.multiply(planes[0], columns[0], out=out)
    for channel in (1, 2):
        np.multiply(planes[channel], columns[channel], out=term)
        np.add(out, term, out=out)
    return out


def luminance(weights: Matrix, planes: Planes) -> Plane:
    """Weighted sum of the three channels.

    Parameters
    ----------
    weights : ndarray of float, shape (3,)
        Weights of R, G, B.
    planes : ndarray of float32, shape (3, ...)

    Returns
    -------
    ndarray of float32, shape (...)

    Examples
    --------
    >>> luminance(np.array([0.25, 0.5, 0.25]), np.full((3, 2), 2.0, np.float32)).tolist()
    [2.0, 2.0]
    """
    red, green, blue = weights.astype(np.float32)
    total: Plane = planes[0] * red
    total += planes[1] * green
    total += planes[2] * blue
    return total
