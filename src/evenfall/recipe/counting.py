"""Steps: gains that a mood counts from the mood it is based on, made to count from the render."""

from __future__ import annotations

import math
from typing import Any, assert_never

from evenfall.recipe.base import Step
from evenfall.recipe.gains import (
    AsRendered,
    Candela,
    Counted,
    Factor,
    InStops,
    Lumens,
    Match,
    Off,
    Watts,
    gives_nothing,
    is_relative,
)
from evenfall.recipe.lights import LightSetting, MoodSetting

__all__ = ["counted_from"]


def counted_from(
    below: LightSetting, said: MoodSetting, base: str | None, *, daylight_differs: bool = False
) -> LightSetting:
    """Give a setting as it counts from the render.

    Parameters
    ----------
    below : LightSetting
        What the mood that this one is based on asks of the light.
    said : MoodSetting
        What this mood says.
    base : str or None
        The mood that this one is based on; None for a first mood, which counts from the render.
    daylight_differs : bool
        Whether the light has sun or sky of a daylight model in one of the moods that it has not in
        the other, so that their stops count from different places.

    Examples
    --------
    >>> day = LightSetting(stops=-1)
    >>> counted_from(day, MoodSetting(stops="down 2", kelvin=12000), "day").stops
    -3.0
    >>> solved = LightSetting(match={"to": "sun", "ratio": "4:1"})
    >>> counted_from(solved, MoodSetting(stops="down 2"), "day").counted
    Counted(mood='day', stops=-2.0)
    """
    values = {field: getattr(said, field) for field in said.model_fields_set}
    if isinstance(said.stops, Step):
        step = values.pop("stops").stops
        values |= {"stops": step} if base is None else _above(below, step, base, daylight_differs)
    return LightSetting(**values)


def _above(below: LightSetting, step: float, base: str, daylight_differs: bool) -> dict[str, Any]:
    """Give the keys of the gain that lies a step above another setting's."""
    gain, counted = below.gain, Counted(mood=base, stops=step)
    if daylight_differs and is_relative(gain):
        return {"counted": counted}
    match gain:
        case Match() | Counted():
            return {"counted": counted}
        case _ if gives_nothing(gain):  # and twice nothing is nothing
            return {"off": True}
        case Off():
            return {"off": True}
        case Lumens(lumens):
            said: dict[str, Any] = {"lumens": lumens * math.exp2(step)}
        case Watts(watts, per_watt):
            said = {"watts": watts * math.exp2(step), "lumens_per_watt": per_watt}
        case Candela(candela):
            said = {"candela": candela * math.exp2(step)}
        case Factor(factor):
            said = {"stops": math.log2(factor) + step}
        case InStops(stops):
            said = {"stops": stops + step}
        case AsRendered():
            said = {"stops": step}
        case _:
            assert_never(gain)
    return {**said, "counted": counted}
