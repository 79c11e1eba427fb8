"""`evenfall survey`, as a person calls it: facts, a starter recipe, maps of broken pixels."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path

import numpy as np
import OpenEXR
import pytest
from click.testing import CliRunner, Result

import evenfall
from evenfall.cli.main import main


@pytest.fixture(scope="module")
def written(
    tmp_path_factory: pytest.TempPathFactory,
    studio_passes: dict[str, np.ndarray],
    studio_beauty: np.ndarray,
    write_exr: Callable[..., Path],
) -> Path:
    passes: Path = tmp_path_factory.mktemp("studio")
    for name, rgb in studio_passes.items():
        write_exr(passes / f"room_{name}.exr", rgb)
    write_exr(passes / "room_beauty.exr", studio_beauty)
    return passes


@pytest.fixture
def folder(written: Path, tmp_path: Path) -> Path:
    return shutil.copytree(written, tmp_path / "passes")


def call(*arguments: object) -> Result:
    return CliRunner().invoke(main, ["survey", *map(str, arguments)])


def test_table_says_common_facts_once_and_each_light(
    folder: Path, studio_passes: dict[str, np.ndarray]
) -> None:
    """Shares are of luminance, by the weights of ITU-R BT.709-6, 3.2."""
    levels = {
        name: float((rgb @ np.array([0.2126, 0.7152, 0.0722])).mean())
        for name, rgb in studio_passes.items()
    }
    result = call(folder)
    assert result.exit_code == 0, result.output
    assert "7 lights" in result.stdout
    assert "All are 240 x 136, half, zip, BT.709 (assumed)." in result.stdout
    rows = {line.split()[0]: line for line in result.stdout.splitlines() if line.strip()}
    assert f"{100 * levels['sun'] / sum(levels.values()):.1f} %" in rows["sun"]
    assert rows["sun"].split()[-3:] == ["room_sun.exr", "named", "'sun'"]
    assert "outdoor fixture" in rows["garden"]
    assert "Beauty: room_beauty.exr (named 'beauty'; the sum of all lights)" in result.stdout
    assert result.stderr == ""


def test_starter_recipe_loads_and_proves(folder: Path, tmp_path: Path) -> None:
    recipe = tmp_path / "room.toml"
    result = call(folder, "--write", recipe)
    assert result.exit_code == 0, result.output
    assert f"Recipe: {recipe}" in result.stderr
    loaded = evenfall.load(recipe)
    assert loaded.model.lights["sun"].role == "key"
    assert set(loaded.moods) == {"day", "dusk", "night"}
    assert loaded.passes_folder == folder
    proof = CliRunner().invoke(main, ["prove", str(recipe)])
    assert proof.exit_code == 0, proof.output


def test_all_lights_and_the_beauty_in_one_file(
    tmp_path: Path, studio_passes: dict[str, np.ndarray], studio_beauty: np.ndarray
) -> None:
    layers = {**studio_passes, "beauty": studio_beauty}
    channels = {name: np.ascontiguousarray(rgb.astype(np.float16)) for name, rgb in layers.items()}
    OpenEXR.File({}, channels).write(str(tmp_path / "view.exr"))
    recipe = tmp_path / "room.toml"
    result = call(tmp_path, "--write", recipe)
    assert result.exit_code == 0, result.output
    loaded = evenfall.load(recipe)
    assert loaded.model.passes.beauty is not None
    assert loaded.model.passes.beauty.layer == "beauty"
    proof = CliRunner().invoke(main, ["prove", str(recipe)])
    assert proof.exit_code == 0, proof.output


def test_what_is_no_light_is_told_under_the_table(
    tmp_path: Path, studio_passes: dict[str, np.ndarray]
) -> None:
    layers = {name: studio_passes[name].astype(np.float16) for name in ("sun", "cove")}
    channels = {f"View.{name}": np.ascontiguousarray(rgb) for name, rgb in layers.items()}
    channels["View.Depth.Z"] = np.linspace(1, 9, 240 * 136, dtype=np.float32).reshape(136, 240)
    OpenEXR.File({}, channels).write(str(tmp_path / "view.exr"))
    result = call(tmp_path)
    assert "All are in view.exr: 240 x 136, half, zip, BT.709 (assumed)." in result.stdout
    assert "Data, depth: View.Depth (channel Z)" in result.stdout
    (row,) = [line for line in result.stdout.splitlines() if line.startswith("sun")]
    assert row.split()[-3:] == ["View.sun", "named", "'sun'"]


@pytest.fixture
def sequence(
    tmp_path: Path, studio_passes: dict[str, np.ndarray], write_exr: Callable[..., Path]
) -> Path:
    (tmp_path / "passes").mkdir()
    for frame in (7, 8, 9):
        for name in ("sun", "sky"):
            write_exr(tmp_path / "passes" / f"{name}.{frame:05d}.exr", studio_passes[name] / frame)
    write_exr(tmp_path / "passes" / "cove.00007.exr", studio_passes["cove"])
    return tmp_path / "passes"


def test_the_recipe_of_a_sequence_takes_any_frame(sequence: Path, tmp_path: Path) -> None:
    recipe = tmp_path / "view.toml"
    result = call(sequence, "--write", recipe)
    assert result.exit_code == 0, result.output
    text = recipe.read_text()
    assert "frame = 7  # stands for # in names of files" in text
    assert 'file = "cove.00007.exr"  # the same in every frame' in text
    assert 'like "sky.#####.exr" with passes.frame = 7' in " ".join(result.stdout.split())
    loaded = evenfall.load(recipe, changes=["passes.frame=9"])
    files = {name: loaded.pass_path(light.file).name for name, light in loaded.model.lights.items()}
    assert files == {"sun": "sun.00009.exr", "sky": "sky.00009.exr", "cove": "cove.00007.exr"}
    out = tmp_path / "out"
    ran = CliRunner().invoke(
        main, ["run", str(recipe), "--draft", "--set", "passes.frame=8", "--out", str(out)]
    )
    assert ran.exit_code == 0, ran.output
    assert (out / "view_0008_day_draft.png").is_file()


def test_one_still_with_a_frame_number_keeps_its_names(
    tmp_path: Path,
    studio_passes: dict[str, np.ndarray],
    studio_beauty: np.ndarray,
    write_exr: Callable[..., Path],
) -> None:
    (tmp_path / "passes").mkdir()
    write_exr(tmp_path / "passes" / "sun.0012.exr", studio_passes["sun"])
    write_exr(tmp_path / "passes" / "beauty.0012.exr", studio_beauty)
    recipe = tmp_path / "view.toml"
    assert call(tmp_path / "passes", "--write", recipe).exit_code == 0
    loaded = evenfall.load(recipe)
    assert loaded.model.passes.frame is None
    assert loaded.model.lights["sun"].file == "sun.0012.exr"
    assert "#" not in "".join(light.file for light in loaded.model.lights.values())


def test_json_of_a_sequence(sequence: Path) -> None:
    told = json.loads(call(sequence, "--json").stdout)
    assert told["frame"] == 7
    assert {each["file"]: each["file_in_recipes"] for each in told["pictures"]} == {
        "cove.00007.exr": "cove.00007.exr",
        "sky.00007.exr": "sky.#####.exr",
        "sun.00007.exr": "sun.#####.exr",
    }


def test_a_recipe_is_never_overwritten_silently(folder: Path, tmp_path: Path) -> None:
    recipe = tmp_path / "room.toml"
    recipe.write_text("mine")
    refused = call(folder, "--write", recipe)
    assert refused.exit_code == 1
    assert "the file exists already; use --overwrite" in refused.stderr
    assert recipe.read_text() == "mine"
    assert call(folder, "--write", recipe, "--overwrite").exit_code == 0
    assert recipe.read_text() != "mine"


def test_json(folder: Path) -> None:
    result = call(folder, "--json")
    assert result.exit_code == 0
    told = json.loads(result.stdout)
    lights = told["lights"]
    assert sum(each["share_of_light"] for each in lights) == pytest.approx(1)
    sun = next(each for each in lights if each["name"] == "sun")
    picture = next(each for each in told["pictures"] if each["light"] == "sun")
    assert (picture["width"], picture["height"], picture["compression"]) == (240, 136, "zip")
    assert picture["taken_for"] == "light"
    assert sun["role"] == {"role": "key", "reason": "named 'sun'"}
    assert sun["stops_to_key"] == 0


def test_maps_of_broken_pixels(
    folder: Path,
    tmp_path: Path,
    studio_passes: dict[str, np.ndarray],
    write_exr: Callable[..., Path],
) -> None:
    from PIL import Image

    broken = studio_passes["cove"].copy()
    broken[100:104, 200:204] = -0.2
    write_exr(folder / "room_cove.exr", broken)
    maps = tmp_path / "maps"
    result = call(folder, "--maps", maps)
    assert result.exit_code == 0, result.output
    assert "Below zero: 16 pixels in cove" in result.stdout
    with Image.open(maps / "room_cove_flaws.png") as image:
        colours = {colour for _, colour in image.getcolors(maxcolors=1 << 20)}
    assert (36, 98, 180) in colours  # the ink of negative pixels
    again = call(folder, "--maps", maps)
    assert again.exit_code == 1
    assert "exists already" in again.stderr


def test_own_patterns(folder: Path) -> None:
    result = call(folder, "--pattern", r"^room_(?P<light>s\w+)$")
    assert result.exit_code == 0
    assert "3 lights" in result.stdout  # sun, sky, screen_glow
    assert "fits no name pattern" in result.stdout
    wrong = call(folder, "--pattern", "(")
    assert wrong.exit_code == 2
    assert "does not read" in wrong.stderr


def test_patterns_of_a_recipe(folder: Path, tmp_path: Path) -> None:
    recipe = tmp_path / "old.toml"
    recipe.write_text(
        "format = 1\n[passes]\nname_patterns = ['^room_(?P<light>c.+)$']\n"
        '[lights.cove]\nfile = "room_cove.exr"\n[moods.day]\n'
    )
    result = call(folder, "--recipe", recipe)
    assert result.exit_code == 0, result.output
    assert "1 light\n" in result.stdout


def test_what_is_no_folder(tmp_path: Path) -> None:
    result = call(tmp_path / "nowhere")
    assert result.exit_code == 2
    assert "no such folder" in result.stderr
    assert "Traceback" not in result.output


def test_a_first_recipe_without_lamps_speaks_of_none(
    tmp_path: Path, write_exr: Callable[..., Path]
) -> None:
    across = np.linspace(0.1, 0.6, 48, dtype=np.float32)[None, :, None]
    for name, colour in (("sun", (1.0, 0.9, 0.8)), ("sky", (0.3, 0.4, 0.6))):
        write_exr(tmp_path / f"{name}.exr", np.ones((32, 1, 1), np.float32) * across * colour)
    recipe = tmp_path / "view.toml"
    result = CliRunner().invoke(main, ["survey", str(tmp_path), "--write", str(recipe)])
    assert result.exit_code == 0, result.output
    text = recipe.read_text(encoding="utf-8")
    assert "# Dusk: the sun is down; there are no lamps among the passes." in text
    assert "every lamp" not in text
