"""`evenfall meter`: the figures a person reads, and the pictures."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import OpenImageIO as oiio  # noqa: N813 - as its own documentation does
import pytest
from click.testing import CliRunner

from evenfall.cli.main import main
from evenfall.develop.example import example_recipe


@pytest.fixture
def recipe(tmp_path: Path) -> Path:
    return example_recipe(tmp_path, width=96, height=64).path


def test_every_mood_and_light_is_listed(recipe: Path) -> None:
    shown = CliRunner().invoke(main, ["meter", str(recipe)])
    assert shown.exit_code == 0, shown.output
    for word in ("Day", "Dusk", "sun", "sky", "lamp", "2700", "off", "key:light"):
        assert word.lower() in shown.output.lower()


def test_no_line_is_wider_than_a_terminal(recipe: Path) -> None:
    shown = CliRunner().invoke(main, ["meter", str(recipe)])
    assert max(len(line) for line in shown.output.splitlines()) <= 80
    assert "…" not in shown.output


def test_what_is_wrapped_is_indented(recipe: Path) -> None:
    """Under the heading Advice every line is indented; the figures are explained before it."""
    overexposed = ["meter", str(recipe), "--set", "camera.exposure_stops=6"]
    shown = CliRunner().invoke(main, overexposed)
    legend, _, advice = shown.output.partition("\nAdvice\n")
    assert "clipped are pixels with a channel at full white" in " ".join(legend.lower().split())
    assert len(advice.splitlines()) > 3
    assert all(line.startswith("  ") for line in advice.splitlines())


def test_json_holds_the_same_figures(recipe: Path) -> None:
    """Shares add up to one; a factor of 2 is one stop: arithmetic."""
    shown = CliRunner().invoke(main, ["meter", str(recipe), "--mood", "dusk", "--json"])
    mood = json.loads(shown.stdout)["moods"][0]
    lights = {light["name"]: light for light in mood["lights"]}
    assert sum(light["share"] for light in lights.values()) == pytest.approx(1.0)
    assert lights["lamp"]["gain_stops"] == pytest.approx(1.0)
    assert lights["sun"]["gain_stops"] is None
    assert lights["sky"]["gain_stops"] == pytest.approx(-2.0)


def test_asking_for_four_to_one_meters_four_to_one(recipe: Path) -> None:
    change = 'moods.day.lights.sky={ match = { to = "sun", ratio = "4:1" } }'
    shown = CliRunner().invoke(
        main, ["meter", str(recipe), "--mood", "day", "--json", "--set", change]
    )
    assert shown.exit_code == 0, shown.output
    lights = {light["name"]: light for light in json.loads(shown.stdout)["moods"][0]["lights"]}
    assert lights["sky"]["ratio"]["key_to_light"] == pytest.approx(4.0, rel=0.005)
    assert lights["sky"]["ratio"]["lit_to_shadow"] == pytest.approx(5.0, rel=0.005)


def test_a_ratio_asked_for_in_an_area_is_told_there_and_over_the_whole_picture(
    recipe: Path,
) -> None:
    """Means of the passes' own pixels, and a gain that makes 3:1 of them on the left half."""
    area = "{ rectangle = [0.0, 0.0, 0.5, 1.0] }"
    change = f'moods.day.lights.sky={{ match = {{ to = "sun", ratio = "3:1", area = {area} }} }}'
    call = ["meter", str(recipe), "--mood", "day", "--set", change]
    (asked,) = json.loads(CliRunner().invoke(main, [*call, "--json"]).stdout)["moods"][0][
        "asked_ratios"
    ]
    sun, sky = (luminance(recipe.parent / f"{light}.exr") for light in ("sun", "sky"))
    half = sun.shape[1] // 2
    gain = sun[:, :half].mean() / sky[:, :half].mean() / 3
    whole = sun.mean() / (gain * sky.mean())
    assert abs(whole - 3) > 0.2  # or nothing is told apart
    assert (asked["lights"], asked["to"]) == (["sky"], "sun")
    assert asked["in_area"] == pytest.approx({"key_to_light": 3, "lit_to_shadow": 4}, rel=1e-5)
    assert asked["in_picture"]["key_to_light"] == pytest.approx(whole, rel=1e-5)
    text = " ".join(CliRunner().invoke(main, call).stdout.split())
    assert "sun to sky: 3:1 in the area where it was asked for (4:1 with both" in text
    assert f"side); {whole:.3g}:1 over the whole picture" in text


def luminance(path: Path) -> np.ndarray:
    """BT.709 luminance (SMPTE RP 177) of a picture as OpenImageIO reads it."""
    pixels = oiio.ImageBuf(str(path)).get_pixels(oiio.FLOAT).astype(float)
    return pixels[..., :3] @ np.array([0.2126390, 0.7151687, 0.0721923])


def test_pictures_are_written_once(recipe: Path, tmp_path: Path) -> None:
    from PIL import Image

    folder = tmp_path / "meter"
    call = ["meter", str(recipe), "--mood", "dusk", "--pictures", str(folder)]
    assert CliRunner().invoke(main, call).exit_code == 0
    names = {path.name for path in folder.iterdir()}
    assert {"corner_dusk_exposure.png", "corner_dusk_histogram.png"} <= names
    for path in folder.iterdir():
        with Image.open(path) as picture:
            low, high = picture.convert("L").getextrema()
        assert low < 60
        assert high > 200
    again = CliRunner().invoke(main, call)
    assert again.exit_code == 1
    assert "use --overwrite to replace it, or choose another folder with --pictures" in again.stderr
    assert again.stdout == ""  # refused before anything was metered


def test_a_file_is_no_folder_for_pictures(recipe: Path, tmp_path: Path) -> None:
    (tmp_path / "note").write_text("kept")
    shown = CliRunner().invoke(main, ["meter", str(recipe), "--pictures", str(tmp_path / "note")])
    assert shown.exit_code == 2
    assert "is a file" in shown.stderr
    assert shown.stdout == ""


def test_cd_m2_carry_the_caution(recipe: Path) -> None:
    scaled = ["meter", str(recipe), "--set", "passes.luminance_scale=100"]
    shown = CliRunner().invoke(main, scaled)
    assert "cd/m2" in shown.output
    assert "no lighting calculation" in shown.output
    assert "cd/m2" not in CliRunner().invoke(main, ["meter", str(recipe)]).output


def test_unknown_mood_is_a_usage_error(recipe: Path) -> None:
    shown = CliRunner().invoke(main, ["meter", str(recipe), "--mood", "dsk"])
    assert shown.exit_code == 2
    assert "dusk" in shown.stderr
