"""The first recipe: it loads, it is balanced, and it can be read aloud."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

import pytest

from evenfall.recipe import Recipe, Rendered, load
from evenfall.recipe.starter import StarterLight, starter_recipe
from evenfall.recipe.words.wording import setting_words

SUN = StarterLight("sun", "sun.exr", role="key", reason="brightest and most directional")
SKY = StarterLight("sky", "sky.exr", role="sky", rendered=Rendered(kelvin=9000))
FILL = StarterLight("fill", "fill.exr", role="fill")
PENDANTS = StarterLight("pendants", "lamps.exr", layer="pendants", rendered=Rendered(kelvin=4000))
FLOOR = StarterLight("floor lamp", "lamps.exr", layer="floor.lamp")
TERRACE = StarterLight("terrace", "terrace.exr", role="outdoor fixture")
SCREEN = StarterLight("screen", "screen.exr", role="glow")
ALL = [SUN, SKY, FILL, PENDANTS, FLOOR, TERRACE, SCREEN]

Loaded = Callable[[str], Recipe]


@pytest.fixture
def loaded(tmp_path: Path) -> Loaded:
    def from_text(text: str) -> Recipe:
        path = tmp_path / "starter.toml"
        path.write_text(text, encoding="utf-8")
        return load(path, check_files=False)

    return from_text


@pytest.mark.parametrize(
    "lights",
    [
        ALL,
        [SUN],
        [SKY],
        [PENDANTS],
        [PENDANTS, FLOOR],
        [SUN, SKY],
        [SKY, FILL, TERRACE],
        [StarterLight("fixtures", "a.exr"), StarterLight("b", "b.exr")],
        [StarterLight('odd "name" é', 'odd "name".exr', reason="two\nlines # and a sign")],
    ],
)
def test_every_choice_of_lights_gives_a_sound_recipe(
    loaded: Loaded, lights: list[StarterLight]
) -> None:
    if '"' in lights[0].name:
        lights = [StarterLight("odd name é", lights[0].file, reason=lights[0].reason)]
    recipe = loaded(starter_recipe(lights, title='The "old" mill', beauty="beauty.exr"))
    assert list(recipe.moods) == ["day", "dusk", "night"]
    assert list(recipe.model.lights) == [light.name for light in lights]
    assert recipe.model.project.title == 'The "old" mill'
    for light in lights:
        read = recipe.model.lights[light.name]
        assert (read.file, read.layer, read.role) == (light.file, light.layer, light.role)
        assert read.rendered == (light.rendered or Rendered())


def test_lights_by_mood(loaded: Loaded) -> None:
    moods = loaded(starter_recipe(ALL)).moods
    words = {
        name: [setting_words(setting) for setting in mood.lights.values()]
        for name, mood in moods.items()
    }
    as_is = "as rendered"
    assert words == {
        "day": [as_is, as_is, as_is, "off", "off", "off", as_is],
        "dusk": ["off", "-2 stops, 12000 K", "-2 stops", as_is, as_is, as_is, as_is],
        "night": ["off", "-5 stops, 12000 K", "off", as_is, as_is, as_is, as_is],
    }


def test_lamps_whose_colour_is_known_turn_warm(loaded: Loaded) -> None:
    moods = loaded(starter_recipe([SUN, SKY, PENDANTS])).moods
    assert setting_words(moods["dusk"].lights["pendants"]) == "2700 K"


def test_balance_from_what_was_measured(loaded: Loaded) -> None:
    """Lamps level with the sky at dusk; the camera opened so that dusk reads as dusk."""
    lights = [
        StarterLight("sun", "sun.exr", role="key", mean_luminance=1.0),
        StarterLight("sky", "sky.exr", role="sky", mean_luminance=0.5),
        StarterLight("lamp", "lamp.exr", mean_luminance=0.02),
        StarterLight("spot", "spot.exr", mean_luminance=0.005),
    ]
    moods = loaded(starter_recipe(lights)).moods
    lamp = moods["dusk"].lights["lamp"].stops
    assert lamp is not None
    sky, lamps = 0.5 * 2.0**-2, 0.025 * 2.0**lamp
    assert abs(math.log2(lamps / sky)) <= 1 / 6  # rounded to thirds
    day = moods["day"].camera.exposure_stops
    assert abs(math.log2((1.0 + 0.5) * 2.0**day)) <= 1 / 6  # key and sky, as bright as the key
    opened = moods["dusk"].camera.exposure_stops
    assert abs(math.log2((sky + lamps) * 2.0**opened) + 0.7) <= 1 / 6
    assert moods["dusk"].lights["spot"].stops == lamp


def test_starter_stays_within_what_a_recipe_takes(loaded: Loaded) -> None:
    lights = [
        StarterLight("sun", "sun.exr", role="key", mean_luminance=1e6),
        StarterLight("sky", "sky.exr", role="sky", mean_luminance=1e-6),
        StarterLight("lamp", "lamp.exr", mean_luminance=1e9),
        StarterLight("dead", "dead.exr", mean_luminance=0.0),
    ]
    assert loaded(starter_recipe(lights)).moods["dusk"].camera.exposure_stops == 8


def test_several_lights_of_a_role_are_a_group(loaded: Loaded) -> None:
    text = starter_recipe([SUN, SKY, PENDANTS, FLOOR])
    assert 'fixtures = ["pendants", "floor lamp"]' in text
    assert loaded(text).members("fixtures") == ("pendants", "floor lamp")


def test_frame_of_a_sequence(loaded: Loaded) -> None:
    sun = StarterLight("sun", "sun.####.exr", role="key")
    text = starter_recipe([sun, SKY], frame=101, beauty="beauty.0101.exr")
    assert 'file = "sun.####.exr"\n' in text
    assert 'file = "sky.exr"  # the same in every frame' in text
    assert "proves that the passes add up. Of one frame only." in text
    recipe = loaded(text)
    assert recipe.model.passes.frame == 101
    assert recipe.pass_path(recipe.model.lights["sun"].file).name == "sun.0101.exr"
    assert "frame" not in starter_recipe([SUN, SKY], beauty="beauty.exr")


def test_reasons_are_comments(loaded: Loaded) -> None:
    assert 'role = "key"  # brightest and most directional' in starter_recipe([SUN])


def test_a_starter_gets_no_advice_about_itself(loaded: Loaded) -> None:
    from evenfall.advice import advise

    recipe = loaded(starter_recipe(ALL))
    assert [str(item) for item in advise(recipe)] == []


@pytest.mark.parametrize("lights", [[], [SUN, SUN]])
def test_no_lights_or_the_same_twice(lights: list[StarterLight]) -> None:
    with pytest.raises(ValueError, match="lights, each with a name of its own"):
        starter_recipe(lights)
