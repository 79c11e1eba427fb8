"""How sure a fit is, from what it leaves over.

Residuals of pictures are no independent noise: compression, painting and resampling leave shapes.
So what counts is how far the residual pulls each unknown in one block of the picture and how
differently in the next. The covariance is that of estimates from data in clusters (Liang and Zeger
1986, "Longitudinal data analysis using generalized linear models", Biometrika 73), with a block as
a cluster and the correction for few clusters.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

__all__ = ["block_numbers", "standard_uncertainty"]

Floats = npt.NDArray[np.float32]
Vector = npt.NDArray[np.float64]

_BLOCKS_ACROSS = 8


def block_numbers(pixels: npt.NDArray[np.intp], size: tuple[int, int]) -> npt.NDArray[np.intp]:
    """Give the numbers of the blocks in which pixels lie: squares, eight across the picture.

    Parameters
    ----------
    pixels : ndarray, shape (n,)
        Indices into the picture, row by row.
    size : tuple of int
        Width and height.

    Examples
    --------
    >>> block_numbers(np.array([0, 19, 20, 160 * 20]), (160, 90)).tolist()
    [0, 0, 1, 8]
    """
    width, _ = size
    side = max(1.0, width / _BLOCKS_ACROSS)
    rows, columns = np.divmod(pixels, width)
    across = int(np.ceil(width / side))
    numbers: npt.NDArray[np.intp] = (rows // side * across + columns // side).astype(np.intp)
    return numbers


def standard_uncertainty(
    slopes: Floats, residuals: Floats, blocks: npt.NDArray[np.intp], furthest: float
) -> Vector:
    """Give the standard uncertainty of each unknown of a fit by least squares.

    Parameters
    ----------
    slopes : ndarray, shape (unknowns, 3, pixels)
        Derivatives of the residuals, weighted as in the fit.
    residuals : ndarray, shape (3, pixels)
        Weighted likewise.
    blocks : ndarray, shape (pixels,)
        To which block each belongs.
    furthest : float
        Uncertainty of an unknown of which nothing is known.

    Examples
    --------
    The mean of 400 values that are alike in hundreds is as sure as one of 4 values: their spread,
    1.29, over 2.

    >>> values = np.repeat(np.array([1.5, -0.5, 0.5, -1.5], np.float32), 100)[None].repeat(3, 0)
    >>> slopes = np.ones((1, 3, 400), np.float32)
    >>> blocks = np.arange(400) // 100
    >>> standard_uncertainty(slopes, values, blocks, furthest=100.0).round(2).tolist()
    [0.65]
    """
    count = len(slopes)
    flat = slopes.reshape(count, -1).astype(np.float64)
    known = np.linalg.inv(flat @ flat.T + np.eye(count) / furthest**2)
    pulls = np.einsum("ucp,cp->up", slopes, residuals).astype(np.float64)
    summed = np.stack([np.bincount(blocks, weights=pull) for pull in pulls])
    summed = summed[:, np.bincount(blocks) > 0]
    number = summed.shape[1]
    spread = summed @ summed.T * number / max(number - count, 1)
    found = known @ (spread + np.eye(count) / furthest**2) @ known
    uncertainty: Vector = np.minimum(np.sqrt(np.diag(found)), furthest)
    return uncertainty
