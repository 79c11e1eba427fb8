"""Steps: gains that a mood counts from the mood it is based on, made to count from the render."""

from __future__ import annotations

import math
from typing import Any

from evenfall.recipe.base import Step
from evenfall.recipe.lights import Counted, LightSetting, MoodSetting

__all__ = ["counted_from"]

_RELATIVE = (None, "stops", "factor")  # gains that a daylight model is multiplied by


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
    key = below.gain_key
    if below.is_off:  # and twice nothing is nothing
        return {"off": True}
    counted = Counted(mood=base, stops=step)
    if key in ("match", "counted") or (daylight_differs and key in _RELATIVE):
        return {"counted": counted}
    if below.lumens is not None:
        return {"lumens": below.lumens * math.exp2(step), "counted": counted}
    if below.watts is not None:
        watts = below.watts * math.exp2(step)
        return {"watts": watts, "lumens_per_watt": below.lumens_per_watt, "counted": counted}
    stops = math.log2(below.factor) if below.factor is not None else below.stops or 0.0
    return {"stops": stops + step, "counted": counted}
