"""The JSON Schema, against the validator of the library jsonschema (draft 2020-12)."""

from __future__ import annotations

import copy
import json
import re
import tomllib
from collections.abc import Callable
from importlib import resources
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from evenfall.recipe import load
from evenfall.recipe.schema import recipe_schema

SCHEMA = recipe_schema()
VALIDATOR = jsonschema.Draft202012Validator(SCHEMA)


def example() -> str:
    """The example of the reference."""
    intro = resources.files("evenfall.recipe").joinpath("reference_intro.md")
    match = re.search(r"```toml\n(.*?)```", intro.read_text(encoding="utf-8"), re.DOTALL)
    assert match is not None
    return match[1]


def test_the_schema_is_a_schema() -> None:
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    assert "null" not in json.dumps(SCHEMA), "TOML has no null"


def test_the_example_of_the_reference_is_sound(tmp_path: Path) -> None:
    path = tmp_path / "example.toml"
    path.write_text(example(), encoding="utf-8")
    recipe = load(path, check_files=False)
    assert list(recipe.moods) == ["day", "dusk", "night"]
    assert recipe.moods["night"].plate is None


@pytest.mark.parametrize("which", ["villa", "example"])
def test_sound_recipes_fit_the_schema(villa_text: str, which: str) -> None:
    tree = tomllib.loads(villa_text if which == "villa" else example())
    assert [error.message for error in VALIDATOR.iter_errors(tree)] == []


def put(tree: dict[str, Any], place: str, value: Any) -> dict[str, Any]:
    changed = copy.deepcopy(tree)
    *above, last = place.split(".")
    here = changed
    for step in above:
        here = here.setdefault(step, {})
    here[last] = value
    return changed


SHORT_FORMS = [
    ("moods.dusk.lights.sun", "on"),
    ("moods.dusk.lights.sun", "off"),
    ("moods.dusk.lights.sun", "-2"),
    ("moods.dusk.lights.sun", "+1 1/3"),
    ("moods.dusk.lights.sun", "2/3 stops"),
    ("moods.dusk.lights.sun", -1.5),
    ("moods.dusk.lights.sun", {"stops": "-1/3", "lamp_class": 3000}),
    ("moods.dusk.lights.sun", {"lamp_class": "3000"}),
    ("moods.dusk.plate", "none"),
    ("moods.dusk.daylight", "none"),
    ("moods.dusk.camera.white_balance", "none"),
    ("look.tone", "aces2"),
    ("look.tone", {"curve": "reinhard", "white": 3}),
    ("look.tone", {"contrast": 1.1}),
    ("look.tone", {"to_white": 0.2}),
    ("camera.meter", "off"),
    ("camera.meter.of", "sun"),
    ("camera.meter.of", ["sun", "sky"]),
    ("camera.settings.shutter", "1/60"),
    ("camera.settings.shutter", 0.5),
]


@pytest.mark.parametrize(("place", "value"), SHORT_FORMS)
def test_short_forms_fit_schema_and_recipe(
    write: Callable[..., Path], villa_text: str, place: str, value: Any
) -> None:
    from evenfall.recipe.writing import set_value

    tree = put(tomllib.loads(villa_text), place, value)
    assert [error.message for error in VALIDATOR.iter_errors(tree)] == []
    load(write(set_value(villa_text, place, value)))


BROKEN = [
    ("format", 2),
    ("titel", "Villa"),
    ("lights.sun.role", "Key"),
    ("lights.sun.kelvin", 5000),
    ("lights.sun.rendered", {"kelvin": 500}),
    ("lights.sun", {"role": "key"}),
    ("lights", {}),
    ("moods.dusk.lights.sun", "half"),
    ("moods.dusk.lights.sun", 40),
    ("moods.dusk.lights.sun", True),
    ("moods.dusk.lights.sun", {"hex": "orange"}),
    ("moods.dusk.lights.sun", {"rgb": [1, 2]}),
    ("moods.dusk.plate", "sky.jpg"),
    ("look.tone", "evenfal"),
    ("look.tone", {"curve": "reinhard", "contrast": 2}),
    ("camera.meter", "spot"),
    ("deliverables", [{"format": "gif"}]),
    ("deliverables", [{"width": 3}]),
    ("deliverables", [{"width": 1920.5}]),
    ("groups.pendants", "pendant_a"),
]


@pytest.mark.parametrize(("place", "value"), BROKEN)
def test_schema_and_recipe_refuse_the_same(
    write: Callable[..., Path], villa_text: str, place: str, value: Any
) -> None:
    from evenfall.errors import RecipeError
    from evenfall.recipe.writing import set_value

    tree = put(tomllib.loads(villa_text), place, value)
    assert list(VALIDATOR.iter_errors(tree))
    with pytest.raises(RecipeError):
        load(write(set_value(villa_text, place, value)))
