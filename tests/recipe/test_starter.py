"""The first recipe: it loads, it is balanced, and it can be read aloud."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from evenfall.recipe import Beauty, Recipe, Rendered, load
from evenfall.recipe.lights import Source
from evenfall.recipe.starter import starter_recipe
from evenfall.recipe.starter_scene import LeftOut, StarterLight
from evenfall.recipe.words.wording import setting_words

SUN = StarterLight.of_file("sun", "sun.exr", "key", "brightest and most directional")
SKY = StarterLight("sky", (Source("sky.exr"),), "sky", rendered=Rendered(kelvin=9000))
FILL = StarterLight.of_file("fill", "fill.exr", "fill")
PENDANTS = StarterLight(
    "pendants", (Source("lamps.exr", "pendants"),), rendered=Rendered(kelvin=4000)
)
FLOOR = StarterLight("floor lamp", (Source("lamps.exr", "floor.lamp"),))
TERRACE = StarterLight.of_file("terrace", "terrace.exr", "outdoor fixture")
SCREEN = StarterLight.of_file("screen", "screen.exr", "glow")
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
        [StarterLight.of_file("fixtures", "a.exr"), StarterLight.of_file("b", "b.exr")],
        [StarterLight.of_file("odd name é", 'odd "name".exr', reason="two\nlines # and a sign")],
    ],
)
def test_every_choice_of_lights_gives_a_sound_recipe(
    loaded: Loaded, lights: list[StarterLight]
) -> None:
    beauty = Beauty(file="beauty.exr")
    recipe = loaded(starter_recipe(lights, title='The "old" mill', beauty=beauty))
    assert list(recipe.moods) == (["day"] if lights == [SUN] else ["day", "dusk", "night"])
    assert list(recipe.model.lights) == [light.name for light in lights]
    assert recipe.model.project.title == 'The "old" mill'
    for light in lights:
        read = recipe.model.lights[light.name]
        assert (read.sources, read.role) == (light.sources, light.role)
        assert read.rendered == (light.rendered or Rendered())


@pytest.mark.parametrize(
    ("lights", "moods", "said"),
    [
        ([SUN, StarterLight.of_file("moon", "moon.exr", "key")], ["day"], "no dusk or night"),
        ([SUN, FILL], ["day", "dusk"], "no night"),
        ([SUN, FILL, SCREEN], ["day", "dusk", "night"], ""),
        ([SUN, PENDANTS, FLOOR], ["day", "dusk", "night"], ""),
    ],
)
def test_no_mood_is_without_a_light(
    loaded: Loaded, lights: list[StarterLight], moods: list[str], said: str
) -> None:
    text = starter_recipe(lights)
    found = loaded(text).moods
    assert list(found) == moods
    for mood in found.values():
        assert not all(light.off for light in mood.lights.values())
    assert ("There is no" in text) == bool(said)
    assert said in text


def test_moods_by_usual_turns(loaded: Loaded) -> None:
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


def test_several_lights_of_a_role_are_a_group(loaded: Loaded) -> None:
    text = starter_recipe([SUN, SKY, PENDANTS, FLOOR])
    assert 'fixtures = ["pendants", "floor lamp"]' in text
    assert loaded(text).members("fixtures") == ("pendants", "floor lamp")


def test_frame_of_a_sequence(loaded: Loaded) -> None:
    sun = StarterLight.of_file("sun", "sun.####.exr", "key")
    text = starter_recipe([sun, SKY], frame=101, beauty=Beauty(file="beauty.0101.exr"))
    assert 'file = "sun.####.exr"\n' in text
    assert 'file = "sky.exr"  # the same in every frame' in text
    assert "proves that the passes add up. Of one frame only." in text
    recipe = loaded(text)
    assert recipe.model.passes.frame == 101
    assert recipe.pass_path(recipe.model.lights["sun"].file).name == "sun.0101.exr"
    assert "frame" not in starter_recipe([SUN, SKY], beauty=Beauty(file="beauty.exr"))


def test_a_light_of_several_pictures(loaded: Loaded) -> None:
    layers = StarterLight("sun", (Source("a.exr", "direct"), Source("a.exr", "indirect")), "key")
    files = StarterLight("sky", (Source("b.exr"), Source("c.exr")), "sky", title="Wide sky")
    lights = loaded(starter_recipe([layers, files])).model.lights
    assert lights["sun"].file == "a.exr"
    assert lights["sun"].layer == ("direct", "indirect")
    assert lights["sky"].sources == files.sources
    assert lights["sky"].title == "Wide sky"


def test_a_light_of_a_picture_with_a_name_and_one_without(loaded: Loaded) -> None:
    sources = (Source("a.exr"), Source("a.exr", "sun_indirect"), Source("b.exr", part="more"))
    sun = loaded(starter_recipe([StarterLight("sun", sources, "key")])).model.lights["sun"]
    assert [(each.file, each.layer or None, each.part or None) for each in sun.sources] == [
        ("a.exr", None, None),
        ("a.exr", "sun_indirect", None),
        ("b.exr", None, "more"),
    ]


def test_comments_can_be_made_lines(loaded: Loaded) -> None:
    """What is proposed loads when the signs of the comments are taken away."""
    lamp = StarterLight("lamp", (Source("lamp.exr"),), proposed=Rendered(kelvin=3750))
    left = LeftOut("old_sun", Source("old.exr", "sun"), "the same picture as sun.exr", "key")
    text = starter_recipe([SUN, lamp], left_out=[left], repairs=["why", "repair.fireflies = true"])
    made = text.replace("# rendered = { kelvin = 3750 }", "rendered = { kelvin = 3750 }")
    made = made.replace("# repair.", "repair.")
    lines = made.splitlines()
    start = lines.index("# [lights.old_sun]")
    lines[start : start + 4] = [line.removeprefix("# ") for line in lines[start : start + 4]]
    model = loaded("\n".join(lines)).model
    assert model.lights["lamp"].rendered.kelvin == 3750
    assert model.lights["old_sun"].sources == (Source("old.exr", "sun"),)
    assert model.passes.repair.fireflies


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
