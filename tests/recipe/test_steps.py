"""Gains and exposures that count from another mood; the sums are done by hand."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import jsonschema
import pytest

from evenfall.errors import RecipeError
from evenfall.recipe import LightSetting, ResolvedMood, load
from evenfall.recipe.base import Step, parse_step
from evenfall.recipe.counting import counted_from
from evenfall.recipe.gains import Counted
from evenfall.recipe.lights import MoodSetting
from evenfall.recipe.words.wording import counted_words, gain_words, setting_words

TEXT = """
format = 1
lights.sun = { file = "sun.exr", role = "key" }
lights.sky = { file = "sky.exr", role = "sky" }
lights.left = { file = "left.exr", rendered = { lumens = 800, candela = 2600 } }
lights.right = { file = "right.exr", rendered = { lumens = 800 } }
groups.lamps = ["left", "right"]
camera.exposure_stops = 0.5

[moods.day.lights]
sky = "+1/3"
left = { factor = 0.5 }
right = "off"
"""
SCHEMA = Path(__file__).parents[2] / "docs" / "recipe.schema.json"

Moods = Callable[[str], dict[str, ResolvedMood]]


@pytest.fixture
def moods(tmp_path: Path) -> Moods:
    def read(more: str) -> dict[str, ResolvedMood]:
        path = tmp_path / "view.toml"
        path.write_text(TEXT + more, encoding="utf-8")
        return dict(load(path, check_files=False).moods)

    return read


@pytest.mark.parametrize(
    ("text", "read"),
    [
        ("down 2", Step(-2.0)),
        ("up 1/3", Step(pytest.approx(1 / 3))),
        (" down 1 1/2 stops ", Step(-1.5)),
        ("up 0.25", Step(0.25)),
        ("-2", -2.0),
        (3, 3.0),
    ],
)
def test_steps_are_read(text: str | int, read: object) -> None:
    assert parse_step(text) == read


@pytest.mark.parametrize("text", ["down", "up", "down -2", "up +1", "Down 2", "down two", "2 down"])
def test_what_is_no_step(text: str) -> None:
    with pytest.raises(ValueError, match="expected stops"):
        parse_step(text)


def test_two_down_from_day(moods: Moods) -> None:
    """1/3 - 2 = -1 2/3; half the light and one stop up is as rendered, log2(0.5) + 1 = 0."""
    dusk = moods('[moods.dusk]\nbased_on="day"\nlights={ sky="down 2", left="up 1" }\n')["dusk"]
    assert dusk.lights["sky"].stops == pytest.approx(1 / 3 - 2)
    assert dusk.lights["left"].stops == pytest.approx(0.0)
    assert setting_words(dusk.lights["sky"]) == "-1 2/3 stops, 2 down from day"


def test_in_a_first_mood_from_the_render(moods: Moods) -> None:
    alone = moods('[moods.alone.lights]\nsky = "down 2"\n')["alone"]
    assert alone.lights["sky"].stops == -2
    assert setting_words(alone.lights["sky"]) == "-2 stops"


def test_a_step_of_a_step(moods: Moods) -> None:
    """1/3 - 2 - 1 1/3 = -3."""
    night = moods(
        '[moods.dusk]\nbased_on="day"\nlights.sky="down 2"\n'
        '[moods.night]\nbased_on="dusk"\nlights.sky={ stops="down 1 1/3", kelvin=7500 }\n'
    )["night"]
    assert night.lights["sky"].stops == pytest.approx(-3)
    assert setting_words(night.lights["sky"]) == "-3 stops, 1 1/3 down from dusk, 7500 K"


def test_a_mood_that_says_nothing_stands_where_the_step_led(moods: Moods) -> None:
    night = moods(
        '[moods.dusk]\nbased_on="day"\nlights.sky="down 2"\n[moods.night]\nbased_on="dusk"\n'
    )["night"]
    assert setting_words(night.lights["sky"]) == "-1 2/3 stops, 2 down from day"


def test_plain_stops_count_from_the_render_as_ever(moods: Moods) -> None:
    night = moods(
        '[moods.dusk]\nbased_on="day"\nlights.sky="down 2"\n'
        '[moods.night]\nbased_on="dusk"\nlights.sky=-6\n'
    )["night"]
    assert gain_words(night.lights["sky"]) == "-6 stops"


def test_lumens_and_watts_stay_lumens_and_watts(moods: Moods) -> None:
    """800 lm, one stop down, is 400 lm; 9 W, one stop up, is 18 W."""
    late = moods(
        "[moods.dusk.lights]\nleft={ lumens=800 }\nright={ watts=9, lumens_per_watt=100 }\n"
        '[moods.late]\nbased_on="dusk"\nlights={ left="down 1", right="up 1" }\n'
    )["late"]
    assert gain_words(late.lights["left"]) == "400 lm, 1 down from dusk"
    assert gain_words(late.lights["right"]) == "18 W at 100 lm/W, 1 up from dusk"


def test_candela_stay_candela(moods: Moods) -> None:
    """A third of a stop over 800 cd is 800 x 2^(1/3) = 1,007.9 cd."""
    late = moods(
        "[moods.dusk.lights]\nleft={ candela=800 }\n"
        '[moods.late]\nbased_on="dusk"\nlights.left="up 1/3"\n'
    )["late"]
    assert gain_words(late.lights["left"]) == "1007.94 cd, 1/3 up from dusk"


def test_a_step_of_a_group_leaves_off_what_is_off(moods: Moods) -> None:
    dusk = moods('[moods.dusk]\nbased_on="day"\nlights.lamps={ stops="up 2", kelvin=2700 }\n')
    assert dusk["dusk"].lights["left"].stops == pytest.approx(1.0)
    assert dusk["dusk"].lights["right"].off
    assert dusk["dusk"].lights["right"].kelvin == 2700


def test_an_own_entry_counts_from_the_other_mood_and_not_from_its_group(moods: Moods) -> None:
    dusk = moods('[moods.dusk]\nbased_on="day"\nlights={ lamps="up 2", left="up 1/2" }\n')["dusk"]
    assert dusk.lights["left"].stops == pytest.approx(-0.5)


def test_a_step_from_a_light_that_is_off_is_refused(moods: Moods) -> None:
    with pytest.raises(RecipeError, match=r"found|counts from day, where it is off") as caught:
        moods('[moods.dusk]\nbased_on="day"\nlights.right="up 1"\n')
    [fault] = caught.value.faults
    assert fault.place == "moods.dusk.lights.right"
    assert fault.found == '"up 1" counts from day, where it is off'
    assert fault.hint == "say plain stops, which count from the render"


def test_a_step_that_leads_too_far_is_refused(moods: Moods) -> None:
    with pytest.raises(RecipeError, match="less than or equal to 30"):
        moods('[moods.dusk]\nbased_on="day"\nlights.sky="up 30"\n')


def test_the_dial_is_turned_from_where_it_stands(moods: Moods) -> None:
    """0.5 + 2 = 2.5; then 1/2 back is 2."""
    found = moods(
        '[moods.dusk]\nbased_on="day"\ncamera.exposure_stops="up 2"\n'
        '[moods.night]\nbased_on="dusk"\ncamera.exposure_stops="down 1/2"\n'
        '[moods.first]\ncamera.exposure_stops="up 1"\n'
        '[moods.own]\nbased_on="dusk"\ncamera.exposure_stops=1\n'
    )
    stops = {name: mood.camera.exposure_stops for name, mood in found.items()}
    assert stops == {"day": 0.5, "dusk": 2.5, "night": 2.0, "first": 1.5, "own": 1.0}
    words = {name: counted_words(mood.counted_exposure) for name, mood in found.items()}
    assert words["dusk"] == "2 up from day"
    assert words["night"] == "1/2 down from dusk"
    assert not words["first"]
    assert not words["own"]


@pytest.mark.parametrize(
    ("wrong", "hint"),
    [
        ('"2 down"', 'write "down 2"'),
        ('"down -2"', 'write "down 2" or "up 2"'),
        ('"up +1/3"', 'write "up 1/3"'),
        ('"Up 1/3"', 'write "up 1/3"'),
        ('"1/3 stop up"', 'write "up 1/3"'),
    ],
)
def test_a_step_written_another_way(moods: Moods, wrong: str, hint: str) -> None:
    with pytest.raises(RecipeError) as caught:
        moods(f"[moods.dusk]\nbased_on='day'\nlights.sky={wrong}\n")
    [fault] = caught.value.faults
    assert fault.hint == hint


def test_the_schema_knows_steps() -> None:
    schema = json.loads(SCHEMA.read_text(encoding="utf-8"))
    recipe = {
        "format": 1,
        "lights": {"sky": {"file": "sky.exr"}},
        "moods": {"day": {}, "dusk": {"based_on": "day", "lights": {"sky": "down 2"}}},
    }
    jsonschema.validate(recipe, schema)
    recipe["moods"]["dusk"]["lights"]["sky"] = {"stops": "up 1 1/3"}
    jsonschema.validate(recipe, schema)
    recipe["moods"]["dusk"]["lights"]["sky"] = "down -2"
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(recipe, schema)


@pytest.mark.parametrize("nothing", [LightSetting(lumens=0), LightSetting(factor=0)])
def test_a_step_from_nothing_gives_nothing(nothing: LightSetting) -> None:
    assert counted_from(nothing, MoodSetting(stops=Step(stops=1)), "day") == LightSetting(off=True)


def test_a_step_across_another_hour_counts_from_the_other_mood(moods: Moods) -> None:
    """Stops count from where the daylight model puts a light; another hour puts it elsewhere."""
    found = moods("""
[moods.day.daylight]
sun = "sun"
sky = "sky"
sun_altitude_degrees = 30
[moods.same]
based_on = "day"
lights.sky = "down 1"
[moods.late]
based_on = "day"
daylight = { sun = "sun", sky = "sky", sun_altitude_degrees = 3 }
lights.sky = "down 1"
""")
    same, late = found["same"].lights["sky"], found["late"].lights["sky"]
    assert same.stops == pytest.approx(1 / 3 - 1)
    assert (late.stops, late.counted) == (None, Counted(mood="day", stops=-1))
