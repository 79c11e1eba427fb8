"""The search for first balances, on views whose answer is known by hand.

A flat picture of luminance Y shows as CIE L* of Y times the exposure where the curve is `clip`:
L* = 116 Y^(1/3) - 16 (CIE 15:2018).
"""

from __future__ import annotations

import numpy as np
import pytest

from evenfall.light.primaries import BT709
from evenfall.recipe import Look
from evenfall.recipe.lights import Role
from evenfall.recipe.look import Clip
from evenfall.solve.balanced import Cast, cast_of
from evenfall.solve.first_balance import solve_day, solve_first_balance
from evenfall.solve.stage import Stage

PLAIN = Look(tone=Clip())
ROWS, COLUMNS = 40, 60


def flat(level: float) -> np.ndarray:
    return np.full((3, ROWS, COLUMNS), level)


def luminance_of(lightness: float) -> float:
    return ((lightness + 16) / 116) ** 3


@pytest.mark.parametrize("level", [1e-4, 0.3, 2e4], ids=["faint", "usual", "in candela"])
def test_day_comes_to_its_lightness_whatever_the_unit(level: float) -> None:
    day = solve_day(Stage({"sun": flat(level)}, BT709, PLAIN), Cast(sun=("sun",)))
    expected = np.log2(luminance_of(60) / level)
    assert day.exposure_stops == pytest.approx(expected, abs=0.05)
    assert day.median == pytest.approx(60, abs=1)


def test_lamps_by_day_add_a_little() -> None:
    """7 % of the light: 0.07 / 0.93 of daylight, in thirds of a stop."""
    stage = Stage({"sun": flat(1.0), "lamp": flat(0.01)}, BT709, PLAIN)
    day = solve_day(stage, Cast(sun=("sun",), lamps=("lamp",)))
    expected = np.log2(0.07 / 0.93 / 0.01)
    assert day.stops["lamp"] == pytest.approx(expected, abs=1 / 6)


def room() -> dict[str, np.ndarray]:
    """A room that a lamp lights from the left, with a window at the right."""
    across = np.mgrid[0:ROWS, 0:COLUMNS][1] / COLUMNS
    window = (across > 0.8).astype(float)
    sky = (3.0 * window + 0.15) * np.array([0.8, 1.0, 1.3])[:, None, None]
    lamp = (np.exp(-3 * across) * (1 - window)) * np.array([1.0, 0.7, 0.4])[:, None, None]
    return {"sky": sky, "lamp": 0.05 * lamp}


def test_dusk_sets_lamps_over_the_sky() -> None:
    stage = Stage(room(), BT709, Look())
    solved = solve_first_balance(stage, Cast(sky=("sky",), lamps=("lamp",)))
    assert solved.dusk.median == pytest.approx(42, abs=2)
    assert solved.dusk.sky_median == pytest.approx(52, abs=3)
    assert solved.night.sky_median == pytest.approx(15, abs=5)
    assert solved.dusk.stops["lamp"] == solved.day.stops["lamp"]
    assert solved.night.stops["sky"] < solved.dusk.stops["sky"] < 0


def test_the_sun_sets_and_a_lamp_does_not() -> None:
    pictures = {**room(), "key": flat(0.5)}
    stage = Stage(pictures, BT709, Look())
    with_sun = Cast(sun=("key",), sky=("sky",), lamps=("lamp",))
    assert "key" not in solve_first_balance(stage, with_sun).dusk.stops
    with_lamp = solve_first_balance(stage, Cast(key_lamps=("key",), lamps=("lamp",)))
    assert with_lamp.day.stops["key"] == 0
    assert with_lamp.dusk.stops["key"] == -1


def test_daylight_that_adds_next_to_nothing_plays_no_part() -> None:
    roles: dict[str, Role | None] = {"luna": "key", "sky": "sky", "bar": "key", "lamp": "fixture"}
    lit = {"bar": flat(1.0), "lamp": flat(1.0)}
    night = cast_of(roles, lit | {"luna": flat(1e-3), "sky": flat(1e-3)})
    assert (night.daylight, night.key_lamps) == ((), ("bar",))
    evening = cast_of(roles, lit | {"luna": flat(1e-3), "sky": flat(0.1)})
    assert (evening.sun, evening.sky) == (("luna", "bar"), ("sky",))


def test_without_daylight_the_general_light_gives_way() -> None:
    stage = Stage({"ceiling": flat(0.4), "lamp": room()["lamp"]}, BT709, Look())
    solved = solve_first_balance(stage, Cast(lamps=("ceiling", "lamp")))
    assert solved.day.stops == {"ceiling": 0.0, "lamp": 0.0}
    assert solved.dusk.stops == {"ceiling": -1.0, "lamp": 0.0}
    assert solved.night.stops == {"lamp": 0.0}
    assert solved.day.median > solved.dusk.median > solved.night.median


def test_what_burns_opens_the_camera_less() -> None:
    """A quarter of the picture is 30 times as bright as the rest: it would be white at L* 60."""
    bright = flat(1.0)
    bright[:, :, : COLUMNS // 4] = 30.0
    day = solve_day(Stage({"sun": bright}, BT709, PLAIN), Cast(sun=("sun",)))
    assert day.median == pytest.approx(50, abs=1.5)  # the least of a day


def test_a_view_that_is_black_in_places_is_judged_where_light_is() -> None:
    half = flat(0.3)
    half[:, : ROWS // 2] = 0.0
    day = solve_day(Stage({"sun": half}, BT709, PLAIN), Cast(sun=("sun",)))
    assert day.exposure_stops == pytest.approx(np.log2(luminance_of(60) / 0.3), abs=0.05)


def test_ground_of_one_brightness_under_a_sky_that_is_cut_out_is_no_window() -> None:
    sky = flat(1.0)
    sky[:, : ROWS // 2] = 0
    day = solve_day(Stage({"sky": sky}, BT709, PLAIN), Cast(sky=("sky",)))
    assert day.exposure_stops == pytest.approx(np.log2(luminance_of(60)), abs=0.05)
