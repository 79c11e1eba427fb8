"""Lights that share a part of a file, mixed in bands: the same as from a file each."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import OpenEXR
import pytest

import evenfall
from evenfall.develop import grid
from evenfall.develop.asked import Asked
from evenfall.develop.developed import DevelopedMood
from evenfall.develop.engine import Development, develop_moods
from evenfall.develop.opening import open_passes
from evenfall.errors import PassError
from evenfall.passes.library import PassLibrary

WIDTH, HEIGHT = 128, 240
LIGHTS = [f"lamp_{number}" for number in range(9)]
MOODS = """
[moods.evening]
camera = { exposure_stops = 1.0 }
[moods.evening.lights]
lamp_1 = { stops = -1.5, kelvin = 2700 }
lamp_7 = "off"
[moods.night]
lights = { lamp_0 = "off", lamp_2 = { stops = 2.0 } }
[[moods.night.regions]]
area = { rectangle = [0.1, 0.2, 0.7, 0.9] }
lights = { lamp_3 = 1.0 }
"""


def pixels(light: str) -> dict[str, np.ndarray]:
    rng = np.random.default_rng(LIGHTS.index(light))
    return {channel: rng.random((HEIGHT, WIDTH)).astype(np.float16) for channel in "RGB"}


def write(path: Path, channels: dict[str, np.ndarray]) -> None:
    header = {"type": OpenEXR.scanlineimage, "compression": OpenEXR.ZIP_COMPRESSION}
    OpenEXR.File(header, channels).write(str(path))


def recipe_of(
    folder: Path, *, together: bool, alpha: dict[str, float] | None = None
) -> evenfall.Recipe:
    """Write the lights into one part of one file, or each into a file of its own."""
    folder.mkdir()
    alpha = alpha or {}
    text, layers = "format = 1\n", {}
    for light in LIGHTS:
        planes = pixels(light)
        if light in alpha:
            planes["A"] = np.full((HEIGHT, WIDTH), alpha[light], np.float16)
            planes["A"][200:] = 1
        text += f"[lights.{light}]\nrendered = {{ kelvin = 3000 }}\n"
        text += 'role = "key"\n' if light == "lamp_4" else ""
        if together:
            layers |= {f"{light}.{channel}": plane for channel, plane in planes.items()}
            text += f'file = "lamps.exr"\nlayer = "{light}"\n'
        else:
            write(folder / f"{light}.exr", planes)
            text += f'file = "{light}.exr"\n'
    if together:
        write(folder / "lamps.exr", layers)
    (folder / "view.toml").write_text(text + MOODS)
    return evenfall.load(folder / "view.toml")


@pytest.fixture
def one_file(tmp_path: Path) -> evenfall.Recipe:
    return recipe_of(tmp_path / "one", together=True)


@pytest.fixture
def a_file_each(tmp_path: Path) -> evenfall.Recipe:
    return recipe_of(tmp_path / "each", together=False)


def developing(recipe: evenfall.Recipe, moods: list[str], **options: object) -> Development:
    return develop_moods(open_passes(recipe), Asked(recipe), moods, **options)


def developed(
    recipe: evenfall.Recipe, moods: list[str], **options: object
) -> tuple[dict[str, DevelopedMood], Development]:
    """Developed moods by name, and what else was found out."""
    development = developing(recipe, moods, **options)
    return {mood.name: mood for mood in development}, development


def test_the_part_is_read_in_bands(one_file: evenfall.Recipe) -> None:
    assert len(open_passes(one_file).bands(LIGHTS)) > 4


@pytest.mark.parametrize("workers", [1, 2, 4])
def test_mixes_and_exposure_are_those_of_a_file_each(
    one_file: evenfall.Recipe, a_file_each: evenfall.Recipe, workers: int
) -> None:
    expected, others = developed(a_file_each, ["evening", "night"])
    found, these = developed(one_file, ["evening", "night"], workers=workers)
    for name, mood in found.items():
        np.testing.assert_array_equal(mood.mix.planes, expected[name].mix.planes)
        assert mood.camera.exposure_factor == expected[name].camera.exposure_factor
    assert these.censuses == others.censuses


@pytest.mark.parametrize("width", [128, 64, 100])
def test_drafts_are_those_of_a_file_each(
    one_file: evenfall.Recipe, a_file_each: evenfall.Recipe, width: int
) -> None:
    """As wide as the passes; half as wide, in bands; and where rows do not divide evenly."""
    drafts = [
        evenfall.open(recipe, changes=f"draft.width={width}", draft=True).develop("night").encoded()
        for recipe in (one_file, a_file_each)
    ]
    np.testing.assert_array_equal(*drafts)


def test_every_light_is_told_of_once(one_file: evenfall.Recipe) -> None:
    heard = []
    developing(one_file, ["evening", "night"], workers=3, on_read=heard.append)
    assert [event.lights for event in heard] == [tuple(LIGHTS)]
    shapes = {light: image.planes[0].shape for light, image in heard[0].images.items()}
    assert shapes.pop("lamp_4") == (HEIGHT, WIDTH)  # the key, which is metered
    assert set(shapes.values()) == {(0, 0)}


def test_metering_sees_every_pixel(one_file: evenfall.Recipe, a_file_each: evenfall.Recipe) -> None:
    found, expected = (evenfall.open(recipe).meter() for recipe in (one_file, a_file_each))
    for mood, other in zip(found.moods, expected.moods, strict=True):
        assert mood.facts == other.facts


def test_alpha_is_that_of_the_first_light_and_differences_are_told(tmp_path: Path) -> None:
    alpha = {"lamp_2": 0.5, "lamp_5": 0.5, "lamp_6": 0.25}
    one = recipe_of(tmp_path / "one", together=True, alpha=alpha)
    each = recipe_of(tmp_path / "each", together=False, alpha=alpha)
    found, expected = (developed(recipe, ["evening"])[0]["evening"].mix for recipe in (one, each))
    np.testing.assert_array_equal(found.alpha, expected.alpha)
    assert found.notes == expected.notes
    assert "alpha of lamp_6 differs from that of lamp_2 by up to 0.25" in found.notes[0]


def test_alpha_differences_are_told_in_the_order_of_lights(tmp_path: Path) -> None:
    """Lamp 5 differs only in the lowest rows, lamp 6 from the first."""
    recipe = recipe_of(tmp_path / "one", together=True, alpha={"lamp_2": 1, "lamp_5": 1})
    layers = {
        f"{light}.{channel}": plane for light in LIGHTS for channel, plane in pixels(light).items()
    }
    for light in ("lamp_2", "lamp_5", "lamp_6"):
        layers[f"{light}.A"] = np.ones((HEIGHT, WIDTH), np.float16)
    layers["lamp_5.A"][-1] = 0.75
    layers["lamp_6.A"][0] = 0.5
    write(tmp_path / "one" / "lamps.exr", layers)
    notes = developed(recipe, ["evening"])[0]["evening"].mix.notes
    assert [note.split()[2] for note in notes] == ["lamp_5", "lamp_6"]


@pytest.mark.parametrize("grid_width", [640, 64, 50])
def test_measured_lights_are_brought_down_band_by_band(
    one_file: evenfall.Recipe,
    a_file_each: evenfall.Recipe,
    grid_width: int,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """For a meter of the mix and for a ratio: whole, every 2 rows, and rows that do not divide."""
    monkeypatch.setattr(grid, "GRID_WIDTH", grid_width)
    changes = ['camera.meter.of="mix"', 'moods.night.lights.lamp_5.match={to="lamp_4",ratio="1:3"}']
    (expected, others), (found, these) = (
        developed(recipe.with_changes(*changes), ["evening", "night"])
        for recipe in (a_file_each, one_file)
    )
    for name, mood in found.items():
        np.testing.assert_array_equal(mood.mix.planes, expected[name].mix.planes)
        assert mood.camera.exposure_factor == expected[name].camera.exposure_factor
    assert these.censuses == others.censuses


def test_no_more_than_the_grid_is_kept_of_measured_lights(
    one_file: evenfall.Recipe, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(grid, "GRID_WIDTH", 64)
    changes = ['moods.night.lights.lamp_5.match={to="lamp_4",ratio="1:3"}']
    heard = []
    developing(one_file.with_changes(*changes), ["night"], on_read=heard.append)
    image = heard[0].images["lamp_5"]
    assert {plane.shape for plane in image.planes} == {(HEIGHT // 2, 64)}


def test_censuses_are_in_the_order_of_lights(
    one_file: evenfall.Recipe, a_file_each: evenfall.Recipe
) -> None:
    """Though what a ratio needs is read first."""
    for recipe in (one_file, a_file_each):
        changes = ['moods.evening.lights.lamp_5.match={to="lamp_4",ratio="1:3"}']
        changed, heard = recipe.with_changes(*changes), []
        development = developing(changed, ["evening"], workers=1, on_read=heard.append)
        assert heard[0].lights[0] == "lamp_4"
        assert list(development.censuses) == [light for light in LIGHTS if light != "lamp_7"]


def test_damage_ends_the_run_or_only_what_needs_the_part(
    one_file: evenfall.Recipe, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = PassLibrary.read

    def read(library: PassLibrary, batch: tuple[str, ...], rows: slice | None = None) -> object:
        if rows is not None and rows.start > 100:
            raise PassError("lamps.exr: its pixels cannot be decoded")
        return real(library, batch, rows)

    monkeypatch.setattr(PassLibrary, "read", read)
    with pytest.raises(PassError, match="cannot be decoded"):
        developing(one_file, ["evening", "night"])
    development = developing(one_file, ["evening", "night"], keep_going=True)
    assert development.moods == ()
    assert {len(error.faults) for error in development.failures.values()} == {1}
