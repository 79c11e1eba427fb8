"""A colour that is asked of a light of unknown colour is told, once per light, to be a change.

The change from 6504 K to 2700 K is 1e6 / 2700 - 1e6 / 6504 = 216.6 mired, by hand.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest

import evenfall
from evenfall.develop.example import example_recipe
from evenfall.errors import Advice

MOODS = (
    "moods.day.lights.lamp={ stops = 0, kelvin = 2700 }",
    "moods.dusk.lights.lamp.kelvin=2700",
)


def told(advice: tuple[Advice, ...]) -> list[Advice]:
    return [each for each in advice if each.code == "colour-not-known"]


def view(folder: Path, *changes: str) -> evenfall.View:
    recipe = example_recipe(folder)
    text = recipe.text.replace("rendered = { kelvin = 3000 }", "")
    recipe.path.write_text(text, encoding="utf-8")
    return evenfall.open(recipe.path, changes=changes)


def test_each_light_is_told_of_once(tmp_path: Path) -> None:
    (advice,) = told(view(tmp_path, *MOODS).check().advice)
    assert advice.place == "lights.lamp.rendered"
    assert "day and dusk ask for 2700 K" in advice.message
    assert "a change from white" in advice.message


def test_a_run_says_it_once(tmp_path: Path) -> None:
    report = view(tmp_path, *MOODS).run(out=tmp_path / "out")
    assert sum("a change from white" in note for note in report.notes) == 1
    assert report.report is not None
    noted = json.loads(report.report.read_text(encoding="utf-8"))
    assert noted["moods"]["dusk"]["lights"]["lamp"]["colour_is_a_change"] is True


@pytest.mark.parametrize(
    "change",
    ["lights.lamp.rendered.kelvin=3000", "moods.dusk.lights.lamp.off=true"],
    ids=["known", "off"],
)
def test_known_colours_and_lights_that_are_off_hear_nothing(tmp_path: Path, change: str) -> None:
    assert told(view(tmp_path, change).check().advice) == []


def test_a_shift_is_a_change_by_its_nature(tmp_path: Path) -> None:
    changes = ("moods.dusk.lights.lamp.mired_shift=40",)
    recipe = view(tmp_path).recipe.text.replace("kelvin = 2700", "mired_shift = 30")
    (tmp_path / "corner.toml").write_text(recipe, encoding="utf-8")
    assert told(evenfall.open(tmp_path / "corner.toml", changes=changes).check().advice) == []


def test_the_sheet_shows_the_change(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from evenfall.produce import sheet

    shown = []
    monkeypatch.setattr(
        sheet, "draw_sheet", lambda moods, text, **_: shown.append((moods, text)) or _paper()
    )
    view(tmp_path, *MOODS).run(out=tmp_path / "out")
    ((moods, text),) = shown
    lamps = [light.tint for mood in moods for light in mood.lights if light.name == "lamp"]
    assert lamps == ["+217 mired", "+217 mired"]
    assert "a change of colour" in text.note


def _paper() -> object:
    import numpy as np

    return np.zeros((8, 8, 3), np.uint8)
