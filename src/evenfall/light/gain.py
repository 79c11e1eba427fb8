"""Gain: one factor from stops, plain factors, lumens, watts or candela, relative to the rendered.

+1 stop is twice the light. Lumens divide by the lumens the light was rendered with; watts become
lumens by the efficacy in lumens per watt; candela divide by the candela it was rendered with, which
is right as long as the beam keeps its shape.
"""

from __future__ import annotations

import math
from typing import assert_never

from evenfall.recipe.gains import (
    AsRendered,
    Candela,
    Counted,
    Factor,
    Figure,
    Gain,
    GainKey,
    InStops,
    Lumens,
    Match,
    Off,
    Watts,
)
from evenfall.recipe.lights import LightSetting, Rendered

__all__ = ["factor_said", "gain_factor", "stops_of"]


def gain_factor(setting: LightSetting, rendered: Rendered) -> float:
    """Return the factor that a setting's gain comes to; 1 for gains that are solved from pixels.

    Parameters
    ----------
    setting : LightSetting
        What the mood asks; only its gain is looked at. No gain is 1, as rendered.
    rendered : Rendered
        How the light was rendered; lumens and watts need its `lumens`, candela its `candela`.

    Returns
    -------
    float
        0 or more.

    Raises
    ------
    ValueError
        When the recipe does not say the figure that the light was rendered with. The message is
        for people.

    Examples
    --------
    >>> gain_factor(LightSetting(stops="+1 1/2"), Rendered())
    2.8284271247461903
    >>> gain_factor(LightSetting(watts=8, lumens_per_watt=100), Rendered(lumens=400))
    2.0
    >>> gain_factor(LightSetting(candela=2400), Rendered(candela=800))
    3.0
    """
    return _factor(setting.gain, rendered)


def factor_said(setting: LightSetting) -> float | None:
    """Return the factor of a gain that says it by itself; None where it hangs on lamp or pixels.

    Examples
    --------
    >>> factor_said(LightSetting(stops=-2)), factor_said(LightSetting(lumens=800))
    (0.25, None)
    """
    gain = setting.gain
    match gain:
        case AsRendered() | Off() | InStops() | Factor():
            return _factor(gain, Rendered())
        case Lumens() | Watts() | Candela() | Match() | Counted():
            return None
        case _:
            assert_never(gain)


def _factor(gain: Gain, rendered: Rendered) -> float:
    match gain:
        case AsRendered() | Match() | Counted():
            return 1.0
        case Off():
            return 0.0
        case InStops(stops):
            return math.exp2(stops)
        case Factor(factor):
            return factor
        case Lumens(lumens):
            return lumens / _known(rendered.lumens, "lumens", "lumens")
        case Watts(watts, lumens_per_watt):
            return watts * lumens_per_watt / _known(rendered.lumens, "watts", "lumens")
        case Candela(candela):
            return candela / _known(rendered.candela, "candela", "candela")
        case _:
            assert_never(gain)


def _known(figure: float | None, key: GainKey, name: Figure) -> float:
    if figure is None:
        raise ValueError(
            f"{key} needs to know how the light was rendered: say rendered.{name}, or use stops"
        )
    return figure


def stops_of(factor: float) -> float:
    """Return the stops of a factor: log2; minus infinity for 0.

    Examples
    --------
    >>> stops_of(4), stops_of(0)
    (2.0, -inf)
    """
    return math.log2(factor) if factor > 0 else -math.inf
