"""Gain: one factor from stops, plain factors, lumens or watts, relative to the light as rendered.

+1 stop is twice the light. Lumens divide by the lumens the light was rendered with; watts become
lumens by the efficacy in lumens per watt.
"""

from __future__ import annotations

import math

from evenfall.recipe.lights import LightSetting, Rendered

__all__ = ["gain_factor", "stops_of"]


def gain_factor(setting: LightSetting, rendered: Rendered) -> float:
    """Return the factor that a setting's gain comes to; gains solved from pixels are not covered.

    Parameters
    ----------
    setting : LightSetting
        What the mood asks; only its gain is looked at. No gain is 1, as rendered.
    rendered : Rendered
        How the light was rendered; lumens and watts need its `lumens`.

    Returns
    -------
    float
        0 or more.

    Raises
    ------
    ValueError
        When lumens or watts are asked for and the recipe does not say the rendered lumens. The
        message is for people.

    Examples
    --------
    >>> gain_factor(LightSetting(stops="+1 1/2"), Rendered())
    2.8284271247461903
    >>> gain_factor(LightSetting(watts=8, lumens_per_watt=100), Rendered(lumens=400))
    2.0
    """
    if setting.off:
        return 0.0
    if setting.stops is not None:
        return math.exp2(setting.stops)
    if setting.factor is not None:
        return setting.factor
    if setting.lumens is not None:
        return setting.lumens / _rendered_lumens(rendered, "lumens")
    if setting.watts is not None and setting.lumens_per_watt is not None:
        return setting.watts * setting.lumens_per_watt / _rendered_lumens(rendered, "watts")
    return 1.0


def _rendered_lumens(rendered: Rendered, key: str) -> float:
    if rendered.lumens is None:
        raise ValueError(
            f"{key} needs to know how the light was rendered: say rendered.lumens, or use stops"
        )
    return rendered.lumens


def stops_of(factor: float) -> float:
    """Return the stops of a factor: log2; minus infinity for 0.

    Examples
    --------
    >>> stops_of(4), stops_of(0)
    (2.0, -inf)
    """
    return math.log2(factor) if factor > 0 else -math.inf
