"""The one solver: bounded least squares over stops, and how sure its answer is.

Damped steps inside the bounds (`stepping`); the tests hold its optimum against that of another
method. There are tens of unknowns at most, and loading a library's solver takes longer than these
steps do.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from evenfall.solve.problem import Demand, Matrix, Moves, Vector, stacked
from evenfall.solve.stepping import bounded_step

__all__ = ["MUST", "Solution", "solve"]

MUST = 300.0
"""Weight of what must be met: a tenth of a stop of all else together moves it by nothing seen."""

_AT_BOUND = 1e-3  # stops
_MOST_STEPS, _STILL, _LITTLE = 200, 1e-5, 1e-7
_DAMPING, _MOST_DAMPING = 1e-3, 1e5
_FURTHEST = 3.0  # stops: a gain of which nothing is known


@dataclass(frozen=True, eq=False)
class Solution:
    """An optimum.

    Parameters
    ----------
    unknowns : ndarray, shape (n,)
        Stops.
    cost : float
        Half the sum of squares, the charge on moves included.
    slopes : ndarray, shape (rows, n)
        Weighted derivatives there.
    at_bound : ndarray of bool, shape (n,)
        Which unknowns lie at a bound.
    """

    unknowns: Vector
    cost: float
    slopes: Matrix
    at_bound: npt.NDArray[np.bool_]

    def play(self, tolerance: float) -> Vector:
        """Say how far each unknown could go, others following, until demands are missed.

        Parameters
        ----------
        tolerance : float
            By which a demand of weight 1 may be missed. What nothing is known of comes to 3 stops.
        """
        known = self.slopes.T @ self.slopes / tolerance**2
        known += np.eye(self.unknowns.size) / _FURTHEST**2
        play: Vector = np.sqrt(np.diag(np.linalg.inv(known)))
        return play


def solve(
    demands: Sequence[Demand],
    moves: Moves,
    start: Vector | None = None,
    *,
    is_enough: Callable[[Vector], bool] | None = None,
) -> Solution:
    """Find the moves that meet demands best, within bounds and with little moving.

    Parameters
    ----------
    demands : sequence of Demand
        What is asked; weights are the demands' own.
    moves : Moves
        The unknowns, their bounds, and what moving costs.
    start : ndarray, shape (n,), optional
        Where to begin; where nothing is moved otherwise.
    is_enough : callable, optional
        Says of unknowns on the way that nothing better is asked for.

    Examples
    --------
    A lamp of luminance 0.09 that is to be at middle grey goes up one stop:

    >>> from evenfall.solve.problem import Level
    >>> one = np.ones(1)
    >>> moves = Moves(np.ones((1, 3)), np.ones((1, 3, 1)), -4 * one, 4 * one, 1e-3 * one, 0 * one)
    >>> lamp = Level(1.0, 0.09 * np.array([[0.2, 0.7, 0.1]]), np.log2(0.18))
    >>> solve([lamp], moves).unknowns.round(3).tolist()
    [1.0]
    """
    count = moves.charge.size
    first = np.zeros(count) if start is None else np.asarray(start, np.float64)
    unknowns = np.clip(first, moves.low, moves.high)
    rows, slopes, cost = _at(demands, moves, unknowns)
    damping = _DAMPING
    for _ in range(_MOST_STEPS if count else 0):
        step = bounded_step(
            slopes.T @ slopes, slopes.T @ rows, unknowns, moves.low, moves.high, damping
        )
        if float(np.abs(step).max()) < _STILL:
            break
        tried = _cost(demands, moves, unknowns + step)
        if tried < cost:
            is_done = cost - tried < _LITTLE * cost
            unknowns = unknowns + step
            rows, slopes, cost = _at(demands, moves, unknowns)
            damping = max(damping / 8, 1e-9)
            if is_done or (is_enough is not None and is_enough(unknowns)):
                break
        elif damping > _MOST_DAMPING:
            break
        else:
            damping *= 8
    near = np.minimum(unknowns - moves.low, moves.high - unknowns)
    own = slopes[: len(slopes) - count]
    return Solution(unknowns, cost, own, near < _AT_BOUND)


def _at(demands: Sequence[Demand], moves: Moves, unknowns: Vector) -> tuple[Vector, Matrix, float]:
    """Residuals and derivatives, the charge on moves behind those of demands; and the cost."""
    rows, slopes = stacked(demands, moves, unknowns)
    rows = np.concatenate([rows, moves.charge * unknowns])
    return rows, np.concatenate([slopes, np.diag(moves.charge)]), float(rows @ rows) / 2


def _cost(demands: Sequence[Demand], moves: Moves, unknowns: Vector) -> float:
    factors = moves.factors_at(unknowns)
    rows = [demand.weight * demand.residuals(factors) for demand in demands]
    every = np.concatenate([*rows, moves.charge * unknowns])
    return float(every @ every) / 2
