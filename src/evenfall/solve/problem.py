"""What is asked of gains, as a problem of least squares in stops.

The passes are linear: the mean light of an area is the sum, over lights and channels, of factor
times the mean of the pass there. Unknown are logarithms: stops by which lights (and, if asked,
their colours) move from where they stand. Every demand is a residual in stops, or counted so that
a tenth is about as much as an eye notices; its derivatives are the shares of the lights, known
exactly. A small charge on every move keeps what no demand speaks of where it stood.
"""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
import numpy.typing as npt

__all__ = ["Colour", "Demand", "Level", "Limit", "Moves", "Ratio", "Sense", "stacked"]

Vector = npt.NDArray[np.float64]
Matrix = npt.NDArray[np.float64]
Sense = Literal["at least", "at most", "just"]

_TINY = 1e-30
_UV_STOPS = 20.0  # of u'v': 0.005, which an eye just sees side by side, counts as a tenth
_NEIGHBOURS = 0.02  # share of an area around a quantile whose mean slope is taken


@dataclass(frozen=True, eq=False)
class Moves:
    """How unknowns move the factors of lights.

    Parameters
    ----------
    factors : ndarray, shape (lights, 3)
        Of R, G, B where nothing is moved.
    ways : ndarray, shape (lights, 3, unknowns)
        Stops that a factor goes with each unknown.
    low, high : ndarray, shape (unknowns,)
        Bounds.
    charge : ndarray, shape (unknowns,)
        What a stop of each costs, in stops of a demand of weight 1.
    exposure : ndarray, shape (unknowns,)
        Stops that the camera goes with each unknown.
    metered : ndarray, shape (lights,), or None
        Share of each light in what the meter reads: the camera closes as they go up.
    """

    factors: Matrix
    ways: npt.NDArray[np.float64]
    low: Vector
    high: Vector
    charge: Vector
    exposure: Vector
    metered: Vector | None = None

    def factors_at(self, unknowns: Vector) -> Matrix:
        """Factors of the lights after a move, camera included; shape (lights, 3)."""
        moved: Matrix = self.factors * np.exp2(self.ways @ unknowns + self.camera_stops(unknowns))
        return moved

    def camera_stops(self, unknowns: Vector) -> float:
        """Give the stops that the camera goes."""
        stops = float(self.exposure @ unknowns)
        if self.metered is not None:
            stops -= float(np.log2(self.metered @ np.exp2(self._mean_ways @ unknowns)))
        return stops

    def slopes_at(self, unknowns: Vector) -> npt.NDArray[np.float64]:
        """Give the stops that each factor goes with each unknown, camera included; as `ways`."""
        camera = self.exposure
        if self.metered is not None:
            read = self.metered * np.exp2(self._mean_ways @ unknowns)
            camera = camera - (read / read.sum()) @ self._mean_ways
        slopes: npt.NDArray[np.float64] = self.ways + camera
        return slopes

    @cached_property
    def _mean_ways(self) -> Matrix:
        mean: Matrix = self.ways.mean(axis=1)
        return mean


@dataclass(frozen=True, eq=False)
class Demand(ABC):
    """Something that is asked.

    Parameters
    ----------
    weight : float
        How much its residuals count.
    """

    weight: float

    @abstractmethod
    def residuals(self, factors: Matrix) -> Vector:
        """Say by how many stops it is missed, shape (rows,); 0 where it is met."""

    @abstractmethod
    def slopes(self, factors: Matrix, ways: npt.NDArray[np.float64]) -> Matrix:
        """Give the derivatives of the residuals by the unknowns, shape (rows, unknowns)."""


def _log_sum(parts: Matrix, ways: npt.NDArray[np.float64]) -> tuple[float, Vector]:
    """Log2 of a sum of parts, shape (lights, 3), and how it goes with the unknowns."""
    total = max(float(parts.sum()), _TINY)
    return float(np.log2(total)), np.tensordot(parts / total, ways, axes=2)


@dataclass(frozen=True, eq=False)
class Level(Demand):
    """The luminance of an area.

    Parameters
    ----------
    light : ndarray, shape (lights, 3)
        Luminance that a factor of 1 of each light and channel gives to the area.
    stops : float
        Log2 of the luminance that is wanted.
    """

    light: Matrix
    stops: float

    def residuals(self, factors: Matrix) -> Vector:
        """Give stops over what is wanted; one row."""
        total = max(float((self.light * factors).sum()), _TINY)
        return np.array([np.log2(total) - self.stops])

    def slopes(self, factors: Matrix, ways: npt.NDArray[np.float64]) -> Matrix:
        """Give the shares of what moves in the light of the area."""
        return _log_sum(self.light * factors, ways)[1][None]


@dataclass(frozen=True, eq=False)
class Ratio(Demand):
    """The luminance of an area over that of another.

    Parameters
    ----------
    light, other : ndarray, shape (lights, 3)
        As for `Level`.
    stops : float
        Log2 of the ratio that is wanted.
    """

    light: Matrix
    other: Matrix
    stops: float

    def residuals(self, factors: Matrix) -> Vector:
        """Give stops over the ratio that is wanted; one row."""
        one, two = ((max(float((m * factors).sum()), _TINY)) for m in (self.light, self.other))
        return np.array([np.log2(one / two) - self.stops])

    def slopes(self, factors: Matrix, ways: npt.NDArray[np.float64]) -> Matrix:
        """Give the difference of the shares in the two areas."""
        one = _log_sum(self.light * factors, ways)[1]
        return (one - _log_sum(self.other * factors, ways)[1])[None]


