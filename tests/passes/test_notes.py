"""What is odd about passes that can be read is told by every command that looks at them."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner
from reading_corpus import SOUND

import evenfall
from evenfall.cli.main import main
from evenfall.passes import inspect
from evenfall.passes.notes import notes_on

ODD = ("table_lines_zeros.exr", "longer.exr", "uint.exr", "window_apart.exr")


def recipe_of(folder: Path, *files: str) -> Path:
    """Write a recipe of these files, each a light."""
    lights = "".join(
        f'[lights.light_{number}]\nfile = "{file}"\nrole = "fill"\n'
        for number, file in enumerate(files)
    )
    path = folder / "odd.toml"
    path.write_text(f"format = 1\n{lights}[moods.day]\ncamera = {{ meter = 'off' }}\n")
    return path


@pytest.mark.parametrize("file", ODD)
def test_check_run_and_survey_say_what_is_odd(corpus: Path, tmp_path: Path, file: str) -> None:
    (case,) = (case for case in SOUND if case.file == file)
    (note,) = case.facts["notes"]  # type: ignore[misc]
    (tmp_path / file).write_bytes((corpus / file).read_bytes())
    recipe = recipe_of(tmp_path, file)
    checked = CliRunner().invoke(main, ["check", str(recipe)])
    assert f"Note: light_0: {note}." in checked.output
    as_json = CliRunner().invoke(main, ["check", "--json", str(recipe)])
    assert json.loads(as_json.output)["notes"] == [f"light_0: {note}"]
    assert f"light_0: {note}" in evenfall.open(recipe).run().notes
    surveyed = CliRunner().invoke(main, ["survey", str(tmp_path)])
    said = "whole numbers (uint)" if file == "uint.exr" else f": {note}."  # it is listed as data
    assert said in " ".join(surveyed.output.split())


def test_pictures_that_begin_elsewhere_are_told_of(corpus: Path) -> None:
    (usual,) = inspect(corpus / "codec_zip.exr")
    moved = replace(usual, display_window=(1000, 500, 1053, 537))
    assert notes_on({"sun": (usual,), "sky": (usual,), "lamp": (moved,)}) == [
        "lamp: its picture begins at 1000, 500, that of most passes at 0, 0; they are laid corner "
        "to corner"
    ]
    assert notes_on({"sun": (usual,), "lamp": (usual, moved)}) == [
        f"lamp: {moved.label}: its picture begins at 1000, 500, that of most passes at 0, 0; they "
        "are laid corner to corner"
    ]
