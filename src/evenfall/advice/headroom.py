"""How far a light can still go up before the noise of its pass shows.

Noise of independent passes adds in variance, and a factor on a pass multiplies its noise: with
factors f and noise sigma, Var = sum (f sigma)^2. One stop up is four times the variance of that
light. What the eye sees is that noise after exposure and tone curve, where it lies in the picture;
it is said here as the standard deviation of CIE L*, of which one unit is about a just noticeable
difference.

Raised far enough, a light burns white what it lights, and white is calm: noise rises and falls
again. Headroom therefore ends where the noise first reaches the limit on the way up.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from evenfall.advice.noise import NoiseGrid

__all__ = ["MAX_HEADROOM_STOPS", "Headroom", "NoisePrediction", "predict_noise", "predicted_sigma"]

Planes = npt.NDArray[np.float32]
Factors = Mapping[str, tuple[float, float, float]]
Lightness = Callable[[Planes], npt.NDArray[np.floating]]

MAX_HEADROOM_STOPS = 8.0
"""Headroom beyond this is said as this."""

_WORST_SHARE_PERCENTILE = 95.0
_STEP_STOPS = 0.5
_BISECTIONS = 6  # to a hundredth of a stop
_BURNT_RESPONSE = 1.0  # L* that another stop adds where a light has burnt out
_MIDDLE_LIGHTNESS = 50.0  # what hardly answers below it is black, and not white
_BURNT_SHARE = 0.95  # of the blocks that the light rules


@dataclass(frozen=True)
class Headroom:
    """How far a light can go up.

    Parameters
    ----------
    stops : float
        Until its noise first reaches the limit, or until it burns out; `MAX_HEADROOM_STOPS` where
        neither happens before.
    burns_out : bool
        Whether it burns out: another stop makes what it lights hardly lighter, and its noise has
        not reached the limit anywhere on the way.
    """

    stops: float
    burns_out: bool = False


@dataclass(frozen=True)
class NoisePrediction:
    """What a mood's noise will look like.

    Parameters
    ----------
    noise_lightness : float
        Standard deviation of L* that only the worst 5 % of the blocks exceed.
    headroom : mapping of light to Headroom
        How far the light can go up until `noise_lightness` first reaches the limit; 0 stops where
        it is passed.
    noise_share : mapping of light to float
        The light's share of the noise variance in the worst blocks, 0 to 1.
    """

    noise_lightness: float
    headroom: Mapping[str, Headroom]
    noise_share: Mapping[str, float]


def predicted_sigma(grids: Mapping[str, NoiseGrid], factors: Factors) -> Planes:
    """Noise of the mix, a block a cell.

    Parameters
    ----------
    grids : mapping of light to NoiseGrid
    factors : mapping of light to 3 floats
        The balance; lights that are missing are off.

    Returns
    -------
    ndarray, shape (3, rows, columns)
        Standard deviation per channel in the mix's scene-linear units.

    Examples
    --------
    >>> cell = lambda value: np.full((3, 1, 1), value, np.float32)
    >>> grid = NoiseGrid(cell(1.0), cell(0.01))
    >>> mix = predicted_sigma({"a": grid, "b": grid, "c": grid},
    ...                       {"a": (1,) * 3, "b": (4,) * 3, "c": (0.25,) * 3})
    >>> round(float(mix[0, 0, 0]), 7)
    0.0413068
    """
    variance = sum(
        (_scaled(grids[name].sigma, factors[name]) ** 2 for name in factors), np.float32(0)
    )
    return np.asarray(np.sqrt(variance), np.float32)


def predict_noise(
    grids: Mapping[str, NoiseGrid],
    factors: Factors,
    lightness: Lightness,
    limit_lightness: float,
) -> NoisePrediction:
    """Predict a mood's displayed noise, and each light's headroom.

    Parameters
    ----------
    grids : mapping of light to NoiseGrid
        Of every light in `factors`.
    factors : mapping of light to 3 floats
        The balance of the mood, lights that are on.
    lightness : callable
        From scene-linear planes (3, rows, columns) of the mix to CIE L* (rows, columns) of the
        displayed picture: camera and look of the mood.
    limit_lightness : float
        Noise in L* that counts as showing.

    Returns
    -------
    NoisePrediction
    """
    displayed = _displayed_noise(grids, factors, lightness)
    worst = displayed >= np.percentile(displayed, _WORST_SHARE_PERCENTILE)
    noise_lightness = _worst(displayed)
    headroom = {
        name: Headroom(0.0)
        if noise_lightness >= limit_lightness
        else _headroom(grids, factors, name, lightness, limit_lightness)
        for name in factors
    }
    variances = {
        name: float(np.mean(np.sum(_scaled(grids[name].sigma, factors[name]) ** 2, axis=0)[worst]))
        for name in factors
    }
    total = sum(variances.values()) or 1.0
    return NoisePrediction(
        noise_lightness, headroom, {name: value / total for name, value in variances.items()}
    )


def _scaled(planes: Planes, factors: tuple[float, float, float]) -> Planes:
    scaled: Planes = planes * np.asarray(factors, np.float32)[:, None, None]
    return scaled


def _displayed_noise(
    grids: Mapping[str, NoiseGrid], factors: Factors, lightness: Lightness
) -> npt.NDArray[np.floating]:
    """Half the lightness from one sigma under to one over: a render's channels move together."""
    mean = np.asarray(sum(_scaled(grids[name].mean, factors[name]) for name in factors), np.float32)
    sigma = predicted_sigma(grids, factors)
    difference = lightness(mean + sigma) - lightness(np.maximum(mean - sigma, 0))
    return np.asarray(np.abs(difference) / 2.0)