@dataclass(frozen=True, eq=False)
class Colour(Demand):
    """The chromaticity of an area, CIE 1976 u'v'.

    Parameters
    ----------
    light : ndarray, shape (3, lights, 3)
        X, Y, Z that a factor of 1 of each light and channel gives to the area.
    uv : tuple of float
        The u'v' that is wanted.
    """

    light: npt.NDArray[np.float64]
    uv: tuple[float, float]

    def chromaticity(self, factors: Matrix) -> tuple[float, float] | None:
        """CIE xy of the area; None where it is dark."""
        x, y, z = (self.light * factors).sum(axis=(1, 2))
        total = float(x + y + z)
        return (float(x) / total, float(y) / total) if total > 0 and y > 0 else None

    def residuals(self, factors: Matrix) -> Vector:
        """Give the distance in u' and in v', in twentieths; two rows."""
        x, y, z = np.maximum((self.light * factors).sum(axis=(1, 2)), _TINY)
        total = x + 15 * y + 3 * z
        return _UV_STOPS * np.array([4 * x / total - self.uv[0], 9 * y / total - self.uv[1]])

    def slopes(self, factors: Matrix, ways: npt.NDArray[np.float64]) -> Matrix:
        """Give the derivatives of u' and v'."""
        parts = self.light * factors
        x, y, z = np.maximum(parts.sum(axis=(1, 2)), _TINY)
        dx, dy, dz = np.log(2) * np.tensordot(parts, ways, axes=([1, 2], [0, 1]))
        total, d_total = x + 15 * y + 3 * z, dx + 15 * dy + 3 * dz
        rows: Matrix = np.stack(
            [4 * (dx - x * d_total / total) / total, 9 * (dy - y * d_total / total) / total]
        )
        return _UV_STOPS * rows


@dataclass(frozen=True, eq=False)
class Limit(Demand):
    """How light the pixels of an area are, at a quantile of them.

    Parameters
    ----------
    pixels : ndarray, shape (lights, 3, pixels)
        Luminance that a factor of 1 of each light and channel gives to each pixel.
    room : ndarray, shape (pixels,)
        Log2 of what a pixel may come to.
    share : float
        Of the pixels, that lie below the quantile.
    sense : {"at least", "at most", "just"}
        On which side it is to lie.
    """

    pixels: npt.NDArray[np.float32]
    room: npt.NDArray[np.float32]
    share: float
    sense: Sense

    def over(self, factors: Matrix) -> npt.NDArray[np.float32]:
        """Say by how many stops each pixel is over its room."""
        return np.log2(self._light(factors)) - self.room

    def _light(self, factors: Matrix) -> npt.NDArray[np.float32]:
        flat = self.pixels.reshape(-1, self.pixels.shape[2])
        light = factors.astype(np.float32).ravel() @ flat
        return np.asarray(np.maximum(light, np.float32(_TINY)), np.float32)

    def residuals(self, factors: Matrix) -> Vector:
        """Give stops on the wrong side; one row."""
        return np.array([self._wrong(self.over(factors))])

    def _wrong(self, over: npt.NDArray[np.float32]) -> float:
        place = self.share * (over.size - 1)
        below, above = math.floor(place), math.ceil(place)
        ranked = np.partition(over, (below, above))
        level = float(ranked[below] + (place - below) * (ranked[above] - ranked[below]))
        if self.sense == "at least":
            level = min(level, 0.0)
        elif self.sense == "at most":
            level = max(level, 0.0)
        return level

    def slopes(self, factors: Matrix, ways: npt.NDArray[np.float64]) -> Matrix:
        """Give the mean of the shares in pixels around the quantile."""
        light = self._light(factors)
        over = np.log2(light) - self.room
        if self.sense != "just" and not self._wrong(over):
            return np.zeros((1, ways.shape[2]))
        near = self._near(over)
        parts = self.pixels[:, :, near] * (factors[:, :, None] / light[near])
        return np.tensordot(parts.mean(axis=2), ways, axes=2)[None]

    def _near(self, over: npt.NDArray[np.float32]) -> npt.NDArray[np.intp]:
        """Find pixels around the quantile."""
        count = over.size
        half = max(1, round(count * _NEIGHBOURS / 2))
        rank = round(self.share * (count - 1))
        low, high = max(0, rank - half), min(count - 1, rank + half)
        order = np.argpartition(over, (low, high))
        near: npt.NDArray[np.intp] = order[low : high + 1]
        return near


def stacked(demands: Sequence[Demand], moves: Moves, unknowns: Vector) -> tuple[Vector, Matrix]:
    """Weighted residuals of demands and their derivatives, without the charge on moves."""
    factors, ways = moves.factors_at(unknowns), moves.slopes_at(unknowns)
    rows = [demand.weight * demand.residuals(factors) for demand in demands]
    slopes = [demand.weight * demand.slopes(factors, ways) for demand in demands]
    if not rows:
        return np.zeros(0), np.zeros((0, unknowns.size))
    return np.concatenate(rows), np.concatenate(slopes)
