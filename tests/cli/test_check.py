"""`evenfall check` and `evenfall schema`, as a person calls them."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path

import jsonschema
import numpy as np
import OpenEXR
import pytest
from click.testing import CliRunner, Result

from evenfall.cli.main import main

SOUND = """\
format = 1

[project]
title = "Villa"

[passes]
folder = "passes"

[lights.sun]
file = "sun.exr"
role = "key"
rendered = { sun_altitude_degrees = 40 }

[lights.sky]
file = "sky.exr"
role = "sky"

[lights.lamp]
file = "lamps.exr"
layer = "table.lamp"
rendered = { kelvin = 3000, lumens = 600 }

[moods.day]
lights = { lamp = "off" }

[moods.dusk]
based_on = "day"
lights = { sun = "off", sky = { stops = -2, mired_shift = -40 }, lamp = { lumens = 400 } }
camera = { exposure_stops = "+1 1/3" }
"""


@pytest.fixture
def recipe(tmp_path: Path) -> Path:
    (tmp_path / "passes").mkdir()
    for name in ("sun", "sky"):
        write_pass(tmp_path / "passes" / f"{name}.exr")
    write_pass(tmp_path / "passes" / "lamps.exr", layers=["table.lamp", "spare"])
    path = tmp_path / "villa.toml"
    path.write_text(SOUND, encoding="utf-8")
    return path


def write_pass(path: Path, *, width: int = 8, layers: Sequence[str] = ()) -> None:
    half = np.ones((4, width), np.float16)
    names = [f"{layer}.{each}" for layer in layers for each in "RGB"] or list("RGB")
    OpenEXR.File({}, dict.fromkeys(names, half)).write(str(path))


def call(*arguments: str | Path) -> Result:
    return CliRunner().invoke(main, [str(each) for each in arguments])


def rows(text: str) -> list[list[str]]:
    """Lines of a table, columns parted by two spaces or more."""
    return [[cell for cell in line.split("  ") if cell.strip()] for line in text.splitlines()]


def test_a_sound_recipe_is_summed_up(recipe: Path) -> None:
    result = call("check", recipe)
    assert result.exit_code == 0
    assert result.stderr == ""
    cells = [[cell.strip() for cell in row] for row in rows(result.stdout)]
    assert [f"{recipe} is sound: Villa."] in cells
    assert ["3 passes of 8 x 4 pixels, half."] in cells
    for row in (
        ["sun", "key", "sun.exr", "sun at 40 degrees"],
        ["lamp", "fixture", "lamps.exr / table.lamp", "3000 K, 600 lm"],
        ["day", "dusk"],
        ["sun", "as rendered", "off"],
        ["sky", "as rendered", "-2 stops, -40 mired"],
        ["lamp", "off", "400 lm"],
        ["exposure, stops", "0", "+1 1/3"],
        ["Deliverable: png, 8 bits, sRGB, of day, dusk."],
    ):
        assert row in cells
    assert "Advice" not in result.stdout
    assert result.stdout.endswith(
        "The pixels were not read; 'evenfall meter' reads them and gives the rest of the advice.\n"
    )


def test_camera_regions_and_spaces_are_summed_up(recipe: Path) -> None:
    """AVIF stills are BT.2020 with PQ (Rec. ITU-R BT.2100); EXR is not encoded for a display."""
    further = """
