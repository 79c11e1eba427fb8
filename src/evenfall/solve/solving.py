"""The one solver: bounded least squares over stops, and how sure its answer is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from evenfall.solve.problem import Demand, Matrix, Moves, Vector, stacked

__all__ = ["MUST", "Solution", "solve"]

MUST = 300.0
"""Weight of what must be met: a tenth of a stop of all else together moves it by nothing seen."""

_SAME = 1e-9
_AT_BOUND = 1e-3  # stops
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


def solve(demands: Sequence[Demand], moves: Moves, start: Vector | None = None) -> Solution:
    """Find the moves that meet demands best, within bounds and with little moving.

    Parameters
    ----------
    demands : sequence of Demand
        What is asked; weights are the demands' own.
    moves : Moves
        The unknowns, their bounds, and what moving costs.
    start : ndarray, shape (n,), optional
        Where to begin; where nothing is moved otherwise.

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
    from scipy.optimize import least_squares

    count = moves.charge.size
    if count == 0:
        rows, slopes = stacked(demands, moves, np.zeros(0))
        return Solution(np.zeros(0), float(rows @ rows) / 2, slopes, np.zeros(0, bool))
    charge = np.diag(moves.charge)
    first = np.zeros(count) if start is None else np.asarray(start, np.float64)
    first = np.clip(first, moves.low + _SAME, moves.high - _SAME)

    def residuals(unknowns: Vector) -> Vector:
        rows, _ = stacked(demands, moves, unknowns)
        return np.concatenate([rows, charge @ unknowns])

    def slopes_of(unknowns: Vector) -> Matrix:
        return np.concatenate([stacked(demands, moves, unknowns)[1], charge])

    found = least_squares(
        residuals,
        first,
        slopes_of,
        bounds=(moves.low, moves.high),
        method="trf",
        x_scale=1.0,
        xtol=1e-10,
        ftol=1e-12,
        gtol=1e-12,
        max_nfev=200,
    )
    unknowns: Vector = found.x
    near = np.minimum(unknowns - moves.low, moves.high - unknowns)
    slopes = stacked(demands, moves, unknowns)[1]
    return Solution(unknowns, float(found.cost), slopes, near < _AT_BOUND)
