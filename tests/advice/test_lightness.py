"""Advice on how light moods are, from pixels that are made to show it.

Which mood is darker than which is common practice; CIE L* of greys is CIE 15:2018.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

import evenfall

SKY = np.full((60, 80, 3), 0.18, np.float32)
LAMP = np.full((60, 80, 3), 0.02, np.float32)
LAMP[20:24, 30:34] = 40.0  # the bulb: a third of a per cent

MOODS = """
format = 1
silence = ["no-key"]
camera = { meter = "off" }
[lights.sky]
file = "sky.exr"
role = "sky"
[lights.lamp]
file = "lamp.exr"
role = "fixture"
[moods.day]
camera.exposure_stops = 1
[moods.dusk]
lights.sky = -2
camera.exposure_stops = 1
[moods.night]
based_on = "dusk"
lights.sky = "off"
camera.exposure_stops = 1
"""

WriteRecipe = Callable[..., evenfall.Recipe]


def _codes(
    write_recipe: WriteRecipe, *changes: str, sky: np.ndarray = SKY, lamp: np.ndarray = LAMP
) -> dict[str, str]:
    recipe = write_recipe(MOODS, {"sky": sky, "lamp": lamp}, changes=changes)
    return {advice.code: advice.place for advice in evenfall.open(recipe).meter().advice}


def test_a_series_that_darkens_hears_nothing(write_recipe: WriteRecipe) -> None:
    lit = LAMP * 3
    assert _codes(write_recipe, lamp=lit) == {}


@pytest.mark.parametrize(
    ("change", "place"),
    [
        ("moods.dusk.camera.exposure_stops=3.5", "moods.dusk"),
        ("moods.night.camera.exposure_stops=5", "moods.night"),
    ],
)
def test_a_mood_that_is_lighter_than_the_one_before(
    write_recipe: WriteRecipe, change: str, place: str
) -> None:
    assert _codes(write_recipe, change, lamp=LAMP * 3)["lighter-than-before"] == place


def test_only_time_of_day_puts_moods_in_order(write_recipe: WriteRecipe) -> None:
    changes = ("moods.night.camera.exposure_stops=5", "moods.night.time_of_day=day")
    assert "lighter-than-before" not in _codes(write_recipe, *changes, lamp=LAMP * 3)


def test_a_dark_day_is_murky_and_a_dark_night_with_a_pool_of_light_is_not(
    write_recipe: WriteRecipe,
) -> None:
    """Grey of 4.5 % has L* 25 (CIE 15:2018); a tenth of the night is lit to a middle grey."""
    pool = np.full_like(LAMP, 0.001)
    pool[:, :8] = 0.18
    dark = "moods.day.camera.exposure_stops=-2"
    murky = _murky(write_recipe, dark, "moods.dusk.camera.exposure_stops=2", lamp=pool)
    assert murky == ["moods.day"]
    without_pool = np.full_like(LAMP, 0.002)
    assert _murky(write_recipe, "moods.day.camera.exposure_stops=1.5", lamp=without_pool) == [
        "moods.night"
    ]


def _murky(write_recipe: WriteRecipe, *changes: str, lamp: np.ndarray) -> list[str]:
    recipe = write_recipe(MOODS, {"sky": SKY, "lamp": lamp}, changes=changes)
    given = evenfall.open(recipe).meter().advice
    return [advice.place for advice in given if advice.code == "murky"]


@pytest.mark.parametrize(("bulb", "told"), [(4, False), (30, True)])
def test_a_lamp_may_be_white_and_what_it_lights_may_not(
    write_recipe: WriteRecipe, bulb: int, told: bool
) -> None:
    """A patch of sun burns as many pixels as a lamp might; only the pass tells which it is."""
    sunny = SKY.copy()
    sunny[:bulb, :bulb] = 0.25 if bulb < 10 else 60.0
    given = _codes(write_recipe, "lights.sky.role=key", sky=sunny, lamp=LAMP * 3)
    assert ("highlights-clipped" in given) is told


def test_burnt_wall_is_told_though_it_is_less_than_a_twentieth(write_recipe: WriteRecipe) -> None:
    lamp = LAMP * 3
    lamp[:16, :12] = 4.0  # 4 % of the picture: more than the brightest 3 %, so no bulb
    recipe = write_recipe(MOODS, {"sky": SKY, "lamp": lamp})
    (advice,) = (
        each
        for each in evenfall.open(recipe).meter(moods=["night"]).advice
        if each.code == "highlights-clipped"
    )
    assert "where no lamp is seen" in advice.message


def test_a_white_window_by_day_is_no_fault(write_recipe: WriteRecipe) -> None:
    """The view out of a room may be white by day (common practice), and not at dusk."""
    window = SKY * 0.8
    window[:, -3:] = 20.0  # a twenty-fifth of the picture
    given = _codes(write_recipe, sky=window, lamp=LAMP * 3)
    assert given.get("highlights-clipped") != "moods.day"
    assert given["highlights-clipped"] == "moods.dusk"
