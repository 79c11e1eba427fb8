"""Regions by object numbers that are nowhere in their file: a run and the meter say so."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import Image

import evenfall
from evenfall.develop.areas import Areas
from evenfall.develop.example import example_recipe
from evenfall.develop.shelf import Shelf
from evenfall.errors import PassError
from evenfall.recipe import Recipe, load

PLACE = "moods.day.regions[0].area"


def _recipe(folder: Path, region: str) -> Recipe:
    """The example with a region; objects are 0, 3 and 7, one pixel of the last."""
    recipe = example_recipe(folder, width=160, height=96)
    numbers = np.zeros((96, 160), np.uint8)
    numbers[:, 80:] = 3
    numbers[5, 5] = 7
    Image.fromarray(numbers).save(recipe.pass_path("ids.png"))
    text = recipe.path.read_text(encoding="utf-8")
    recipe.path.write_text(f"{text}\n[[moods.day.regions]]\n{region}\n", encoding="utf-8")
    return load(recipe.path, changes=["draft.width=64"])


CHANGES = ["exposure_stops = 1", "lights.sun = 1"]
"""The first is read with the finish of a mood, the second with its mix."""


@pytest.mark.parametrize("change", CHANGES)
@pytest.mark.parametrize(
    ("area", "said"),
    [
        ("id = [9]", "object 9 is nowhere in ids.png, so the region changes nothing"),
        ("id = [9, 4]", "objects 9 and 4 are nowhere in ids.png, so the region changes nothing"),
        ("id = [3, 9]", "object 9 is nowhere in ids.png, and only the others count"),
        ("id = [9], invert = true", "object 9 is nowhere in ids.png, so the region is the whole"),
    ],
)
def test_run_and_meter_name_the_objects(tmp_path: Path, change: str, area: str, said: str) -> None:
    recipe = _recipe(tmp_path, f'area = {{ ids = "ids.png", {area} }}\n{change}')
    (metered,) = evenfall.open(recipe).meter(moods=["day"]).moods
    (noted,) = [note for note in metered.facts.notes if PLACE in note]
    assert said in noted
    assert noted.endswith("; it holds 0, 3 and 7")
    report = evenfall.open(recipe).run(out=tmp_path / "out")
    assert [note for note in report.moods["day"].notes if PLACE in note] == [noted]
    assert not [note for note in report.moods["dusk"].notes if "nowhere" in note]


def test_a_metered_area_without_its_object_says_so(tmp_path: Path) -> None:
    recipe = _recipe(tmp_path, 'area = { ids = "ids.png", id = [3] }\nexposure_stops = 1')
    metered = load(recipe.path, changes=['camera.meter={area={ids="ids.png",id=[9]}}'])
    said = r"in the metered area: object 9 is nowhere in ids\.png; it holds 0, 3 and 7; meter an"
    with pytest.raises(PassError, match=said):
        evenfall.open(metered).run(out=tmp_path / "out")


@pytest.mark.parametrize("change", CHANGES)
def test_objects_that_a_draft_is_too_small_for_are_there(tmp_path: Path, change: str) -> None:
    recipe = _recipe(tmp_path, f'area = {{ ids = "ids.png", id = [3, 7] }}\n{change}')
    area = recipe.moods["day"].regions[0].area
    only_seven = area.model_copy(update={"id": (7,)})
    assert Areas(recipe, (160, 96), Shelf()).weights(only_seven).sum() == 1
    assert Areas(recipe, (64, 38), Shelf()).weights(only_seven).sum() == 0
    report = evenfall.open(recipe, draft=True).run(out=tmp_path / "out")
    assert not [note for note in report.moods["day"].notes if "nowhere" in note]


def test_long_lists_are_cut(tmp_path: Path) -> None:
    recipe = _recipe(tmp_path, 'area = { ids = "ids.png", id = [99] }\nexposure_stops = 1')
    numbers = np.arange(96 * 160).reshape(96, 160) % 20
    Image.fromarray(numbers.astype(np.uint8)).save(recipe.pass_path("ids.png"))
    (metered,) = evenfall.open(recipe).meter(moods=["day"]).moods
    assert "it holds 0, 1, 2, 3, 4, 5, 6, 7 and 12 more" in " ".join(metered.facts.notes)
