"""Balance and white balance of a frame between two moods.

Gains go at an even pace in stops; a light that is off in one of the moods comes up, or goes, in
stops too, from 8 below to nothing at all. Colours go in mired and Duv where both moods have a
colour temperature for them; other colours by equal ratios of red, green and blue.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from evenfall.light.colour import kelvin_to_xy, mired, xy_to_kelvin_duv
from evenfall.light.primaries import RgbSpace, luminance_weights
from evenfall.light.tint import TintResult, light_rgb, tint_factors
from evenfall.mix.balance import Balance, LightBalance
from evenfall.recipe import LightSetting, Rendered

__all__ = ["balance_between", "gain_between"]

_DEPTH_STOPS = 8.0
_LARGEST_MIRED, _SMALLEST_MIRED = 1000.0, 40.0


def balance_between(first: Balance, second: Balance, share: float, space: RgbSpace) -> Balance:
    """Gains and tints between two moods.

    Parameters
    ----------
    first, second : Balance
        Of the moods.
    share : float
        How far from the first to the second, 0 to 1; at 0 it is the first as it is.
    space : RgbSpace
        The passes' primaries.
    """
    if share == 0:
        return first
    lights = {
        name: _light_between(first.lights[name], second.lights[name], share, space)
        for name in first.lights
    }
    notes = tuple(dict.fromkeys((*first.notes, *second.notes)))
    return Balance(f"{first.mood} to {second.mood}", lights, notes)


def gain_between(first: float, second: float, share: float) -> float:
    """Gain between two, in stops; to nothing and from it over 8 stops.

    Examples
    --------
    >>> gain_between(1.0, 4.0, 0.5), round(gain_between(0.0, 1.0, 0.5), 4)
    (2.0, 0.0588)
    >>> gain_between(0.0, 1.0, 0.0), gain_between(0.0, 1.0, 1.0)
    (0.0, 1.0)
    """
    if first == 0 or second == 0:
        full, way = (second, share) if first == 0 else (first, 1 - share)
        least = math.exp2(-_DEPTH_STOPS)
        return full * (math.exp2(-_DEPTH_STOPS * (1 - way)) - least) / (1 - least)
    return math.exp2((1 - share) * math.log2(first) + share * math.log2(second))


def _light_between(
    first: LightBalance, second: LightBalance, share: float, space: RgbSpace
) -> LightBalance:
    gain = gain_between(first.gain, second.gain, share)
    if not any(first.factors) or first.tint == second.tint:  # what is off has no colour
        return LightBalance(gain, second.tint)
    if not any(second.factors):
        return LightBalance(gain, first.tint)
    return LightBalance(gain, _tint_between(first.tint, second.tint, share, space))


def _tint_between(
    first: TintResult, second: TintResult, share: float, space: RgbSpace
) -> TintResult:
    ends = [_as_kelvin(tint, space) for tint in (first, second)]
    notes = tuple(dict.fromkeys((*first.notes, *second.notes)))
    logs = [np.log(np.maximum(tint.factors, 1e-6)) for tint in (first, second)]
    if ends[0] is None or ends[1] is None or first.before_xy != second.before_xy:
        red, green, blue = np.exp((1 - share) * logs[0] + share * logs[1])
        return TintResult((float(red), float(green), float(blue)), None, None, None, notes)
    (kelvin, duv), (other, other_duv) = ends[0], ends[1]
    between = (1 - share) * mired(kelvin) + share * mired(other)
    between = min(max(between, _SMALLEST_MIRED), _LARGEST_MIRED)
    xy = kelvin_to_xy(1e6 / between, (1 - share) * duv + share * other_duv)
    rendered = Rendered() if first.before_xy is None else Rendered(xy=first.before_xy)
    found = tint_factors(LightSetting(xy=xy), rendered, space)
    before = light_rgb(first.before_xy or space.white, space)[0]
    weights = luminance_weights(space)
    held = [
        math.log(float(weights @ (np.asarray(tint.factors) * before)))
        for tint in (first, second, found)
    ]
    scale = math.exp((1 - share) * held[0] + share * held[1] - held[2])
    red, green, blue = (factor * scale for factor in found.factors)
    return replace(found, factors=(red, green, blue), notes=notes)


def _as_kelvin(tint: TintResult, space: RgbSpace) -> tuple[float, float] | None:
    """Colour temperature and Duv that a tint leads to; None where it has none."""
    if tint.kelvin is None or tint.duv is None:
        if tint.before_xy is not None or tint.factors != (1.0, 1.0, 1.0):
            return None
        return xy_to_kelvin_duv(space.white)  # as rendered, of which nothing is known
    if min(tint.factors) <= 0:
        return None
    return tint.kelvin, tint.duv