[moods.dusk.camera.white_balance]
kelvin = 4300
duv = -0.002
[moods.day.camera.white_balance]
neutral = [0.25, 0.5]
[[moods.dusk.regions]]
area = { rectangle = [0, 0, 0.5, 1] }
exposure_stops = "1/3"
[[deliverables]]
format = "avif"
[[deliverables]]
format = "exr"
"""
    text = SOUND.replace('camera = { exposure_stops = "+1 1/3" }\n', "")
    recipe.write_text(text + further, encoding="utf-8")
    result = call("check", recipe)
    assert result.exit_code == 0, result.output
    cells = [[cell.strip() for cell in row] for row in rows(result.stdout)]
    for row in (
        ["white balance", "spot at 0.25, 0.5", "4300 K, Duv -0.002"],
        ["regions", "1"],
        ["Deliverable: avif, 10 bits, BT.2020 PQ, of day, dusk."],
        ["Deliverable: exr, 16 bits, scene-linear, of day, dusk."],
    ):
        assert row in cells


def test_pictures_that_no_file_holds_are_faults(recipe: Path) -> None:
    """2,000 mm at 300 dpi are 23,622 pixels; WebP counts to 16,383 (RFC 9649, 2.5)."""
    further = (
        '\n[[deliverables]]\nformat = "webp"\nprint = { width_mm = 2000 }\n'
        '[[deliverables]]\nsuffix = "_huge"\nprint = { width_mm = 9000, dpi = 300 }\n'
    )
    recipe.write_text(SOUND + further, encoding="utf-8")
    result = call("check", recipe, "--json")
    assert result.exit_code == 1
    faults = json.loads(result.stdout)["faults"]
    assert [fault["place"] for fault in faults] == ["deliverables[0]", "deliverables[1]"]
    assert "webp holds 16,383 on a side" in faults[0]["found"]


def test_lights_matched_to_what_is_off_are_faults_of_every_mood(recipe: Path) -> None:
    matched = 'lights = { lamp = { match = { to = "sun", ratio = "4:1" } } }'
    text = SOUND.replace('lights = { lamp = "off" }', matched).replace(
        ", lamp = { lumens = 400 }", ""
    )
    recipe.write_text(text + '\n[moods.night]\nbased_on = "dusk"\n', encoding="utf-8")
    result = call("check", recipe)
    assert result.exit_code == 2
    assert "moods.dusk.lights.lamp.match.to: sun is off in dusk" in result.stderr
    assert "moods.night.lights.lamp.match.to: sun is off in night" in result.stderr
    assert result.stderr.endswith("2 faults.\n")


def test_looks_that_cannot_be_made_are_faults_with_their_places(recipe: Path) -> None:
    (recipe.parent / "words.cube").write_text("hello\n")
    lut = '\n[moods.night]\nlook.grade.luts = [{ file = "words.cube" }]\n'
    recipe.write_text(SOUND + lut, encoding="utf-8")
    result = call("check", recipe, "--json")
    assert result.exit_code == 1
    (fault,) = json.loads(result.stdout)["faults"]
    assert fault["place"] == "moods.night.look.grade.luts[0].file"
    assert fault["line"] == len(SOUND.splitlines()) + 3
    assert "words.cube: cannot be used as a LUT" in fault["found"]

    view = 'look.view = { config = "ocio://default", display = "sRGB", view = "x" }\n'
    recipe.write_text(SOUND + lut + view, encoding="utf-8")
    result = call("check", recipe)
    assert result.exit_code == 2
    assert 'moods.night.look.view.display: found "sRGB"; the config has "' in result.stderr
    assert 'did you mean "sRGB - Display"?' in result.stderr
    assert "cannot be used as a LUT" in result.stderr
    assert result.stderr.endswith("2 faults.\n")


def test_a_scale_that_is_not_known_is_a_fault(recipe: Path) -> None:
    settings = 'settings = { iso = 100, aperture = 8, shutter = "1/60" }'
    result = call("check", recipe, "--set", f"camera={{ {settings} }}")
    assert result.exit_code == 2
    assert "camera.settings: the passes' scale in cd/m2 is not known" in result.stderr


def test_nothing_is_written(recipe: Path) -> None:
    before = sorted(path for path in recipe.parent.rglob("*"))
    call("check", recipe)
    assert sorted(path for path in recipe.parent.rglob("*")) == before


def test_advice_is_given_with_its_word(recipe: Path) -> None:
    recipe.write_text(SOUND.replace('role = "key"', 'role = "fill"'), encoding="utf-8")
    result = call("check", recipe)
    assert result.exit_code == 0
    assert "Advice (1):" in result.stdout
    assert "no light has the role key [no-key]" in result.stdout
    silenced = SOUND.replace('role = "key"', 'role = "fill"').replace(
        "format = 1", 'format = 1\nsilence = ["no-key"]'
    )
    recipe.write_text(silenced, encoding="utf-8")
    assert "Advice" not in call("check", recipe).stdout


def test_advice_is_wrapped_and_indented_in_a_terminal(
    recipe: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name, value in {"FORCE_COLOR": "1", "TERM": "xterm", "COLUMNS": "72"}.items():
        monkeypatch.setenv(name, value)
    shown = call("check", recipe, "--set", "deliverables=[{ format = 'png', width = 4000 }]").stdout
    advice = shown.partition("Advice (1):\n")[2].partition("Advice is silenced")[0].splitlines()
    assert len(advice) > 2
    assert all(line.startswith("  ") and len(line) <= 72 for line in advice)


def test_faults_go_to_the_error_stream_and_end_with_2(recipe: Path) -> None:
    text = SOUND.replace('role = "key"', 'role = "kee"').replace("lumens = 400", "lumen = 400")
    recipe.write_text(text, encoding="utf-8")
    result = call("check", recipe)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert result.stderr.splitlines() == [
        f'{recipe}:11: lights.sun.role: found "kee"; expected "key", "fill", "sky", "fixture", '
        '"outdoor fixture" or "glow"; did you mean "key"?',
        f"{recipe}:28: moods.dusk.lights.lamp.lumen: is not a known key here; did you mean "
        '"lumens"?',
        "2 faults.",
    ]


def test_several_are_checked_one_after_the_other(recipe: Path) -> None:
    other = recipe.with_name("hall.toml")
    other.write_text(SOUND.replace("sun.exr", "son.exr"), encoding="utf-8")
    result = call("check", recipe.parent)
    assert result.exit_code == 2
    assert f"{recipe} is sound: Villa." in result.stdout
    assert "lights.sun.file: there is no file" in result.stderr
    assert result.stderr.endswith(f"Of 2 recipes {other} is not sound; see above.\n")
    told = json.loads(call("check", recipe, other, "--json").stdout)
    assert [(Path(one["recipe"]).name, one["sound"]) for one in told] == [
        ("villa.toml", True),
        ("hall.toml", False),
    ]
    other.write_text(SOUND, encoding="utf-8")
    result = call("check", recipe, other)
    assert result.exit_code == 0
    assert result.stdout.endswith("All 2 recipes are sound.\n")
    assert call("check", recipe.parent, "--set", "format=2").exit_code == 2
    assert call("check", recipe, other, "--passes", recipe.parent).exit_code == 2


def test_several_that_fail_otherwise_end_with_1(recipe: Path) -> None:
    """2 is said where recipes alone are to be put right."""
    recipe.with_name("hall.toml").write_text(SOUND.replace("sun.exr", "son.exr"), encoding="utf-8")
    (recipe.parent / "passes" / "sky.exr").write_bytes(b"no picture at all")
    assert call("check", recipe.parent).exit_code == 1


def test_sound_as_json(recipe: Path) -> None:
    result = call("check", recipe, "--json")
    assert result.exit_code == 0
    told = json.loads(result.stdout)
    assert (told["sound"], told["faults"], told["advice"]) == (True, [], [])
    assert told["lights"]["lamp"]["rendered"] == {"kelvin": 3000.0, "lumens": 600.0}
    assert told["moods"]["dusk"]["lights"]["sun"] == {"off": True}
    assert told["moods"]["dusk"]["time_of_day"] == "dusk"


def test_faults_as_json(recipe: Path) -> None:
    recipe.write_text(SOUND.replace("sun.exr", "son.exr"), encoding="utf-8")
    result = call("check", recipe, "--json")
    assert result.exit_code == 2
    told = json.loads(result.stdout)
    assert not told["sound"]
    (fault,) = told["faults"]
    assert (fault["place"], fault["line"]) == ("lights.sun.file", 10)
    assert fault["hint"] == 'did you mean "sun.exr"?'
    assert "there is no file" in result.stderr


def test_passes_that_do_not_fit_end_with_1(recipe: Path) -> None:
    write_pass(recipe.parent / "passes" / "sky.exr", width=16)
    result = call("check", recipe, "--json")
    assert result.exit_code == 1
    assert "8 x 4" in result.stderr
    assert "16 x 4" in result.stderr
    told = json.loads(result.stdout)
    assert not told["sound"]
    assert len(told["faults"]) == 1


def test_passes_that_cannot_be_read_end_with_1(recipe: Path) -> None:
    (recipe.parent / "passes" / "sky.exr").write_bytes(b"")
    (recipe.parent / "passes" / "sun.exr").write_bytes(b"no picture at all")
    result = call("check", recipe)
    assert result.exit_code == 1
    assert result.stdout == ""
    for name in ("sky.exr", "sun.exr"):
        assert name in result.stderr
    assert result.stderr.endswith("2 faults.\n")


def test_changes_and_another_folder(recipe: Path) -> None:
    (recipe.parent / "passes").rename(recipe.parent / "elsewhere")
    assert call("check", recipe).exit_code == 2
    found = call("check", recipe, "--passes", recipe.parent / "elsewhere")
    assert found.exit_code == 0
    changed = call(
        "check",
        recipe,
        *("--passes", recipe.parent / "elsewhere"),
        *("--set", "moods.dusk.lights.lamp.stops=+1/3"),
        *("--set", "moods.dusk.title=Blue hour"),
    )
    assert ["lamp", "off", "+1/3 stop"] in [
        [cell.strip() for cell in row] for row in rows(changed.stdout)
    ]


def test_a_faulty_change_is_named_as_such(recipe: Path) -> None:
    result = call("check", recipe, "--set", "moods.dusk.lights.lmap=off")
    assert result.exit_code == 2
    assert result.stderr == (
        "--set moods.dusk.lights.lmap=off: moods.dusk.lights.lmap: there is no light or group "
        'called "lmap"; did you mean "lamp"?\n'
    )


@pytest.mark.parametrize("arguments", [["check"], ["chek"], ["-x"]])
def test_wrong_usage_ends_with_2(arguments: list[str]) -> None:
    result = call(*arguments)
    assert result.exit_code == 2
    assert "Usage: evenfall" in result.stderr


def test_a_misspelt_command_is_guessed() -> None:
    assert "Did you mean 'check'?" in call("chek").stderr


def test_no_recipe(tmp_path: Path) -> None:
    result = call("check", tmp_path / "none.toml")
    assert result.exit_code == 2
    assert "there is no such file" in result.stderr


def test_schema_is_printed(recipe: Path) -> None:
    import tomllib

    result = call("schema")
    assert result.exit_code == 0
    validator = jsonschema.Draft202012Validator(json.loads(result.stdout))
    assert validator.is_valid(tomllib.loads(SOUND))
    assert not validator.is_valid(tomllib.loads(SOUND.replace('"key"', '"kee"')))


def test_help_names_every_command_and_the_order_of_work() -> None:
    result = call("--help")
    assert result.exit_code == 0
    for word in ("survey", "check", "run", "schema", "The usual order of work"):
        assert word in result.stdout