def _worst(displayed: npt.NDArray[np.floating]) -> float:
    return float(np.percentile(displayed, _WORST_SHARE_PERCENTILE))


def _headroom(
    grids: Mapping[str, NoiseGrid],
    factors: Factors,
    name: str,
    lightness: Lightness,
    limit_lightness: float,
) -> Headroom:
    """Scan upwards for the first crossing, which lies in the step that passes the limit."""

    def raised(stops: float) -> Factors:
        red, green, blue = (factor * 2.0**stops for factor in factors[name])
        return {**factors, name: (red, green, blue)}

    def noise_at(stops: float) -> float:
        return _worst(_displayed_noise(grids, raised(stops), lightness))

    high = _STEP_STOPS
    while high <= MAX_HEADROOM_STOPS and noise_at(high) < limit_lightness:
        high += _STEP_STOPS
    if high > MAX_HEADROOM_STOPS:
        steps = np.arange(0.0, MAX_HEADROOM_STOPS, _STEP_STOPS)
        burnt = (stop for stop in steps if _is_burnt(grids, raised(float(stop)), name, lightness))
        found = next(burnt, None)
        return Headroom(MAX_HEADROOM_STOPS) if found is None else Headroom(float(found), True)
    low = high - _STEP_STOPS
    for _ in range(_BISECTIONS):
        middle = (low + high) / 2.0
        if noise_at(middle) < limit_lightness:
            low = middle
        else:
            high = middle
    return Headroom(low)


def _is_burnt(
    grids: Mapping[str, NoiseGrid], factors: Factors, name: str, lightness: Lightness
) -> bool:
    """Whether the blocks that a light rules are white, so that more of it shows no more."""
    own = _scaled(grids[name].mean, factors[name])
    mean = np.asarray(sum(_scaled(grids[each].mean, factors[each]) for each in factors), np.float32)
    ruled = 2.0 * own.sum(axis=0) > mean.sum(axis=0)
    if not ruled.any():
        return False
    now, another_stop = lightness(mean), lightness(mean + own)
    white = (another_stop - now < _BURNT_RESPONSE) & (now > _MIDDLE_LIGHTNESS)
    return float(np.mean(white[ruled])) >= _BURNT_SHARE
