"""What a first recipe says beside balances: colours of lamps, mending, what was left out."""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Callable
from pathlib import Path

import numpy as np
import OpenEXR
import pytest

import evenfall
from evenfall.errors import UsageError

SAMPLE = Path(__file__).parents[2] / "sample_passes"


def first(folder: Path) -> evenfall.Recipe:
    evenfall.survey_folder(folder, write=folder / "first.toml")
    return evenfall.load(folder / "first.toml")


def test_lamps_that_are_seen_tell_their_own_colour(tmp_path: Path) -> None:
    """The sample view's own table says at how many kelvin each lamp was rendered."""
    said = json.loads((SAMPLE / "scene" / "lights.json").read_text(encoding="utf-8"))
    names = ("pendants", "floor_lamp", "shelf_strip", "table_lamp", "terrace_lantern")
    known = {name: said["passes"][name]["rendered_kelvin"] for name in names}
    for name in names:
        shutil.copy(SAMPLE / f"{name}.exr", tmp_path)
    survey = evenfall.survey_folder(tmp_path, write=tmp_path / "first.toml")
    for light in survey.lights:
        assert light.lamp is not None
        assert light.lamp.kelvin == pytest.approx(known[light.name], abs=50)
    recipe = evenfall.load(tmp_path / "first.toml")
    read = {n: light.rendered.kelvin for n, light in recipe.model.lights.items()}
    for light in survey.lights:
        assert read[light.name] == (light.lamp.kelvin if light.lamp and light.lamp.sure else None)
        assert f"kelvin = {light.lamp.kelvin:g}" in recipe.text if light.lamp else True


def lamp(rng: np.random.Generator, colour: tuple[float, ...], seen: bool) -> np.ndarray:
    picture = rng.gamma(20, 0.05 / 20, (72, 96, 1)) * np.array(colour)
    if seen:
        picture[30:36, 40:46] = 50 * np.array(colour)
    return picture.astype(np.float32)


@pytest.mark.parametrize(
    ("colour", "seen", "kelvin"),
    [
        ((1.94, 0.80, 0.19), True, 2700),  # 2700 K in BT.709, CIE 15:2018
        ((1.94, 0.80, 0.19), False, None),  # no lamp in view
        ((1.0, 1.0, 1.0), True, None),  # white may be a clamp
    ],
)
def test_what_tells_no_colour(
    tmp_path: Path,
    write_exr: Callable[..., Path],
    colour: tuple[float, ...],
    seen: bool,
    kelvin: float | None,
) -> None:
    write_exr(tmp_path / "pendant.exr", lamp(np.random.default_rng(1), colour, seen))
    write_exr(tmp_path / "sky.exr", lamp(np.random.default_rng(2), (0.8, 1, 1.3), seen=False))
    found = first(tmp_path).model.lights["pendant"].rendered.kelvin
    assert found == (None if kelvin is None else pytest.approx(kelvin, abs=50))


def test_values_below_zero_lead_to_a_line_that_lifts_them(
    tmp_path: Path, studio_passes: dict[str, np.ndarray], write_exr: Callable[..., Path]
) -> None:
    """As negative lobes of a pixel filter leave them around lamps (Mitchell and Netravali 1988)."""
    for name in ("sun", "sky"):
        pixels = studio_passes[name].copy()
        write_exr(tmp_path / f"{name}.exr", pixels)
    first(tmp_path)
    assert "repair.negatives" not in (tmp_path / "first.toml").read_text()
    pixels[20:30, 20:40] *= -0.1
    write_exr(tmp_path / "sky.exr", pixels)
    (tmp_path / "first.toml").unlink()
    text = first(tmp_path).text
    assert "# Below zero: 200 pixels in sky, as pixel filters leave them" in text
    (tmp_path / "first.toml").write_text(text.replace("# repair.negatives", "repair.negatives"))
    assert evenfall.load(tmp_path / "first.toml").model.passes.repair.negatives


def test_white_lamps_are_warmed_at_dusk_and_blue_ones_stay(
    tmp_path: Path, write_exr: Callable[..., Path]
) -> None:
    """8000 K, as some pools have it, was chosen; 4000 K, CIE 15:2018, is warmed."""
    rng = np.random.default_rng(1)
    lamps = {"pendant": (1.41, 0.92, 0.53), "pool": (0.91, 1.0, 1.25)}
    for name, colour in lamps.items():
        write_exr(tmp_path / f"{name}.exr", lamp(rng, colour, seen=True))
    write_exr(tmp_path / "sky.exr", lamp(rng, (0.8, 1, 1.3), seen=False))
    recipe = first(tmp_path)
    assert recipe.model.lights["pool"].rendered.kelvin == pytest.approx(8000, abs=400)
    dusk = recipe.moods["dusk"].lights
    assert dusk["pendant"].kelvin == 2700
    assert dusk["pool"].kelvin is None


def test_fireflies_lead_to_a_line_that_mends_them(
    tmp_path: Path, studio_passes: dict[str, np.ndarray], write_exr: Callable[..., Path]
) -> None:
    for name in ("sun", "sky"):
        write_exr(tmp_path / f"{name}.exr", studio_passes[name])
    recipe = first(tmp_path)
    assert "This line mends them:" in recipe.text
    made = recipe.text.replace("# repair.fireflies", "repair.fireflies")
    recipe.path.write_text(made, encoding="utf-8")
    assert evenfall.load(recipe.path).model.passes.repair.fireflies


