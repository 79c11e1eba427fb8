"""What is found before any pixel is read, and what is said of moods that are not made."""

from __future__ import annotations

import subprocess
import sys

import pytest

import evenfall
from evenfall.develop.asked import Asked
from evenfall.develop.checking import check_moods
from evenfall.errors import PixelSourceError, RecipeError
from evenfall.passes.library import PassLibrary

HEAD = """\
format = 1
lights.sun = { file = "sun.exr", role = "key" }
lights.sky = { file = "sky.exr", role = "sky" }
[moods.day]
"""
PASSES = {"sun": [1.0, 0.9, 0.8], "sky": [0.2, 0.3, 0.4]}


@pytest.fixture
def no_pixels(monkeypatch):
    def read(self, batch, rows=None):
        raise AssertionError(f"pixels of {batch} were read")

    monkeypatch.setattr(PassLibrary, "read", read)


@pytest.mark.usefixtures("no_pixels")
@pytest.mark.parametrize("dry_run", [True, False])
@pytest.mark.parametrize(
    ("mood", "line", "place"),
    [
        ('lights = { sun = "off", sky = { match = { to = "sun", ratio = "4:1" } } }', 6,
         "moods.dusk.lights.sky.match.to: sun is off in dusk"),
        ('look.view = { config = "ocio://nope", display = "a", view = "b" }', 6,
         "moods.dusk.look.view.config: there is no built-in config"),
        ('camera = { settings = { iso = 100, aperture = 8, shutter = "1/60" } }', 6,
         "moods.dusk.camera.settings: the passes' scale in cd/m2 is not known"),
        ('lights = { sun = "off" }\ncamera = { meter = { of = "key" } }', 7,
         "moods.dusk.camera.meter: the key is off in dusk"),
    ],
)  # fmt: skip
def test_faults_of_the_recipe_are_found_before_a_pass_is_read(
    write_recipe, tmp_path, mood, line, place, dry_run
):
    recipe = write_recipe(HEAD + f"[moods.dusk]\n{mood}\n", PASSES)
    with pytest.raises(RecipeError) as raised:
        evenfall.open(recipe).run(dry_run=dry_run)
    assert f"view.toml:{line}: {place}" in str(raised.value)
    assert not (tmp_path / "pictures").exists()


@pytest.mark.usefixtures("no_pixels")
def test_a_lut_that_is_none_is_found_before_a_pass_is_read(write_recipe, tmp_path):
    (tmp_path / "words.cube").write_text("hello\n")
    text = HEAD + '[moods.dusk]\nlook.grade.luts = [{ file = "words.cube" }]\n'
    recipe = write_recipe(text, PASSES)
    with pytest.raises(PixelSourceError, match=r"toml:6: moods\.dusk\.look\.grade\.luts\[0\]"):
        evenfall.open(recipe).run(dry_run=True)


def test_moods_that_were_not_chosen_are_no_matter(write_recipe):
    text = HEAD + '[moods.dusk]\nlook.view = { config = "ocio://nope", display = "", view = "" }\n'
    report = evenfall.open(write_recipe(text, PASSES)).run(moods=["day"], dry_run=True)
    assert [file.mood for file in report.files] == ["day"]


def test_ratios_of_a_mood_that_is_only_metered_matter(write_recipe):
    matched = 'lights = { sun = "off", sky = { match = { to = "sun", ratio = "4:1" } } }\n'
    text = HEAD + 'camera.meter = { mood = "dusk", of = "sky" }\n[moods.dusk]\n' + matched
    with pytest.raises(RecipeError, match="sun is off in dusk"):
        check_moods(Asked(write_recipe(text, PASSES)), ["day"])


