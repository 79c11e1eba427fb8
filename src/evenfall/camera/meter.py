"""Meter: how bright the metered light is in the picture, and the stops to a grey target.

Which pixels count. A pixel outside the area, or outside the view's alpha, does not. For the
averages, a pixel more than ten stops below the arithmetic mean counts as not reached by the
metered light and is left out, zeros, negatives and noise around them included: the log average of
a key that lights half of the picture is that of the lit half. The rule is relative, so that twice
the light reads exactly one stop more.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from evenfall.errors import Fault, PassError
from evenfall.recipe.base import Point
from evenfall.recipe.camera import Meter

__all__ = ["Reading", "meter", "method_weights", "spot_weights"]

Floats = npt.NDArray[np.float32]
Vector = npt.NDArray[np.float64]

UNLIT_STOPS = 10.0
"""Pixels this far below the arithmetic mean are left out of a log average."""

SPOT_DIAMETER = 1 / 20
"""Of the metering spot, as a share of the picture's width."""

_CENTRE_SIGMA = 0.25  # of the width across and of the height down
_ROWS = 256  # a strip; the sums do not depend on how many threads there are


@dataclass(frozen=True)
class Reading:
    """What the meter read.

    Parameters
    ----------
    luminance : float
        In the passes' units: the log average, or the percentile.
    target : float
        Where that luminance is brought to in the exposed picture; 0.18 is middle grey.
    lit_share : float
        Share of the metered area that counted, 0 to 1.
    notes : tuple of str
        What a person should know.
    """

    luminance: float
    target: float
    lit_share: float
    notes: tuple[str, ...] = ()

    @property
    def factor(self) -> float:
        """What the picture is multiplied by."""
        return self.target / self.luminance

    @property
    def stops(self) -> float:
        """The same in stops; positive brightens."""
        return math.log2(self.factor)


def meter(
    planes: Floats,
    luminance_weights: npt.ArrayLike,
    settings: Meter,
    area_weights: Floats | None = None,
    *,
    alpha: npt.NDArray[np.floating] | None = None,
    subject: str = "the metered light",
) -> Reading:
    """Read the meter.

    Parameters
    ----------
    planes : ndarray of shape (3, H, W)
        Scene-linear R, G, B of what is metered, finite; negatives allowed.
    luminance_weights : array of shape (3,)
        Of R, G, B in the passes' primaries.
    settings : Meter
        Method, target and spot; its `area` comes as weights.
    area_weights : ndarray of shape (H, W) or None
        0 to 1; None is the whole picture.
    alpha : ndarray of shape (H, W) or None
        The view's alpha; what it does not cover is not metered.
    subject : str
        What is metered, for the message of the error.

    Raises
    ------
    PassError
        When there is no light to meter.

    Examples
    --------
    >>> grey = np.full((3, 4, 4), 0.045, dtype=np.float32)
    >>> meter(grey, (0.2126, 0.7152, 0.0722), Meter()).stops.__round__(6)
    2.0
    """
    height, width = planes.shape[1:]
    weights = method_weights(settings, width, height)
    for further in (area_weights, alpha):
        if further is not None:
            clipped = np.clip(further, 0.0, 1.0).astype(np.float32)
            weights = clipped if weights is None else weights * clipped
    luminance = _luminance(planes, np.asarray(luminance_weights, dtype=np.float32))
    if settings.method == "highlights":
        reading = _percentile(luminance, weights, settings.percentile)
        target, share = settings.highlight_percent / 100, 1.0
    else:
        reading, share = _log_average(luminance, weights)
        target = settings.grey_percent / 100
    if not reading > 0 or not math.isfinite(reading):
        raise PassError(_dark_fault(settings, subject))
    return Reading(reading, target, share)


def _dark_fault(settings: Meter, subject: str) -> Fault:
    where = "in the metered area" if settings.area or settings.method == "spot" else "anywhere"
    return Fault(
        "",
        "camera.meter",
        f"there is no light of {subject} {where}",
        hint="meter another light or another area, or say meter = 'off'",
    )


