"""Daylight as a mood's start: gains and colours relative to the altitude that was rendered."""

from __future__ import annotations

import math

import pytest

from evenfall.light.daybalance import daylight_start, sun_altitude
from evenfall.light.daylight import daylight_state
from evenfall.recipe import Daylight, Rendered

AT_45 = Rendered(sun_altitude_degrees=45)


def daylight(altitude, state="clear"):
    return Daylight(sun="sun", sky="sky", sun_altitude_degrees=altitude, state=state)


@pytest.mark.parametrize("part", ["sun", "sky"])
@pytest.mark.parametrize("altitude", [60, 45, 8, 1])
def test_the_hour_that_was_rendered_changes_nothing(part, altitude):
    rendered = Rendered(sun_altitude_degrees=altitude)
    start = daylight_start(daylight(altitude), part, rendered)
    assert start.gain == 1
    assert start.xy == start.rendered_xy


# Bird and Riordan's model (1984/86): direct normal 99.1 and 41.1 klx, sky 14.2 and 6.2 klx at 45
# and 10 degrees
@pytest.mark.parametrize(("part", "ratio"), [("sun", 41.1 / 99.1), ("sky", 6.2 / 14.2)])
def test_a_lower_sun_by_the_published_figures(part, ratio):
    assert daylight_start(daylight(10), part, AT_45).gain == pytest.approx(ratio, rel=0.03)


def test_civil_twilight_leaves_twelve_stops_less_sky():
    # 3.4 lx (Glossary of Meteorology) against 14.2 klx
    gain = daylight_start(daylight(-6), "sky", AT_45).gain
    assert math.log2(gain) == pytest.approx(math.log2(3.4 / 14200), abs=0.1)
    assert daylight_start(daylight(-6), "sun", AT_45).gain == 0


def test_an_overcast_sky_rendered_as_such_is_the_reference():
    rendered = Rendered(sun_altitude_degrees=45, sky_state="overcast")
    start = daylight_start(daylight(45, "overcast"), "sky", rendered)
    assert start.gain == 1
    clear = daylight_start(daylight(45), "sky", rendered)
    ratio = daylight_state(45).sky_lux / daylight_state(45, "overcast").sky_lux
    assert clear.gain == pytest.approx(ratio)


@pytest.mark.parametrize(
    "rendered",
    [
        Rendered(sun_altitude_degrees=-5),
        Rendered(sun_altitude_degrees=30, sky_state="overcast"),
    ],
)
def test_a_sun_that_gave_no_light_cannot_be_scaled(rendered):
    with pytest.raises(ValueError, match=r"gives no light; check rendered.sun_altitude_degrees"):
        daylight_start(daylight(20), "sun", rendered)


def test_the_rendered_colour_of_the_recipe_comes_first():
    own = Rendered(sun_altitude_degrees=45, xy=(0.3127, 0.3290))
    assert daylight_start(daylight(10), "sun", own).rendered_xy == (0.3127, 0.3290)
    assert daylight_start(daylight(10), "sun", Rendered()).rendered_xy is None


def test_an_unknown_reference_is_assumed_and_said():
    start = daylight_start(daylight(10), "sun", Rendered())
    assert start.gain == daylight_start(daylight(10), "sun", AT_45).gain
    assert start.notes == ("rendered.sun_altitude_degrees is not given; taken as 45",)


def test_place_and_time_give_the_altitude():
    # Reda and Andreas, NREL/TP-560-34302 (2008): zenith 50.11162 with refraction of 0.016 degrees
    spa = Daylight(
        sky="sky", latitude=39.742476, longitude=-105.1786, time="2003-10-17T12:30:30-07:00"
    )
    assert sun_altitude(spa) == pytest.approx(90 - 50.11162 - 0.016, abs=0.015)


def test_sun_and_sky_are_two_lights():
    with pytest.raises(ValueError, match="sun and sky are two lights"):
        Daylight(sun="dome", sky="dome", sun_altitude_degrees=10)
