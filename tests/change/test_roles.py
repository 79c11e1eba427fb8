"""Roles as names in phrases: figures worked by hand, the file read again by tomllib."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest

from evenfall.change.changing import change_recipe
from evenfall.errors import UsageError
from evenfall.recipe import load
from evenfall.recipe.words.wording import setting_words

TEXT = """\
format = 1

[lights]
sun = { file = "sun.exr", role = "key" }
lid = { file = "lid.exr", role = "sky" }
left = { file = "left.exr" }
right = { file = "right.exr", rendered = { kelvin = 4000 } }
strip = { file = "strip.exr" }
porch = { file = "porch.exr", role = "outdoor fixture" }
path = { file = "path.exr", role = "outdoor fixture" }

[groups]
pair = ["left", "right"]
garden = ["path", "porch"]

[moods.day.lights]
strip = "off"
garden = "off"

[moods.dusk.lights]
sun = "off"
lid = -2
pair = "+1/3"
strip = { factor = 2 }
garden = 1
"""


@pytest.fixture
def villa(tmp_path: Path) -> Path:
    path = tmp_path / "villa.toml"
    path.write_text(TEXT, encoding="utf-8")
    return path


def lights(path: Path, mood: str) -> dict[str, str]:
    recipe = load(path, check_files=False)
    return {name: setting_words(one) for name, one in recipe.moods[mood].lights.items()}


def entries(path: Path, mood: str) -> dict[str, Any]:
    told: dict[str, Any] = tomllib.loads(path.read_text(encoding="utf-8"))["moods"][mood]["lights"]
    return told


def test_all_lights_of_a_role_move_each_in_its_own_unit(villa: Path) -> None:
    """1/3 up 1/3 is 2/3; twice the light, a stop down, is as rendered; the rest stands."""
    change_recipe(villa, "dusk", ["fixtures up 1/3"])
    assert entries(villa, "dusk") == {
        "sun": "off",
        "lid": -2,
        "pair": "+2/3",
        "strip": {"factor": 2.52},  # 2 times the cube root of 2, rounded
        "garden": 1,
    }


@pytest.mark.parametrize("called", ["outdoor fixtures", "Outdoor_Fixture", "OUTDOOR FIXTURES"])
def test_a_group_that_holds_just_these_lights_stands_for_them(villa: Path, called: str) -> None:
    changed = change_recipe(villa, "dusk", [f"{called} down 1"])
    assert [one.subject for one in changed.moods["dusk"]] == ["porch", "path"]
    assert entries(villa, "dusk")["garden"] == 0


def test_one_light_of_a_role_is_meant_by_it(villa: Path) -> None:
    change_recipe(villa, "day,dusk", ["key = -1", "sky off"])
    for mood in ("day", "dusk"):
        found = lights(villa, mood)
        assert (found["sun"], found["lid"]) == ("-1 stop", "off")


def test_lights_that_are_off_stay_off(villa: Path) -> None:
    changed = change_recipe(villa, "day", ["fixtures down 1"])
    assert entries(villa, "day") == {"strip": "off", "garden": "off", "pair": -1}
    assert changed.notes == ("strip is off in day, and stays off",)
    change_recipe(villa, "day", ["fixtures off"])
    found = lights(villa, "day")
    assert {found[light] for light in ("left", "right", "strip")} == {"off"}
    with pytest.raises(UsageError, match="fixtures is off in day"):
        change_recipe(villa, "day", ["fixtures up 1"])


def test_colours_and_plain_gains_of_a_role(villa: Path) -> None:
    change_recipe(villa, "dusk", ["fixtures 2700 K, = -1"])
    found = lights(villa, "dusk")
    assert {found[light] for light in ("left", "right", "strip")} == {"-1 stop, 2700 K"}
    assert found["porch"] == "+1 stop"


@pytest.mark.parametrize(
    ("phrase", "said"),
    [
        ("fixtures 4:1 to sun", "is no ratio of two: fixtures are several lights; write them as"),
        ("sun 4:1 to fixtures", "is no ratio of two: fixtures are several lights; write them as"),
        ("fixturs off", 'there is nothing called "fixturs"'),
        ("fill off", 'there is nothing called "fill"'),  # no light has that role
        ("glows off", 'there is nothing called "glows"'),
    ],
)
def test_what_cannot_be_meant_is_told(villa: Path, phrase: str, said: str) -> None:
    with pytest.raises(UsageError, match=said.replace("?", r"\?")):
        change_recipe(villa, "dusk", [phrase])
    assert villa.read_text(encoding="utf-8") == TEXT


def test_told_twice_by_a_role_and_by_a_name(villa: Path) -> None:
    with pytest.raises(UsageError, match="left is told twice"):
        change_recipe(villa, "dusk", ["fixtures off", "left off"])


def test_a_light_of_that_name_is_meant_first(villa: Path) -> None:
    text = TEXT.replace('lid = { file = "lid.exr", role = "sky" }', 'key = { file = "lid.exr" }')
    villa.write_text(text.replace("lid = -2", "key = -2"), encoding="utf-8")
    change_recipe(villa, "dusk", ["key off"])
    assert lights(villa, "dusk")["key"] == "off"
    assert entries(villa, "dusk")["sun"] == "off"
