"""Where a light stands in a mood: how strong, counted from a place that does not move."""

from __future__ import annotations

import math
from collections.abc import Hashable
from dataclasses import dataclass
from typing import assert_never

from evenfall.light.gain import gain_factor
from evenfall.recipe import LightSetting, Match, Recipe, ResolvedMood
from evenfall.recipe.gains import (
    AsRendered,
    Candela,
    Counted,
    Factor,
    InStops,
    Lumens,
    Off,
    Watts,
    gives_nothing,
    is_relative,
)
from evenfall.recipe.tints import TINT_KEYS

__all__ = ["NEAR_STOPS", "Stand", "own_side", "stand", "tint_of"]

NEAR_STOPS = 2e-3
"""Stops by which two gains may differ and be the same: what rounding to a few digits costs."""

_TINT_FIELDS = (*TINT_KEYS, "duv", "locus")


@dataclass(frozen=True)
class Stand:
    """How strong a light is.

    Parameters
    ----------
    stops : float
        Stops above `anchor`; minus infinity when the light is off.
    anchor : hashable
        What they count from: ``"render"``, a daylight model, or a ratio that is solved from the
        pixels of a mood.
    """

    stops: float
    anchor: Hashable = "render"

    @property
    def is_off(self) -> bool:
        """Whether the light is off."""
        return self.stops == -math.inf

    def moved(self, stops: float) -> Stand:
        """Give the place that lies some stops above this one."""
        return Stand(self.stops + stops, self.anchor)

    def is_near(self, other: Stand, within: float = NEAR_STOPS) -> bool:
        """Whether two places are the same, to a person unless said."""
        if self.is_off or other.is_off:
            return self.is_off and other.is_off
        return self.anchor == other.anchor and abs(self.stops - other.stops) < within


def stand(recipe: Recipe, mood: str, light: str) -> Stand:
    """Say where a light stands in a mood.

    Examples
    --------
    >>> from evenfall.develop.example import example_recipe
    >>> stand(example_recipe(), "dusk", "sky")
    Stand(stops=-2.0, anchor='render')
    """
    resolved = recipe.moods[mood]
    setting = resolved.lights[light]
    gain = setting.gain
    if gives_nothing(gain):
        return Stand(-math.inf)
    match gain:
        case Match():
            return Stand(-math.log2(own_side(gain)), _match_anchor(mood, gain))
        case Counted():
            return stand(recipe, gain.mood, light).moved(gain.stops)
        case AsRendered() | Off() | InStops() | Factor() | Lumens() | Watts() | Candela():
            stops = math.log2(gain_factor(setting, recipe.model.lights[light].rendered))
        case _:
            assert_never(gain)
    modelled = resolved.daylight is not None and _has_model(recipe, resolved, light)
    if modelled and is_relative(gain):
        return Stand(stops, str(resolved.daylight))
    return Stand(stops)


def _has_model(recipe: Recipe, mood: ResolvedMood, light: str) -> bool:
    """Whether a light is sun or sky of a mood's daylight model."""
    if mood.daylight is None:
        return False
    names = (mood.daylight.sun, mood.daylight.sky)
    return any(light in recipe.members(name) for name in names if name is not None)


def own_side(match: Match) -> float:
    """Give the other light over this one, alone, whichever way the ratio is said."""
    return match.ratio_value - 1 if match.convention == "(key+fill):fill" else match.ratio_value


def _match_anchor(mood: str, match: Match) -> Hashable:
    return (mood, match.to, match.area.model_dump_json() if match.area is not None else "")


def tint_of(setting: LightSetting) -> dict[str, object]:
    """Give the keys that say what colour, as they stand.

    Examples
    --------
    >>> tint_of(LightSetting(stops=1, kelvin=2700))
    {'kelvin': 2700.0}
    """
    values = {field: getattr(setting, field) for field in _TINT_FIELDS}
    return {field: value for field, value in values.items() if value is not None}
