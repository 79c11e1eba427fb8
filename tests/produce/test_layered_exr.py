"""The layered EXR, read back by OpenEXR and OpenImageIO: its layers add up to the mix."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import numpy.typing as npt
import OpenEXR
import OpenImageIO
import pytest
from PIL import Image

import evenfall
from evenfall.develop.example import example_recipe
from evenfall.errors import PixelSourceError
from evenfall.recipe import Recipe, load

HALF_STEP = 2.0**-11
"""Rounding to the nearest binary16 moves a value by at most this share of it (IEEE 754)."""
FLOAT_STEP = 2.0**-22
"""A few roundings of binary32, 2**-24 each."""

Build = Callable[..., Recipe]


@pytest.fixture
def layered(tmp_path: Path) -> Build:
    def build(keys: str = "", mood: str = "", bits: int = 32) -> Recipe:
        path = example_recipe(tmp_path).path
        both = f"bits = {bits}\n{keys}\n"
        without_ids = "\n".join(line for line in both.splitlines() if not line.startswith("ids"))
        path.write_text(
            path.read_text()
            + mood
            + f'\n[[deliverables]]\nformat = "exr"\n{without_ids}\n'
            + f'\n[[deliverables]]\nformat = "layered exr"\nsuffix = "_layers"\n{both}'
            + "\n[sheet]\nmake = false\n"
        )
        return load(path)

    return build


def channels(path: Path) -> dict[str, npt.NDArray[np.generic]]:
    with OpenEXR.File(str(path), separate_channels=True) as file:
        return {name: channel.pixels for name, channel in file.channels().items()}


def stacked(found: dict[str, npt.NDArray[np.generic]], prefix: str = "") -> npt.NDArray[np.float64]:
    return np.stack([found[f"{prefix}{name}"].astype(np.float64) for name in "RGB"])


def made(recipe: Recipe, mood: str = "dusk") -> tuple[Path, Path, tuple[str, ...]]:
    report = evenfall.open(recipe).run(moods=[mood])
    plain, layers = (file.path for file in report.files)
    return plain, layers, tuple(report.notes)


@pytest.mark.parametrize("camera", ["true", "false"])
def test_the_layers_add_up_to_the_mix_that_is_delivered_as_exr(layered: Build, camera: str) -> None:
    plain, layers, notes = made(layered(f"camera = {camera}"))
    found = channels(layers)
    assert set(found) == {*"RGB", *(f"{light}.{c}" for light in ("sky", "lamp") for c in "RGB")}
    mix = stacked(channels(plain))
    total = stacked(found, "sky.") + stacked(found, "lamp.")
    np.testing.assert_array_equal(stacked(found), mix)
    np.testing.assert_allclose(total, mix, rtol=FLOAT_STEP, atol=0)
    assert not [note for note in notes if "layers" in note]


def test_a_layer_is_the_pass_times_its_gain(layered: Build) -> None:
    """Two stops down is a quarter; no tint is asked of the sky."""
    recipe = layered("camera = false")
    _, layers, _ = made(recipe)
    rendered = stacked(channels(recipe.pass_path("sky.exr")) | _split(recipe.pass_path("sky.exr")))
    np.testing.assert_allclose(stacked(channels(layers), "sky."), rendered / 4, rtol=FLOAT_STEP)


def _split(path: Path) -> dict[str, npt.NDArray[np.generic]]:
    image = OpenImageIO.ImageBuf(str(path)).get_pixels(OpenImageIO.FLOAT)
    return dict(zip("RGB", np.moveaxis(image, -1, 0), strict=True))


def test_half_layers_add_up_to_half_precision(layered: Build) -> None:
    plain, layers, _ = made(layered(bits=16))
    found = channels(layers)
    assert {pixels.dtype for pixels in found.values()} == {np.dtype(np.float16)}
    parts = [stacked(found, "sky."), stacked(found, "lamp.")]
    mix = stacked(channels(plain))
    allowed = HALF_STEP * (np.abs(parts[0]) + np.abs(parts[1]) + np.abs(mix)) * 1.001
    assert (np.abs(sum(parts) - mix) <= allowed).all()


def test_another_reader_finds_layers_and_primaries(layered: Build) -> None:
    plain, layers, _ = made(layered())
    spec = OpenImageIO.ImageInput.open(str(layers)).spec()
    assert set(spec.channelnames) >= {"R", "sky.R", "lamp.B"}
    pixels = OpenImageIO.ImageBuf(str(layers)).get_pixels(OpenImageIO.FLOAT)
    at = [spec.channelnames.index(f"{light}.G") for light in ("sky", "lamp")]
    mix = OpenImageIO.ImageBuf(str(plain)).get_pixels(OpenImageIO.FLOAT)
    np.testing.assert_allclose(pixels[..., at].sum(axis=-1), mix[..., 1], rtol=FLOAT_STEP)
    other = OpenImageIO.ImageInput.open(str(plain)).spec()
    assert spec.getattribute("chromaticities") == other.getattribute("chromaticities")


def test_regions_crops_and_sizes_hold_for_layers_as_for_the_mix(layered: Build) -> None:
    """Averages of areas are linear: those of the layers add up to that of the mix."""
    region = (
        "\n[[moods.dusk.regions]]\narea = { rectangle = [0, 0, 0.5, 0.6], feather = 0.1 }\n"
        "lights = { lamp = 1.5, sky = -1 }\n"
    )
    plain, layers, _ = made(layered('crop = "1:1"\nwidth = 20', region))
    found = channels(layers)
    assert found["lamp.R"].shape == (20, 20)
    total = stacked(found, "sky.") + stacked(found, "lamp.")
    np.testing.assert_allclose(total, stacked(channels(plain)), rtol=8 * FLOAT_STEP)


def _ids(path: Path, width: int = 48, height: int = 32) -> npt.NDArray[np.uint32]:
    numbers = np.arange(width * height, dtype=np.uint32).reshape(height, width) * 2_000_003
    OpenEXR.File({}, {"id": numbers}).write(str(path))
    return numbers


def test_object_numbers_stay_whole_numbers(layered: Build, tmp_path: Path) -> None:
    numbers = _ids(tmp_path / "ids.exr")
    _, layers, _ = made(layered('ids = "ids.exr"'))
    found = channels(layers)["id"]
    assert found.dtype == np.uint32
    np.testing.assert_array_equal(found, numbers)


def test_object_numbers_are_chosen_and_never_averaged(layered: Build, tmp_path: Path) -> None:
    """A third of 48 x 30, one row off the top: the middle one of every three by three."""
    numbers = _ids(tmp_path / "ids.exr")
    _, layers, _ = made(layered('crop = "8:5"\nwidth = 16\nids = "ids.exr"'))
    np.testing.assert_array_equal(channels(layers)["id"], numbers[2:31:3, 1::3])


def test_alpha_is_beside_the_layers(layered: Build, tmp_path: Path) -> None:
    recipe = layered()
    across = np.linspace(0, 1, 48, dtype=np.float32)
    alpha = np.ascontiguousarray(np.broadcast_to(across, (32, 48)))
    for light in ("sun", "sky", "lamp"):
        rgb = np.repeat(alpha[..., None] * 0.5, 3, axis=2)
        pixels = np.ascontiguousarray(np.dstack([rgb, alpha]))
        OpenEXR.File({}, {"RGBA": pixels}).write(str(tmp_path / f"{light}.exr"))
    _, layers, _ = made(load(recipe.path))
    np.testing.assert_array_equal(channels(layers)["A"], alpha)


@pytest.mark.parametrize(
    ("width", "height", "number", "said"),
    [
        (8, 8, 0, r"ids\.exr has 8 x 8 pixels; those of the passes, 48 x 32"),
        (48, 32, -3, r"ids\.exr has an object number -3; expected 0 to 4,294,967,295"),
        (48, 32, 0.5, r"pixel 0, 0: value 0\.5; expected whole object numbers"),
    ],
)
@pytest.mark.parametrize("how", ["run", "check"])
def test_object_numbers_that_do_not_fit(
    layered: Build, tmp_path: Path, width: int, height: int, number: float, said: str, how: str
) -> None:
    pixels = np.full((height, width), number, np.float32)
    OpenEXR.File({}, {"id": pixels}).write(str(tmp_path / "ids.exr"))
    view = evenfall.open(layered('ids = "ids.exr"'))
    with pytest.raises(PixelSourceError, match=r"deliverables\[1\]\.ids.*" + said):
        getattr(view, how)()
    assert not (tmp_path / "pictures").exists()


@pytest.mark.parametrize("name", ["Lampe über der Tür", "wall.left", "l" * 80, "id", "灯"])
def test_layers_bear_the_names_of_the_recipe(layered: Build, name: str) -> None:
    recipe = layered()
    text = recipe.path.read_text().replace("[lights.lamp]", f'[lights."{name}"]')
    recipe.path.write_text(text.replace("lamp =", f'"{name}" ='))
    _, layers, _ = made(load(recipe.path))
    assert f"{name}.R" in channels(layers)


def test_drafts_do_not_ask_for_object_numbers(layered: Build, tmp_path: Path) -> None:
    _ids(tmp_path / "ids.exr", 8, 8)
    report = evenfall.open(layered('ids = "ids.exr"'), draft=True).run(moods=["dusk"])
    assert [file.format for file in report.files] == ["png"]


def test_what_is_in_no_layer_is_said(layered: Build, tmp_path: Path) -> None:
    Image.new("RGB", (48, 32), (90, 120, 200)).save(tmp_path / "hill.png")
    Image.new("RGBA", (48, 32), (90, 120, 20, 99)).save(tmp_path / "tree.png")
    mood = (
        '\n[moods.dusk.plate]\nfile = "hill.png"\n[[moods.dusk.overlays]]\nfile = "tree.png"\n'
        "[[moods.dusk.regions]]\narea = { rectangle = [0, 0, 0.5, 1] }\nexposure_stops = 1\n"
    )
    plain, layers, notes = made(layered("", mood))
    said = (
        "corner_dusk_layers.exr: the mix and its layers are without the plate hill.png, the "
        "cut-out tree.png and exposure, white balance and saturation of regions"
    )
    assert said in notes
    found = channels(layers)
    total = stacked(found, "sky.") + stacked(found, "lamp.")
    np.testing.assert_allclose(total, stacked(channels(plain)), rtol=FLOAT_STEP)
