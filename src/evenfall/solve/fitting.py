"""The fit of a balance to a picture: robust least squares over pixels, in stops.

Gauss-Newton steps with a damping that grows where a step does not help (Levenberg 1944, Marquardt
1963), each on residuals weighted by Tukey's biweight: what differs by far more than the rest, such
as a spot that was painted over, does not count (Beaton and Tukey 1974; 4.685 sigma, which costs 5 %
of efficiency on clean data; sigma from the median of the residuals). The beginning comes from light
itself: where the reference shows more or less than the balance does, the stops between the two
give the light that it must have, and that is a sum of the lights' passes with factors of 0 or more.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import numpy as np
import numpy.typing as npt

from evenfall.solve.problem import Moves, Vector

__all__ = ["Fit", "Fitter", "stops_between"]

Floats = npt.NDArray[np.float32]
Mask = npt.NDArray[np.bool_]
Matrix = npt.NDArray[np.float64]

_TUKEY = 4.685
_SIGMA_OF_MEDIAN = 1.4826
_LEAST_SIGMA = 0.0015  # of an encoded value: half a code of 8 bits, and what a JPEG adds
_STEPS, _TRIES = 14, 5
_STILL = 2e-3  # stops
_FURTHEST = 3.0  # stops: a gain of which nothing is known
_MOST_PIXELS = 40_000
_REACH, _HALVINGS = 10.0, 11  # stops, to a hundredth


class _Shows(Protocol):
    """What shows light: `Screen` and `LinearScreen`."""

    lights: Floats
    from_passes: Matrix

    def total(self, lights: Floats) -> Floats: ...

    def show(self, total: Floats) -> Floats: ...

    def slopes(self, total: Floats) -> Floats: ...


@dataclass(frozen=True, eq=False)
class Fit:
    """A balance that fits.

    Parameters
    ----------
    unknowns : ndarray, shape (n,)
        Stops of each.
    play : ndarray, shape (n,)
        Standard uncertainty of each, in stops; 3 is as much as nothing known.
    shown : ndarray, shape (3, h, w)
        What it shows.
    residuals : ndarray, shape (3, h, w)
        Shown less reference.
    weights : ndarray, shape (h, w)
        How much each pixel counted, 0 to 1.
    sigma : float
        Spread of residuals where they count.
    """

    unknowns: Vector
    play: Vector
    shown: Floats
    residuals: Floats
    weights: Floats
    sigma: float


class Fitter:
    """Fits unknowns to a reference.

    Parameters
    ----------
    screen : Screen or LinearScreen
        Shows lights.
    moves : Moves
        How unknowns move the factors of lights.
    reference : ndarray, shape (3, h, w)
        In the screen's own values.
    known : ndarray of bool, shape (h, w)
        Where the reference says something.
    trust : ndarray, shape (h, w), optional
        How much each pixel counts, 0 to 1.
    """

    def __init__(
        self,
        screen: _Shows,
        moves: Moves,
        reference: Floats,
        known: Mask,
        trust: Floats | None = None,
    ) -> None:
        self.screen, self.moves, self.reference, self.known = screen, moves, reference, known
        self.trust = np.ones(known.shape, np.float32) if trust is None else trust
        self.to_passes = np.linalg.inv(screen.from_passes)

    def lights_at(self, unknowns: Vector) -> Floats:
        """Give the lights after a move; shape (lights, 3, h, w)."""
        stops = self.moves.ways @ unknowns
        moved = np.empty_like(self.screen.lights)
        for number, light in enumerate(self.screen.lights):
            if np.ptp(stops[number]) < 1e-12:
                np.multiply(light, np.float32(2.0 ** stops[number, 0]), out=moved[number])
            else:
                matrix = self.screen.from_passes @ np.diag(np.exp2(stops[number])) @ self.to_passes
                moved[number] = np.tensordot(matrix.astype(np.float32), light, axes=1)
        return moved

    def start(self) -> Vector:
        """Find gains from which to begin, from the light that the reference must have."""
        total = self.screen.total(self.screen.lights)
        stops = stops_between(self.screen.show, total, self.reference)
        wanted = total.sum(axis=0) * np.exp2(stops)
        rest = wanted - self.screen.total(np.zeros_like(self.screen.lights)).sum(axis=0)
        usable = self.known & (np.abs(stops) < _REACH - 0.1) & (rest > 0)
        pick = _some(np.flatnonzero(usable.ravel()))
        count = len(self.moves.charge)
        movers = [number for number in range(count) if self.is_gain(number)]
        columns, fixed = self._columns(movers, pick)
        if pick.size < 2 * count or not movers:
            return np.zeros(count)
        factors = _robust_factors(columns, rest.ravel()[pick] - fixed, wanted.ravel()[pick])
        unknowns = np.zeros(count)
        unknowns[movers] = np.log2(np.maximum(factors, 1e-9))
        clipped: Vector = np.clip(unknowns, self.moves.low, self.moves.high)
        return clipped

    def is_gain(self, number: int) -> bool:
        """Whether an unknown moves all channels of its lights alike."""
        way = self.moves.ways[:, :, number]
        return bool(np.all(np.ptp(way, axis=1) == 0)) and bool(way.any())

    def _columns(self, movers: list[int], pick: npt.NDArray[np.intp]) -> tuple[Matrix, Vector]:
        """Give the light of what moves at some pixels, and that of what does not."""
        light = self.screen.lights.sum(axis=1).reshape(len(self.screen.lights), -1)[:, pick]
        member = self.moves.ways[:, 0, movers].astype(np.float64)
        fixed = np.clip(1 - member.sum(axis=1), 0, 1) @ light
        return (member.T @ light).astype(np.float64), fixed

    def run(self, start: Vector, steps: int = _STEPS) -> Fit:
        """Fit from a beginning."""
        unknowns = start
        lights = self.lights_at(unknowns)
        residuals = self._residuals(lights)
        weights, sigma = self._weights(residuals)
        damping = 1e-3
        for _ in range(steps):
            pick = _some(np.flatnonzero(weights.ravel() > 0))
            normal, gradient = self._normal(unknowns, lights, residuals, weights, sigma, pick)
            stepped = None
            for _ in range(_TRIES):
                step = self._step(unknowns, normal, gradient, damping)
                trial = self.lights_at(unknowns + step)
                left = self._residuals(trial)
                if self._cost(left, sigma) <= self._cost(residuals, sigma):
                    stepped, damping = step, max(damping / 5, 1e-6)
                    break
                damping *= 8
            if stepped is None:
                break
            unknowns, lights, residuals = unknowns + stepped, trial, left
            weights, sigma = self._weights(residuals)
            if float(np.abs(stepped).max()) < _STILL:
                break
        return self._fit(unknowns, lights, residuals, weights, sigma)

    def _residuals(self, lights: Floats) -> Floats:
        shown = self.screen.show(self.screen.total(lights))
        residuals: Floats = shown - self.reference
        residuals[:, ~self.known] = 0
        return residuals

    def _weights(self, residuals: Floats) -> tuple[Floats, float]:
        size = np.sqrt((residuals**2).mean(axis=0))
        known = size[self.known]
        sigma = max(_LEAST_SIGMA, _SIGMA_OF_MEDIAN * float(np.median(known)) if known.size else 1.0)
        away = np.minimum(size / np.float32(_TUKEY * sigma), 1)
        weights: Floats = (1 - away**2) ** 2 * self.trust
        weights[~self.known] = 0
        return weights, sigma

    def _cost(self, residuals: Floats, sigma: float) -> float:
        """Give Tukey's loss, mean over known pixels."""
        size = (residuals**2).mean(axis=0)[self.known] / np.float32((_TUKEY * sigma) ** 2)
        loss = 1 - np.maximum(1 - size, 0) ** 3
        return float((loss * self.trust[self.known]).mean(dtype=np.float64))

    def _normal(
        self,
        unknowns: Vector,
        lights: Floats,
        residuals: Floats,
        weights: Floats,
        sigma: float,
        pick: npt.NDArray[np.intp],
    ) -> tuple[Matrix, Vector]:
        """Make the normal equations, in units of the spread; a pixel counts as one value."""
        slopes = self.screen.slopes(self.screen.total(lights)).reshape(3, 3, -1)[:, :, pick]
        flat = lights.reshape(len(lights), 3, -1)[:, :, pick]
        columns = [self._column(number, flat) for number in range(unknowns.size)]
        rows = np.stack([np.einsum("ocp,cp->op", slopes, column) for column in columns])
        root = np.sqrt(weights.ravel()[pick]) / np.float32(sigma * 3**0.5)
        rows = (rows * root).reshape(unknowns.size, -1)
        left = (residuals.reshape(3, -1)[:, pick] * root).ravel()
        share = float((weights > 0).sum()) / max(pick.size, 1)
        normal = (rows @ rows.T).astype(np.float64) * share
        return normal, (rows @ left).astype(np.float64) * share

    def _column(self, number: int, lights: Floats) -> Floats:
        """Give the derivative of the sum of light by an unknown; shape (3, pixels)."""
        total = np.zeros(lights.shape[1:], np.float32)
        for light, way in zip(lights, self.moves.ways[:, :, number], strict=True):
            if not way.any():
                continue
            if np.ptp(way) == 0:
                total += np.float32(way[0]) * light
            else:
                matrix = self.screen.from_passes @ np.diag(way) @ self.to_passes
                total += np.tensordot(matrix.astype(np.float32), light, axes=1)
        return total * np.float32(np.log(2))

    def _step(self, unknowns: Vector, normal: Matrix, gradient: Vector, damping: float) -> Vector:
        """Give a damped step inside the bounds; unknowns pushed out of them stand still."""
        prior = np.eye(unknowns.size) / _FURTHEST**2
        held = np.zeros(unknowns.size, bool)
        step = np.zeros(unknowns.size)
        for _ in range(unknowns.size + 1):
            free = ~held
            if not free.any():
                break
            matrix = normal + prior
            matrix = matrix + damping * np.diag(np.diag(matrix))
            pull = -(gradient + prior @ unknowns)
            step = np.zeros(unknowns.size)
            step[free] = np.linalg.solve(matrix[np.ix_(free, free)], pull[free])
            goal = unknowns + step
            out = free & (
                ((goal < self.moves.low) & (unknowns <= self.moves.low + 1e-9))
                | ((goal > self.moves.high) & (unknowns >= self.moves.high - 1e-9))
            )
            if not out.any():
                break
            held |= out
        step = np.clip(step, -2.0, 2.0)
        inside: Vector = np.clip(unknowns + step, self.moves.low, self.moves.high) - unknowns
        return inside

    def _fit(
        self, unknowns: Vector, lights: Floats, residuals: Floats, weights: Floats, sigma: float
    ) -> Fit:
        pick = _some(np.flatnonzero(weights.ravel() > 0))
        normal, _ = self._normal(unknowns, lights, residuals, weights, sigma, pick)
        normal = normal / _tied(residuals, weights) + np.eye(unknowns.size) / _FURTHEST**2
        play: Vector = np.sqrt(np.diag(np.linalg.inv(normal)))
        shown = self.screen.show(self.screen.total(lights))
        return Fit(unknowns, play, shown, residuals, weights, sigma)


