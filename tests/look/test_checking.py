"""Looks tried ahead: every fault at the place in the recipe that it comes from."""

from __future__ import annotations

from pathlib import Path

import pytest

from evenfall.look.checking import LooksTried, check_looks, place_in_look
from evenfall.recipe import load

STUDIO = """ocio_profile_version: 2
roles: {scene_linear: house linear, default: house linear}
displays:
  desk: [!<View> {name: plain, colorspace: house linear}]
colorspaces:
  - !<ColorSpace> {name: house linear}
"""
LUT = "LUT_1D_SIZE 2\n0 0 0\n1 1 1\n"
RECIPE = """\
format = 1
lights.sun = { file = "sun.exr", role = "key" }

[look.grade]
luts = [
  { file = "good.cube" },
  { file = "words.cube" },
]

[moods.day]

[moods.dusk]
based_on = "day"
look.view = { config = "studio.ocio", display = "desks", view = "plain", source = "linear" }

[moods.night]
based_on = "dusk"
look.grade = { luts = [], cdl = { file = "words.cc" } }
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for name, text in {"studio.ocio": STUDIO, "good.cube": LUT, "view.toml": RECIPE}.items():
        (tmp_path / name).write_text(text)
    for name in ("words.cube", "words.cc"):
        (tmp_path / name).write_text("hello\n")
    return tmp_path


def checked(folder: Path, *moods: str, changes: tuple[str, ...] = ()) -> LooksTried:
    recipe = load(folder / "view.toml", changes=changes, check_files=False)
    return check_looks(recipe, moods)


def test_names_of_a_view_are_faults_where_they_stand(folder: Path) -> None:
    wrong = checked(folder, "day", "dusk", "night").wrong
    assert [(fault.line, fault.place, fault.found) for fault in wrong] == [
        (14, "moods.dusk.look.view.display", 'found "desks"'),
        (14, "moods.dusk.look.view.source", 'found "linear"'),
    ]
    assert {fault.file for fault in wrong} == {str(folder / "view.toml")}
    assert wrong[0].allowed == 'the config has "desk"'
    assert wrong[0].hint == 'did you mean "desk"?'


def test_files_are_faults_of_the_moods_that_use_them(folder: Path) -> None:
    unusable = checked(folder, "day", "dusk", "night").unusable
    assert list(unusable) == ["day", "dusk", "night"]
    assert unusable["day"] == unusable["dusk"]
    assert [(fault.line, fault.place) for fault in unusable["day"] + unusable["night"]] == [
        (7, "look.grade.luts[1].file"),
        (18, "moods.night.look.grade.cdl.file"),
    ]
    assert f"{folder / 'words.cube'}: cannot be used as a LUT" in unusable["day"][0].found


def test_only_the_moods_asked_for_are_tried(folder: Path) -> None:
    assert checked(folder, "day").wrong == ()
    assert list(checked(folder, "night").unusable) == ["night"]


def test_a_change_is_named_for_what_it_brings(folder: Path) -> None:
    change = 'moods.day.look.view={config="ocio://nope",display="a",view="b"}'
    (fault,) = checked(folder, "day", changes=(change,)).wrong
    assert fault.file == f"--set {change}"
    assert fault.place == "moods.day.look.view.config"
    assert 'no built-in config called "ocio://nope"' in fault.found
    assert '"ocio://default"' in fault.allowed


def test_what_a_mood_merges_comes_from_where_it_is_said(folder: Path) -> None:
    model = load(folder / "view.toml", check_files=False).model
    assert place_in_look(model, "night", ("view", "display"))[1] == "dusk"
    assert place_in_look(model, "night", ("grade", "luts", 0, "file"))[1] == "night"
    assert place_in_look(model, "dusk", ("grade", "luts", 0, "file"))[0] == "look"


def test_sound_looks_have_no_faults(folder: Path) -> None:
    sound = RECIPE.replace("words.cube", "good.cube").replace('"desks"', '"desk"')
    sound = sound.replace('"linear"', '"house linear"').replace('{ file = "words.cc" }', "{}")
    (folder / "view.toml").write_text(sound)
    tried = checked(folder, "day", "dusk", "night")
    assert (tried.wrong, tried.unusable) == ((), {})