def test_guides_of_the_denoiser_are_offered(
    tmp_path: Path, studio_passes: dict[str, np.ndarray], write_exr: Callable[..., Path]
) -> None:
    write_exr(tmp_path / "room_sun.exr", studio_passes["sun"])
    write_exr(tmp_path / "room_sky.exr", studio_passes["sky"])
    write_exr(tmp_path / "room_albedo.exr", studio_passes["sky"] * 0 + 0.5)
    assert '# repair.albedo = "room_albedo.exr"' in first(tmp_path).text


@pytest.mark.parametrize("kind", ["numbers", "matte"])
def test_object_numbers_and_mattes_are_offered_as_areas(
    kind: str,
    tmp_path: Path,
    studio_passes: dict[str, np.ndarray],
    write_exr: Callable[..., Path],
) -> None:
    """The area that is offered is one: a region of it brightens the lower half alone."""
    write_exr(tmp_path / "room_sun.exr", studio_passes["sun"])
    write_exr(tmp_path / "room_sky.exr", studio_passes["sky"])
    lower = np.zeros_like(studio_passes["sky"])
    lower[lower.shape[0] // 2 :] = 1
    if kind == "numbers":
        numbers = {"id": np.ascontiguousarray(lower[..., 0], np.float32)}
        OpenEXR.File({}, numbers).write(str(tmp_path / "room_ids.exr"))
    else:
        write_exr(tmp_path / "room_matte.exr", lower)
    recipe = first(tmp_path)
    (offered,) = re.findall(r"^# (area = .*)$", recipe.text, re.MULTILINE)
    plain = evenfall.open(recipe.path).develop("day").encoded("sRGB")
    more = f"\n[[moods.day.regions]]\n{offered}\nexposure_stops = 1\n"
    recipe.path.write_text(recipe.text + more, encoding="utf-8")
    change = np.abs(evenfall.open(recipe.path).develop("day").encoded("sRGB") - plain)
    half = len(change) // 2
    assert change[half:].mean() > 0.05
    assert change[:half].mean() < 0.005  # glare of what is brighter now


def test_pictures_that_are_left_out_stand_as_comments(
    tmp_path: Path, studio_passes: dict[str, np.ndarray], write_exr: Callable[..., Path]
) -> None:
    write_exr(tmp_path / "sun.exr", studio_passes["sun"])
    write_exr(tmp_path / "sky.exr", studio_passes["sky"])
    write_exr(tmp_path / "cove.exr", studio_passes["cove"][:100, :200])
    recipe = first(tmp_path)
    assert set(recipe.model.lights) == {"sun", "sky"}
    assert "# cove.exr: 200 x 100 pixels, the others 480 x 272" in recipe.text
    assert "# [lights.cove]" in recipe.text


def test_files_whose_name_is_no_text_are_told(
    tmp_path: Path, studio_passes: dict[str, np.ndarray], write_exr: Callable[..., Path]
) -> None:
    import os
    import sys

    if sys.platform != "linux":
        pytest.skip("names of files are text here")
    write_exr(tmp_path / "sun.exr", studio_passes["sun"])
    write_exr(tmp_path / "lamp.exr", studio_passes["cove"])
    file = os.fsencode(tmp_path / "lamp.exr")
    os.rename(file, file.replace(b"lamp", b"K\xfcche"))  # noqa: PTH104
    recipe = first(tmp_path)
    assert set(recipe.model.lights) == {"sun"}
    assert r"K\xfcche.exr: the name of this file is not UTF-8" in recipe.text


def test_a_folder_without_lights_says_what_it_holds(
    tmp_path: Path, studio_passes: dict[str, np.ndarray], write_exr: Callable[..., Path]
) -> None:
    write_exr(tmp_path / "room_albedo.exr", studio_passes["sky"] * 0 + 0.5)
    with pytest.raises(UsageError, match=r"no lights found.*all pictures are taken for data"):
        evenfall.survey_folder(tmp_path, write=tmp_path / "first.toml")
    assert not (tmp_path / "first.toml").exists()


def test_another_camera_is_one_change_away(tmp_path: Path) -> None:
    rng = np.random.default_rng(3)
    pictures = {}
    for camera in ("hall", "loft"):
        for name in ("sun", "sky"):
            picture = rng.gamma(2, 0.2, (48, 64, 3)).astype(np.float16)
            pictures[camera, name] = picture.astype(np.float32)
            OpenEXR.File({}, {"RGB": picture}).write(str(tmp_path / f"{camera}_{name}.exr"))
    recipe = first(tmp_path)
    assert recipe.model.lights["sun"].file == "{view}_sun.exr"
    assert recipe.model.passes.view == "hall"
    text = recipe.text + "\n[moods.everything]\n"
    recipe.path.write_text(text, encoding="utf-8")
    other = evenfall.open(recipe.path, changes="passes.view=loft").mix("everything")
    np.testing.assert_allclose(other, pictures["loft", "sun"] + pictures["loft", "sky"], rtol=1e-6)


@pytest.mark.parametrize(
    ("levels", "lights"),
    [
        ((1e-42, 1e-42), ["sun"]),  # of so small numbers both pictures are the same
        ((1e-42, 0.5), ["sun", "lamp"]),
        ((3e38, 0.5), ["lamp"]),  # the other is taken for data
    ],
)
def test_pixels_that_no_camera_could_show_still_give_a_recipe(
    tmp_path: Path, levels: tuple[float, float], lights: list[str]
) -> None:
    """Numbers at either end of single precision (IEEE 754 binary32), as broken files hold them."""
    rng = np.random.default_rng(4)
    for name, level in zip(("sun", "lamp"), levels, strict=True):
        picture = np.float32(level) * rng.uniform(0.5, 1, (24, 32, 3)).astype(np.float32)
        OpenEXR.File({}, {"RGB": picture}).write(str(tmp_path / f"{name}.exr"))
    assert list(first(tmp_path).model.lights) == lights