def _some(pixels: npt.NDArray[np.intp]) -> npt.NDArray[np.intp]:
    """Take so many pixels, spread evenly."""
    step = max(1, -(-pixels.size // _MOST_PIXELS))
    return pixels[::step]


def _tied(residuals: Floats, weights: Floats) -> float:
    """Say how many pixels go together as one: residuals are no noise, but shapes."""
    block = 8
    rows, columns = (length // block * block for length in weights.shape)
    if not rows or not columns:
        return 1.0
    left = (residuals.mean(axis=0) * (weights > 0))[:rows, :columns]
    means = left.reshape(rows // block, block, columns // block, block).mean(axis=(1, 3))
    alone = float((left**2).mean()) / block**2
    return float(np.clip(float((means**2).mean()) / max(alone, 1e-20), 1.0, block**2))


def _robust_factors(columns: Matrix, light: Vector, scale: Vector) -> Vector:
    """Find factors of 0 or more, by shares of the light, with what lies far off left out."""
    from scipy.optimize import nnls

    rows, goal = columns / scale, light / scale
    weights = np.ones(goal.size)
    factors = np.ones(len(columns))
    for _ in range(8):
        weighted = rows * weights
        normal = weighted @ rows.T + 1e-9 * np.eye(len(columns))
        root = np.linalg.cholesky(normal)
        factors = nnls(root.T, np.linalg.solve(root, weighted @ goal))[0]
        away = np.abs(factors @ rows - goal)
        sigma = max(_SIGMA_OF_MEDIAN * float(np.median(away)), 1e-4)
        weights = np.maximum(1 - (away / (_TUKEY * sigma)) ** 2, 0) ** 2
    found: Vector = factors
    return found


def stops_between(show: Callable[[Floats], Floats], total: Floats, reference: Floats) -> Floats:
    """Find the stops by which each pixel's light must go to be shown as light as a reference."""
    low = np.full(total.shape[1:], -_REACH, np.float32)
    high = -low
    goal = reference.mean(axis=0)
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        is_lighter = show(total * np.exp2(middle)).mean(axis=0) >= goal
        high = np.where(is_lighter, middle, high)
        low = np.where(is_lighter, low, middle)
    return ((low + high) / 2).astype(np.float32)
