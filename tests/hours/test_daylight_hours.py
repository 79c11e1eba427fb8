"""Sun and sky of the frames of a sequence, by place, date and the clock."""

from __future__ import annotations

import math
from datetime import datetime
from pathlib import Path

import pytest

from evenfall.errors import RecipeError
from evenfall.light.primaries import BT709
from evenfall.light.sun import sun_position
from evenfall.mix.balance import balance_mood
from evenfall.recipe import Recipe
from evenfall.recipe.recipe import load_text

POSITION = 0.015  # degrees: the theory's 0.01, and the parallax it leaves out
MODELS = 0.1  # published models of a clear sky differ by as much from each other

RECIPE = """
format = 1
[lights.sun]
file = "sun.exr"
role = "key"
rendered.sun_altitude_degrees = 45
[lights.sky]
file = "sky.exr"
role = "sky"
rendered.sun_altitude_degrees = 45
[moods.day]
[moods.late]
lights.sky = -1
"""


def at(frame: int, *, frames: int, first: str, last: str, place: str) -> Recipe:
    """A recipe at a frame of a sequence from one time of day to another."""
    text = f"""{RECIPE}
[sequence]
name = "hour"
frames = {frames}
keys = [{{ mood = "day", time = "{first}" }}, {{ mood = "late", time = "{last}" }}]
daylight = {{ sun = "sun", sky = "sky", {place} }}
"""
    return load_text(text, Path("v.toml"), changes=[f"sequence.frame={frame}"], check_files=False)


def sun_at(recipe: Recipe) -> tuple[float, float]:
    """Apparent altitude and azimuth of the sun in degrees, in the frame's mood."""
    daylight = recipe.moods["hour"].daylight
    assert daylight is not None
    assert daylight.latitude is not None
    assert daylight.longitude is not None
    assert daylight.time is not None
    time = datetime.fromisoformat(daylight.time)
    sun = sun_position(daylight.latitude, daylight.longitude, time)
    return sun.apparent_altitude_degrees, sun.azimuth_degrees


def gains(recipe: Recipe, mood: str) -> dict[str, float]:
    """Factors of the lights; between two moods, as the first has them."""
    found = balance_mood(recipe, recipe.moods[mood], BT709)
    return {name: light.gain for name, light in found.lights.items()}


def test_a_frame_has_the_published_sun_of_its_minute():
    # Reda and Andreas, NREL/TP-560-34302 (2008), table A5.1: 12:30:30 at UTC-7. Frames stand half
    # a minute apart here, and 12:30:30 is 61 of them behind 12:00.
    place = (
        'latitude = 39.742476, longitude = -105.1786, date = "2003-10-17", utc_offset = "-07:00"'
    )
    altitude, azimuth = sun_at(at(62, frames=123, first="12:00", last="13:01", place=place))
    assert 90 - altitude == pytest.approx(50.11162, abs=POSITION)
    assert azimuth == pytest.approx(194.34024, abs=POSITION)


def test_hours_after_midnight_are_on_the_next_day():
    # The equinox of 2026 is on 20 March at 14:46 UTC (USNO, from memory): on the equator the sun
    # passes the zenith about noon, and is straight below about midnight.
    place = 'latitude = 0, longitude = 0, date = "2026-03-19"'
    night = sun_at(at(1, frames=13, first="24:07", last="36:07", place=place))
    noon = sun_at(at(13, frames=13, first="24:07", last="36:07", place=place))
    assert night[0] == pytest.approx(-90, abs=0.5)
    assert noon[0] == pytest.approx(90, abs=0.5)


def test_the_clock_is_ahead_of_universal_time_by_its_offset():
    summer = 'latitude = 51.48, longitude = 0, date = "2026-06-21", utc_offset = "+01:00"'
    winter = 'latitude = 51.48, longitude = 0, date = "2026-06-21"'
    one = sun_at(at(1, frames=2, first="13:02", last="14:00", place=summer))
    other = sun_at(at(1, frames=2, first="12:02", last="13:00", place=winter))
    assert one == pytest.approx(other)
    # By geometry: at noon of a solstice the sun stands 90 - latitude + 23.44 degrees high (IAU).
    assert one[0] == pytest.approx(90 - 51.48 + 23.44, abs=0.05)


def test_the_sun_comes_on_when_almanacs_let_it_rise():
    # On the equator at an equinox: noon 7.4 minutes late (equation of time, Meeus 1998), and half a
    # day of 6 h 3.35 min (50' below the horizon, the convention of almanacs): it rises at 06:04.
    place = 'latitude = 0, longitude = 0, date = "2026-03-20"'
    shines = [
        gains(at(frame, frames=31, first="5:50", last="6:20", place=place), "day")["sun"] > 0
        for frame in range(1, 32)
    ]
    assert shines == sorted(shines)  # it comes on once
    assert shines.index(True) - 14 == pytest.approx(0, abs=4)  # frame 15 is 06:04


def test_sun_and_sky_go_down_as_published_models_have_it():
    # Direct light of a clear day by the IES (1984): 128 klx exp(-0.21 / sin h).
    place = 'latitude = 0, longitude = 0, date = "2026-03-20"'
    recipe = at(1, frames=2, first="17:27", last="17:28", place=place)
    altitude, _ = sun_at(recipe)
    assert altitude == pytest.approx(10, abs=0.3)  # 2 h 40 of 15 degrees an hour before it sets

    def ies(degrees: float) -> float:
        return math.exp(-0.21 / math.sin(math.radians(degrees)))

    # Sky light: 0.8 + 15.5 sqrt(sin h) klx, of the same practice.
    def ies_sky(degrees: float) -> float:
        return 0.8 + 15.5 * math.sqrt(math.sin(math.radians(degrees)))

    found = gains(recipe, "day")
    assert found["sun"] == pytest.approx(ies(altitude) / ies(45), rel=MODELS)
    assert found["sky"] == pytest.approx(ies_sky(altitude) / ies_sky(45), rel=3 * MODELS)


def test_what_a_mood_says_counts_from_the_hour():
    place = 'latitude = 0, longitude = 0, date = "2026-03-20"'
    recipe = at(1, frames=2, first="15:00", last="15:01", place=place)
    assert gains(recipe, "late")["sky"] == pytest.approx(gains(recipe, "day")["sky"] / 2)


@pytest.mark.parametrize(
    ("place", "said"),
    [
        ('latitude = 60, longitude = 5, date = "21.6.2026"', "expected a date such as 2026-06-21"),
        ('latitude = 95, longitude = 5, date = "2026-06-21"', "sequence.daylight.latitude"),
        (
            'latitude = 60, longitude = 5, date = "2026-06-21", utc_offset = "2"',
            'expected utc_offset such as "+02:00"',
        ),
        ('longitude = 5, date = "2026-06-21"', "latitude"),
    ],
)
def test_a_place_and_a_date_that_are_none_are_told(place: str, said: str):
    with pytest.raises(RecipeError) as caught:
        at(1, frames=2, first="9:00", last="10:00", place=place)
    assert said in str(caught.value)
