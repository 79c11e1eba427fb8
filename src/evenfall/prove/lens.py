"""What a lens, or a post effect after it, does to a beauty and not to its passes."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from evenfall.prove.blocks import Float

__all__ = ["bloomed", "vignetted"]

_GLARE_REACHES = (0.004, 0.01, 0.025, 0.06, 0.15)  # sigma, shares of the width
_LEAST_DARKENING = 0.02  # in the corners
_LEAST_GLARE = 0.003  # share of the light that is spread
_ROUNDS = 4
_HUBER = 3.0


def vignetted(
    beauty: Float, residual: Float, weights: Float
) -> Iterator[tuple[tuple[float, ...], Float]]:
    """Fit darkening towards the corners, as an even polynomial of the radius; undo it.

    Yields what is left of the light in the corners, and the beauty without the darkening.
    """
    total = beauty - residual
    rows, columns = beauty.shape[1:]
    y, x = np.mgrid[0:rows, 0:columns]
    radius2 = ((x + 0.5 - columns / 2) ** 2 + (y + 0.5 - rows / 2) ** 2) / (
        (columns / 2) ** 2 + (rows / 2) ** 2
    )
    shapes = [total * radius2, total * radius2**2, total * radius2**3]
    solution = _least_squares(shapes, residual, weights)
    if solution is None:
        return
    corner = 1 + float(solution.sum())
    middle = 1 + float(solution @ [0.25, 0.0625, 0.015625])
    if corner < min(middle, 1 - _LEAST_DARKENING) and corner > 0.05:
        lost = np.tensordot(solution, np.stack(shapes), 1)
        yield (corner,), beauty - lost


def bloomed(
    beauty: Float, residual: Float, weights: Float
) -> Iterator[tuple[tuple[float, ...], Float]]:
    """Fit light that is spread around, by Gaussians of several widths; undo it.

    Yields the share of the light that is spread, and the beauty without it.
    """
    from scipy.ndimage import gaussian_filter
    from scipy.optimize import nnls

    total = beauty - residual
    columns = beauty.shape[2]
    spread = [
        gaussian_filter(total, (0, reach * columns, reach * columns), mode="nearest")
        for reach in _GLARE_REACHES
    ]
    for taken in (1.0, 0.0):  # spread light leaves its place, or is added to it
        shapes = [each - taken * total for each in spread]
        use = weights > 0
        root = np.sqrt(weights[use])
        matrix = np.stack([each[use] * root for each in shapes], 1)
        wanted = residual[use]
        robust = np.ones_like(root)
        solution = np.zeros(len(shapes))
        for _ in range(_ROUNDS):
            gram = (matrix * robust[:, None]).T @ matrix
            right = (matrix * robust[:, None]).T @ (wanted * root)
            ridge = 1e-9 * np.trace(gram) * np.eye(len(shapes)) + 1e-30 * np.eye(len(shapes))
            lower = np.linalg.cholesky(gram + ridge)
            solution, _ = nnls(lower.T, np.linalg.solve(lower, right))
            off = np.abs(wanted * root - matrix @ solution)
            robust = _HUBER / np.maximum(off, _HUBER)
        if float(solution.sum()) > _LEAST_GLARE:
            yield (float(solution.sum()),), beauty - np.tensordot(solution, np.stack(shapes), 1)


def _least_squares(shapes: list[Float], wanted: Float, weights: Float) -> Float | None:
    use = weights > 0
    if use.sum() < 10 * len(shapes):
        return None
    root = np.sqrt(weights[use])
    matrix = np.stack([each[use] * root for each in shapes], 1)
    target = wanted[use] * root
    robust = np.ones_like(root)
    solution = np.zeros(len(shapes))
    for _ in range(_ROUNDS):
        gram = (matrix * robust[:, None]).T @ matrix
        solution = np.linalg.pinv(gram, hermitian=True) @ ((matrix * robust[:, None]).T @ target)
        robust = _HUBER / np.maximum(np.abs(target - matrix @ solution), _HUBER)
    return np.asarray(solution)
