"""Daylight as a mood's ingredient: starting gain and colour of the lights that are sun and sky."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from evenfall.light.daylight import DaylightState, daylight_state
from evenfall.light.primaries import Xy
from evenfall.light.sun import sun_position
from evenfall.light.tint import rendered_xy
from evenfall.recipe.lights import Rendered
from evenfall.recipe.moods import Daylight

__all__ = ["ASSUMED_ALTITUDE_DEGREES", "DaylightStart", "daylight_start", "sun_altitude"]

ASSUMED_ALTITUDE_DEGREES = 45.0
"""Sun altitude that sun and sky count as rendered for when the recipe does not say."""


@dataclass(frozen=True)
class DaylightStart:
    """Where a light starts from in a daylight mood, before the mood's own setting for it.

    Parameters
    ----------
    gain : float
        Factor relative to how it was rendered; 0 for a sun that is down.
    xy : tuple of float
        Its colour by the daylight model.
    rendered_xy : tuple of float or None
        The colour it was rendered with: as the recipe says, or the model's for the altitude it was
        rendered for. None when the recipe says neither.
    notes : tuple of str
        What a person should know.
    """

    gain: float
    xy: Xy
    rendered_xy: Xy | None
    notes: tuple[str, ...] = ()


def sun_altitude(daylight: Daylight) -> float:
    """Altitude of the sun in degrees, given or by place and time.

    Examples
    --------
    >>> midsummer = Daylight(
    ...     sky="sky", latitude=51.48, longitude=0.0, time="2026-06-21T13:02:00+01:00")
    >>> round(sun_altitude(midsummer), 1)
    62.0
    """
    if daylight.sun_altitude_degrees is not None:
        return daylight.sun_altitude_degrees
    assert daylight.latitude is not None  # held by the model: place and time go together
    assert daylight.longitude is not None
    assert daylight.time is not None
    time = datetime.fromisoformat(daylight.time)
    return sun_position(daylight.latitude, daylight.longitude, time).altitude_degrees


def daylight_start(
    daylight: Daylight, part: Literal["sun", "sky"], rendered: Rendered
) -> DaylightStart:
    """Return starting gain and colour of the light that is the sun or the sky.

    The sun's gain follows its illuminance on a surface that faces it: the direction from which it
    was rendered stays. The sky's follows its illuminance on the ground.

    Raises
    ------
    ValueError
        When the light was rendered for a sun that gives no light. The message is for people.

    Examples
    --------
    >>> low = Daylight(sun="sun", sun_altitude_degrees=10)
    >>> start = daylight_start(low, "sun", Rendered(sun_altitude_degrees=45))
    >>> round(start.gain, 2)
    0.42
    """
    now = daylight_state(sun_altitude(daylight), daylight.state)
    altitude = rendered.sun_altitude_degrees
    notes: tuple[str, ...] = ()
    if altitude is None:
        notes = (
            f"rendered.sun_altitude_degrees is not given; taken as {ASSUMED_ALTITUDE_DEGREES:g}",
        )
    then = daylight_state(
        ASSUMED_ALTITUDE_DEGREES if altitude is None else altitude, rendered.sky_state or "clear"
    )
    strength_then = _strength(then, part)
    if strength_then <= 0:
        raise ValueError(
            f"a sun at {then.sun_altitude_degrees:g} degrees under a sky that is {then.sky} gives "
            "no light; check rendered.sun_altitude_degrees and rendered.sky_state"
        )
    before = rendered_xy(rendered)
    if before is None and altitude is not None:
        before = _colour(then, part)
    return DaylightStart(_strength(now, part) / strength_then, _colour(now, part), before, notes)


def _strength(state: DaylightState, part: Literal["sun", "sky"]) -> float:
    return state.sun_normal_lux if part == "sun" else state.sky_lux


def _colour(state: DaylightState, part: Literal["sun", "sky"]) -> Xy:
    return state.sun_xy if part == "sun" else state.sky_xy
