"""`evenfall prove`, as a person calls it."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result

from evenfall.cli.main import main

LIGHTS = ("sun", "sky", "fill", "pendants", "cove", "garden", "screen_glow")


@pytest.fixture
def room(
    tmp_path: Path,
    studio_passes: dict[str, np.ndarray],
    studio_beauty: np.ndarray,
    write_exr: Callable[..., Path],
) -> Path:
    """A recipe beside its passes and beauty; the path of the recipe."""
    for name in LIGHTS:
        write_exr(tmp_path / f"{name}.exr", studio_passes[name])
    write_exr(tmp_path / "beauty.exr", studio_beauty)
    lights = "".join(f'[lights.{name}]\nfile = "{name}.exr"\n' for name in LIGHTS)
    beauty = '[passes]\nbeauty = { file = "beauty.exr" }\n'
    recipe = tmp_path / "room.toml"
    recipe.write_text(f"format = 1\n{beauty}{lights}[moods.day]\n")
    return recipe


def call(*arguments: object) -> Result:
    return CliRunner().invoke(main, ["prove", *map(str, arguments)])


def test_a_sound_set(room: Path) -> None:
    result = call(room)
    assert result.exit_code == 0, result.output
    assert "The passes add up to the beauty." in result.stdout
    assert result.stdout.count("as rendered") == len(LIGHTS)
    assert result.stderr == ""
    assert "\x1b" not in result.stdout  # plain when it is no terminal


def test_passes_are_proven_as_rendered_whatever_the_recipe_mends(room: Path) -> None:
    mended = "repair = { denoise = true, fireflies = true, negatives = true }"
    room.write_text(room.read_text().replace("[passes]\n", f"[passes]\n{mended}\n"))
    result = call(room)
    assert result.exit_code == 0, result.output
    assert "The passes add up to the beauty." in result.stdout


def test_a_fault_is_named_with_what_helps(
    room: Path, studio_passes: dict[str, np.ndarray], write_exr: Callable[..., Path]
) -> None:
    write_exr(room.parent / "pendants.exr", 2 * studio_passes["pendants"])
    result = call(room)
    assert result.exit_code == 1
    assert "The passes do not add up to the beauty." in result.stdout
    assert "[pass-exposure]" in result.stdout
    assert (
        "+1.0"
        in next(line for line in result.stdout.splitlines() if line.strip().startswith("pendants "))
        or "+0.9" in result.stdout
    )
    assert "What helps: export it again at the beauty's exposure" in result.stdout


def test_json_says_the_same(
    room: Path, studio_passes: dict[str, np.ndarray], write_exr: Callable[..., Path]
) -> None:
    write_exr(room.parent / "cove.exr", studio_passes["cove"] / 2)
    result = call(room, "--json")
    assert result.exit_code == 1
    told = json.loads(result.stdout)
    assert told["verdict"] == "does not add up"
    assert [(each["code"], each["lights"]) for each in told["diagnoses"]] == [
        ("pass-exposure", ["cove"])
    ]
    cove = next(each for each in told["lights"] if each["name"] == "cove")
    assert cove["factor"] == pytest.approx(2, rel=0.03)
    assert cove["exported_stops"] == pytest.approx(-1, abs=0.05)
    assert set(told["worst"]) == {"left", "top", "right", "bottom", "share", "standard_errors"}


def test_without_a_beauty_it_says_what_cannot_be_proven(room: Path) -> None:
    text = room.read_text().replace('[passes]\nbeauty = { file = "beauty.exr" }\n', "")
    room.write_text(text)
    result = call(room)
    assert result.exit_code == 0
    assert "they are not proven" in result.stdout
    assert "that no light is missing" in result.stdout
    assert "Render the view once with all lights on" in result.stdout


def test_picture_of_the_residual(room: Path) -> None:
    from PIL import Image

    picture = room.parent / "residual.png"
    result = call(room, "--picture", picture)
    assert result.exit_code == 0
    assert f"Picture: {picture}" in result.stderr
    with Image.open(picture) as image:
        assert image.mode == "RGB"
        assert image.width > 1600
    before = picture.read_bytes()
    again = call(room, "--picture", picture)
    assert again.exit_code == 1
    assert "the file exists already; use --overwrite" in again.stderr
    assert picture.read_bytes() == before
    assert call(room, "--picture", picture, "--overwrite").exit_code == 0


def test_pictures_that_cannot_be(room: Path) -> None:
    jpeg = call(room, "--picture", room.parent / "residual.jpg")
    assert (jpeg.exit_code, "name ending in .png" in jpeg.stderr) == (2, True)
    room.write_text(room.read_text().replace('beauty = { file = "beauty.exr" }\n', ""))
    bare = call(room, "--picture", room.parent / "residual.png")
    assert (bare.exit_code, "no picture without a beauty" in bare.stderr) == (2, True)


def test_a_missing_pass_file_is_told_without_a_traceback(room: Path) -> None:
    (room.parent / "sky.exr").unlink()
    result = call(room)
    assert result.exit_code in (1, 2)
    assert "sky.exr" in result.stderr
    assert "Traceback" not in result.output