def method_weights(settings: Meter, width: int, height: int) -> Floats | None:
    """Weights that the metering method itself brings; shape (H, W), None is 1 everywhere.

    Centre-weighted is a Gaussian around the middle with a standard deviation of a quarter of the
    width across and a quarter of the height down.

    Examples
    --------
    >>> weights = method_weights(Meter(method="centre"), 101, 101)
    >>> float(weights[50, 50]), round(float(weights[50, 75]), 2)
    (1.0, 0.61)
    """
    if settings.method == "spot":
        return spot_weights(settings.at, SPOT_DIAMETER / 2, width, height)
    if settings.method == "centre":
        across = np.exp(-0.5 * ((_centres(width) - 0.5) / _CENTRE_SIGMA) ** 2)
        down = np.exp(-0.5 * ((_centres(height) - 0.5) / _CENTRE_SIGMA) ** 2)
        return (down[:, None] * across[None, :]).astype(np.float32)
    return None


def spot_weights(at: Point, radius: float, width: int, height: int) -> Floats:
    """Weights of a round spot with an edge one pixel soft; shape (H, W).

    Parameters
    ----------
    at : tuple of float
        Middle, as shares of width and height from the top left.
    radius : float
        As a share of the picture's width.

    Examples
    --------
    >>> weights = spot_weights((0.5, 0.5), 0.1, 200, 100)
    >>> abs(float(weights.sum()) / (np.pi * 20**2) - 1) < 0.01
    True
    """
    across = _centres(width) * width - at[0] * width
    down = _centres(height) * height - at[1] * height
    rows, columns = (np.abs(away) < radius * width + 1 for away in (down, across))
    weights = np.zeros((height, width), np.float32)
    distance = np.hypot(down[rows, None], across[None, columns])
    weights[np.ix_(rows, columns)] = np.clip(radius * width - distance + 0.5, 0.0, 1.0)
    if not weights.any():
        weights[int(np.argmin(np.abs(down))), int(np.argmin(np.abs(across)))] = 1.0
    return weights


def _centres(count: int) -> Vector:
    return (np.arange(count) + 0.5) / count


def _luminance(planes: Floats, weights: Floats) -> Floats:
    luminance: Floats = np.multiply(planes[0], weights[0], dtype=np.float32)
    luminance += weights[1] * planes[1]
    luminance += weights[2] * planes[2]
    return luminance


def _strips(luminance: Floats, weights: Floats | None) -> Iterator[tuple[Floats, Floats | None]]:
    for first in range(0, luminance.shape[0], _ROWS):
        rows = slice(first, first + _ROWS)
        yield luminance[rows], None if weights is None else weights[rows]


def _log_average(luminance: Floats, weights: Floats | None) -> tuple[float, float]:
    """Weighted log average of the lit pixels, and their share of all weight."""
    light = weight = 0.0
    for strip, strip_weights in _strips(luminance, weights):
        light += float(np.sum(_weighted(strip, strip_weights), dtype=np.float64))
        weight += _weight_sum(strip, strip_weights)
    if weight <= 0 or light <= 0:
        return 0.0, 0.0
    unlit = light / weight * 2.0**-UNLIT_STOPS
    logs = lit = 0.0
    for strip, strip_weights in _strips(luminance, weights):
        counts = strip > unlit
        values = strip[counts]
        its_weights = None if strip_weights is None else strip_weights[counts]
        logs += float(np.sum(_weighted(np.log2(values), its_weights), dtype=np.float64))
        lit += _weight_sum(values, its_weights)
    return 2.0 ** (logs / lit), lit / weight


def _weighted(values: Floats, weights: Floats | None) -> Floats:
    return values if weights is None else values * weights


def _weight_sum(values: Floats, weights: Floats | None) -> float:
    return float(values.size) if weights is None else float(np.sum(weights, dtype=np.float64))


def _percentile(luminance: Floats, weights: Floats | None, percent: float) -> float:
    """Smallest luminance that at least `percent` of the weight does not exceed."""
    if weights is None:
        flat = luminance.ravel()
        rank = min(flat.size, max(1, math.ceil(flat.size * percent / 100))) - 1
        return float(np.partition(flat, rank)[rank])
    counts = weights > 0
    values, its_weights = luminance[counts], weights[counts].astype(np.float64)
    if values.size == 0:
        return 0.0
    order = np.argsort(values)
    reached = np.cumsum(its_weights[order])
    rank = int(np.searchsorted(reached, reached[-1] * percent / 100 * (1 - 1e-12)))
    return float(values[order][min(rank, values.size - 1)])
