"""What a lens, or a post effect after it, does to a beauty and not to its passes."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from evenfall.prove.blocks import Float

__all__ = ["bloomed", "vignetted"]

_GLARE_REACHES = tuple(0.004 * 2 ** (step / 2) for step in range(11))  # sigma, shares of the width
_LEAST_BLOCKS = 1.4
_LEAST_DARKENING = 0.02  # in the corners
_DARKEST = 0.01
_LEAST_GLARE = 0.003  # share of the light that is spread
_MOST_GLARE = 0.6
_ROUNDS = 4
_HUBER = 3.0


def vignetted(beauty: Float, residual: Float, weights: Float) -> Iterator[tuple[float, Float]]:
    """Fit darkening towards the corners, as an even polynomial of the radius; undo it.

    Yields what is left of the light in the corners, and what is left of it in each block.
    """
    total = beauty - residual
    rows, columns = beauty.shape[1:]
    y, x = np.mgrid[0:rows, 0:columns]
    radius2 = ((x + 0.5 - columns / 2) ** 2 + (y + 0.5 - rows / 2) ** 2) / (
        (columns / 2) ** 2 + (rows / 2) ** 2
    )
    powers = np.stack([radius2, radius2**2, radius2**3])
    solution = _least_squares(list(total * powers[:, None]), residual, weights)
    if solution is None:
        return
    corner = 1 + float(solution.sum())
    middle = 1 + float(solution @ [0.25, 0.0625, 0.015625])
    if corner < min(middle, 1 - _LEAST_DARKENING) and corner > 0.05:
        yield corner, np.maximum(1 + np.tensordot(solution, powers, 1), _DARKEST)


def bloomed(beauty: Float, residual: Float, weights: Float) -> Iterator[tuple[float, float, Float]]:
    """Fit light that is spread around, by Gaussians of several widths.

    Yields the share of the light that is spread, the share that left its place (as much, or
    nothing), and the light that is spread where it arrives.
    """
    from scipy.ndimage import gaussian_filter
    from scipy.optimize import nnls

    total = beauty - residual
    columns = beauty.shape[2]
    spread = [
        gaussian_filter(total, (0, reach * columns, reach * columns), mode="nearest")
        for reach in _GLARE_REACHES
        if reach * columns > _LEAST_BLOCKS
    ]
    if not spread:
        return
    # Grain of the passes is in the difference too, and would be taken for light that left.
    calm = gaussian_filter(total, (0, 1, 1), mode="nearest")
    for taken in (1.0, 0.0):  # spread light leaves its place, or is added to it
        shapes = [each - taken * calm for each in spread]
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
        if _LEAST_GLARE < float(solution.sum()) < _MOST_GLARE:
            share = float(solution.sum())
            yield share, taken * share, np.tensordot(solution, np.stack(spread), 1)


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