def test_all_faults_at_once_in_the_order_of_the_recipe(write_recipe, tmp_path):
    (tmp_path / "words.cube").write_text("hello\n")
    text = HEAD + (
        'look.grade.luts = [{ file = "words.cube" }]\n'
        '[moods.dusk]\nlook.view = { config = "ocio://nope", display = "a", view = "b" }\n'
        'lights = { sun = "off", sky = { match = { to = "sun", ratio = "4:1" } } }\n'
    )
    recipe = write_recipe(text, PASSES)
    with pytest.raises(RecipeError) as raised:
        check_moods(Asked(recipe), ["day", "dusk"])
    assert [fault.line for fault in raised.value.faults] == [5, 7, 8]


@pytest.mark.parametrize("dry_run", [True, False])
def test_keep_going_past_a_lut_that_is_none(write_recipe, tmp_path, dry_run):
    (tmp_path / "words.cube").write_text("hello\n")
    text = HEAD + '[moods.dusk]\nlook.grade.luts = [{ file = "words.cube" }]\n'
    report = evenfall.open(write_recipe(text, PASSES)).run(keep_going=True, dry_run=dry_run)
    assert [file.mood for file in report.files] == ["day", ""]
    assert [fault.place for fault in report.faults] == ["moods.dusk.look.grade.luts[0].file"]
    assert report.notes == ("moods.dusk: not made; the faults say why",)


def test_moods_without_their_key_are_named_with_what_to_do(write_recipe, tmp_path):
    text = HEAD + '[moods.dusk]\nlights = { sun = "off" }\n[moods.still]\ncamera.meter = "off"\n'
    recipe = write_recipe(text + 'lights = { sun = "off" }\n', PASSES)
    sun = tmp_path / "sun.exr"
    sun.write_bytes(sun.read_bytes()[:-100])
    report = evenfall.open(recipe).run(keep_going=True)
    assert [file.mood for file in report.files] == ["still", ""]
    assert report.notes == (
        "moods.day: not made; the faults say why",
        "moods.dusk: not made; the faults say why",
    )
    damaged, stopped = report.faults
    assert "sun.exr" in damaged.file
    assert (stopped.line, stopped.place) == (2, "lights.sun.file")
    assert "exposure or white balance of day and dusk, which were not made" in stopped.found
    assert "render or copy the pass again" in stopped.hint
    assert 'meter = "off", exposure_stops' in stopped.hint


@pytest.mark.usefixtures("no_pixels")
def test_meter_and_develop_check_looks_first(write_recipe):
    look = 'look.view = { config = "ocio://nope", display = "a", view = "b" }\n'
    recipe = write_recipe(HEAD + look, PASSES)
    with pytest.raises(RecipeError, match=r"toml:5: moods\.day\.look\.view\.config"):
        evenfall.open(recipe).meter()
    with pytest.raises(RecipeError, match=r"toml:5: moods\.day\.look\.view\.config"):
        evenfall.open(recipe).develop("day").encoded()


@pytest.mark.usefixtures("no_pixels")
def test_a_sound_run_reads_pixels(write_recipe):
    with pytest.raises(AssertionError, match="pixels of"):
        evenfall.open(write_recipe(HEAD, PASSES)).run()


def test_a_scale_that_a_missing_pass_may_know_is_no_fault_of_the_recipe(write_recipe, tmp_path):
    text = HEAD + 'camera.settings = { iso = 100, aperture = 8, shutter = "1/60" }\n'
    write_recipe(text + '[moods.still]\ncamera.meter = "off"\nlights.sun = "off"\n', PASSES)
    (tmp_path / "sun.exr").unlink()
    recipe = evenfall.load(tmp_path / "view.toml", check_files=False)
    report = evenfall.open(recipe).run(keep_going=True)
    assert [file.mood for file in report.files] == ["still", ""]
    assert any("sun.exr" in fault.file for fault in report.faults)


def test_opencolorio_is_loaded_only_for_looks_that_use_it(corner):
    code = (
        "import sys, evenfall\n"
        f"recipe = evenfall.load({str(corner.path)!r})\n"
        "evenfall.open(recipe).check()\n"
        "evenfall.open(recipe).run(dry_run=True)\n"
        "print(sorted({'PyOpenColorIO', 'colour', 'scipy'} & set(sys.modules)))\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == "[]\n"
