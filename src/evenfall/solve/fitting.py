"""The fit of a balance to a picture: robust least squares over pixels, in stops.

Gauss-Newton steps with a damping that grows where a step does not help (Levenberg 1944, Marquardt
1963), each on residuals weighted by Tukey's biweight: what differs by far more than the rest, such
as a spot that was painted over, does not count (Beaton and Tukey 1974; 4.685 sigma, which costs 5 %
of efficiency on clean data; sigma from the median of the residuals). The beginning comes from light
itself: where the reference shows more or less than the balance does, the stops between the two
give the light that it must have, and that is a sum of the lights' passes with factors of 0 or more.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Protocol, Self

import numpy as np
import numpy.typing as npt

from evenfall.mix.averaging import area_mean
from evenfall.solve.problem import Moves, Vector
from evenfall.solve.stepping import bounded_step
from evenfall.solve.sureness import block_numbers, standard_uncertainty

__all__ = ["Fit", "Fitter", "stops_between"]

Floats = npt.NDArray[np.float32]
Mask = npt.NDArray[np.bool_]
Matrix = npt.NDArray[np.float64]

_TUKEY = 4.685
_SIGMA_OF_MEDIAN = 1.4826
_LEAST_SIGMA = 0.0015  # of an encoded value: half a code of 8 bits, and what a JPEG adds
_ROUNDS, _STEPS, _TRIES = 10, 14, 5
_STILL, _LONGEST = 2e-3, 2.0  # stops
_FURTHEST = 3.0  # stops: a gain of which nothing is known
_MOST_PIXELS, _BEGINNING_PIXELS = 40_000, 12_000
_ALL = 0.999
_ROUGH = 0.02  # of an encoded value: spread by which beginnings are compared
_TRIAL_STEPS, _MOST_TRIED = 6, 3
_REACH, _HALVINGS = 10.0, 11  # stops, to a hundredth


class _Shows(Protocol):
    """What shows light: `Screen` and `LinearScreen`.

    Lights have the shape (lights, 3, h, w); `rest` is what does not come from them.
    """

    lights: Floats
    rest: Floats
    from_passes: Matrix

    def show(self, total: Floats) -> Floats: ...

    def slopes(self, total: Floats) -> Floats: ...

    def brought_to(self, size: tuple[int, int]) -> Self: ...


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

    def total_at(self, unknowns: Vector) -> Floats:
        """Give the sum of light after a move; shape (3, h, w)."""
        lights = self.screen.lights
        factors = self.factors_at(unknowns)
        even = np.array([factor[0, 0] * _is_even(factor) for factor in factors], np.float32)
        total: Floats = np.tensordot(even, lights, axes=1)
        for factor, light in zip(factors, lights, strict=True):
            if not _is_even(factor):
                total += np.tensordot(factor, light, axes=1)
        return total + self.screen.rest

    def factors_at(self, unknowns: Vector) -> Floats:
        """Give by what each light is multiplied after a move; shape (lights, 3, 3)."""
        stops = self.moves.ways @ unknowns
        factors = np.empty((len(stops), 3, 3), np.float32)
        for number, own in enumerate(stops):
            if np.ptp(own) < 1e-12:
                factors[number] = 2.0 ** own[0] * np.eye(3)
            else:
                factors[number] = self.screen.from_passes @ np.diag(np.exp2(own)) @ self.to_passes
        return factors

    def start(self) -> Vector:
        """Find gains from which to begin, from the light that the reference must have.

        They are found from the whole picture and from its thirds, as one of these has nothing that
        was painted over where a part was; the beginning that explains most goes on. A beginning
        needs no fine detail: it is found on a small picture, and followed up on larger ones.
        """
        if self.known.size > _BEGINNING_PIXELS:
            smaller = self._halved()
            return smaller.run(smaller.start()).unknowns
        total = self.total_at(np.zeros(len(self.moves.charge)))
        stops = stops_between(self.screen.show, total, self.reference)
        wanted = total.sum(axis=0) * np.exp2(stops)
        rest = wanted - self.screen.rest.sum(axis=0)
        usable = self.known & (np.abs(stops) < _REACH - 0.1) & (rest > 0)
        sums = self.screen.lights.sum(axis=1)
        parts = _parts(*self.known.shape)
        found = [self._start_in(usable & part, sums, rest, wanted) for part in parts]
        found.sort(key=lambda unknowns: self._cost(self.residuals_at(unknowns), _ROUGH))
        tried = [self.run(unknowns, _TRIAL_STEPS) for unknowns in found[:_MOST_TRIED]]
        best = min(tried, key=lambda fit: self._cost(fit.residuals, _ROUGH))
        return best.unknowns

    def _halved(self) -> Fitter:
        height, width = self.known.shape
        size = max(1, width // 2), max(1, height // 2)
        reference = np.stack([area_mean(plane, size) for plane in self.reference])
        known = area_mean(self.known.astype(np.float32), size) > _ALL
        trust = area_mean(self.trust, size)
        return Fitter(self.screen.brought_to(size), self.moves, reference, known, trust)

    def _start_in(self, usable: Mask, sums: Floats, rest: Floats, wanted: Floats) -> Vector:
        pick = _some(np.flatnonzero(usable.ravel()))
        count = len(self.moves.charge)
        movers = [number for number in range(count) if self.is_gain(number)]
        columns, fixed = self._columns(movers, sums.reshape(len(sums), -1)[:, pick])
        if pick.size < 2 * count or not movers:
            return np.zeros(count)
        light, scale = (plane.ravel()[pick].astype(np.float64) for plane in (rest, wanted))
        factors = _robust_factors(columns, light - fixed, scale)
        unknowns = np.zeros(count)
        unknowns[movers] = np.log2(np.maximum(factors, 1e-9))
        clipped: Vector = np.clip(unknowns, self.moves.low, self.moves.high)
        return clipped

    def is_gain(self, number: int) -> bool:
        """Whether an unknown moves all channels of its lights alike."""
        way = self.moves.ways[:, :, number]
        return bool(np.all(np.ptp(way, axis=1) == 0)) and bool(way.any())

    def _columns(self, movers: list[int], light: Floats) -> tuple[Matrix, Vector]:
        """Give the light of what moves, and that of what does not, from that of each light."""
        member = self.moves.ways[:, 0, movers].astype(np.float64)
        fixed = np.clip(1 - member.sum(axis=1), 0, 1) @ light
        return (member.T @ light).astype(np.float64), fixed

    def run(self, start: Vector, steps: int = _STEPS) -> Fit:
        """Fit from a beginning."""
        unknowns = start
        residuals = self.residuals_at(unknowns)
        weights, sigma = self._weights(residuals)
        damping = 1e-3
        for _ in range(steps):
            pick = _some(np.flatnonzero(weights.ravel() > 0))
            normal, gradient = self._normal(unknowns, residuals, weights, sigma, pick)
            stepped, cost = None, self._cost(residuals, sigma)
            for _ in range(_TRIES):
                step = self._step(unknowns, normal, gradient, damping)
                left = self.residuals_at(unknowns + step)
                if self._cost(left, sigma) <= cost:
                    stepped, damping = step, max(damping / 5, 1e-6)
                    break
                damping *= 8
            if stepped is None:
                break
            unknowns, residuals = unknowns + stepped, left
            weights, sigma = self._weights(residuals)
            if float(np.abs(stepped).max()) < _STILL:
                break
        return self._fit(unknowns, residuals, weights, sigma)

    def residuals_at(self, unknowns: Vector) -> Floats:
        """Give shown less reference after a move; 0 where nothing is known."""
        residuals: Floats = self.screen.show(self.total_at(unknowns)) - self.reference
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
        residuals: Floats,
        weights: Floats,
        sigma: float,
        pick: npt.NDArray[np.intp],
    ) -> tuple[Matrix, Vector]:
        """Make the normal equations, in units of the spread; a pixel counts as one value."""
        rows, left = self._weighted(unknowns, residuals, weights, sigma, pick)
        rows = rows.reshape(unknowns.size, -1)
        share = float((weights > 0).sum()) / max(pick.size, 1)
        normal = (rows @ rows.T).astype(np.float64) * share
        return normal, (rows @ left.ravel()).astype(np.float64) * share

    def _weighted(
        self,
        unknowns: Vector,
        residuals: Floats,
        weights: Floats,
        sigma: float,
        pick: npt.NDArray[np.intp],
    ) -> tuple[Floats, Floats]:
        """Give weighted derivatives, shape (unknowns, 3, pixels), and residuals, (3, pixels)."""
        lights, rest = self.screen.lights, self.screen.rest.reshape(3, -1)[:, pick]
        moved = self.factors_at(unknowns) @ lights.reshape(len(lights), 3, -1)[:, :, pick]
        slopes = self.screen.slopes(moved.sum(axis=0) + rest)
        columns = [self._column(number, moved) for number in range(unknowns.size)]
        rows = np.stack([np.einsum("ocp,cp->op", slopes, column) for column in columns])
        root = np.sqrt(weights.ravel()[pick]) / np.float32(sigma * 3**0.5)
        left = residuals.reshape(3, -1)[:, pick] * root
        return np.asarray(rows * root, np.float32), np.asarray(left, np.float32)

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
        """Give a damped step inside the bounds, at most two stops long."""
        prior = np.eye(unknowns.size) / _FURTHEST**2
        low = np.maximum(self.moves.low, unknowns - _LONGEST)
        high = np.minimum(self.moves.high, unknowns + _LONGEST)
        pull = gradient + prior @ unknowns
        return bounded_step(normal + prior, pull, unknowns, low, high, damping)

    def _fit(self, unknowns: Vector, residuals: Floats, weights: Floats, sigma: float) -> Fit:
        pick = _some(np.flatnonzero(weights.ravel() > 0))
        rows, left = self._weighted(unknowns, residuals, weights, sigma, pick)
        height, width = weights.shape
        play = standard_uncertainty(rows, left, block_numbers(pick, (width, height)), _FURTHEST)
        shown = self.screen.show(self.total_at(unknowns))
        return Fit(unknowns, play, shown, residuals, weights, sigma)


def _is_even(factor: Floats) -> bool:
    """Whether a light is multiplied alike in all channels."""
    return bool(np.array_equal(factor, factor[0, 0] * np.eye(3, dtype=np.float32)))


def _parts(height: int, width: int) -> Iterator[Mask]:
    """Give the whole picture, and the thirds of it across and down."""
    yield np.ones((height, width), bool)
    down, across = np.mgrid[0:height, 0:width]
    for number in range(3):
        yield across * 3 // width == number
        yield down * 3 // height == number


def _some(pixels: npt.NDArray[np.intp]) -> npt.NDArray[np.intp]:
    """Take so many pixels, spread evenly."""
    step = max(1, -(-pixels.size // _MOST_PIXELS))
    return pixels[::step]


def _robust_factors(columns: Matrix, light: Vector, scale: Vector) -> Vector:
    """Find factors of 0 or more, by shares of the light, with what lies far off left out."""
    rows, goal = columns / scale, light / scale
    weights = np.ones(goal.size)
    factors = np.ones(len(columns))
    none, most = np.zeros(len(columns)), np.full(len(columns), np.inf)
    for _ in range(_ROUNDS):
        weighted = rows * weights
        normal = weighted @ rows.T + 1e-9 * np.eye(len(columns))
        slope = normal @ factors - weighted @ goal
        factors = factors + bounded_step(normal, slope, factors, none, most, 0.0)
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
