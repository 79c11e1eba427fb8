"""The passes of a recipe: found by every habit of naming, held against each other, read once."""

from __future__ import annotations

import os
import threading
from collections.abc import Callable
from pathlib import Path

import numpy as np
import OpenEXR
import pytest
from reading_corpus.exr_bytes import plain_exr

from evenfall.errors import PassError, PixelSourceError
from evenfall.passes import PassLibrary
from evenfall.passes import library as library_module
from evenfall.passes.side.denoiser_guides import read_vectors
from evenfall.passes.side.pictures import read_weights
from evenfall.recipe import load

WIDTH, HEIGHT = 16, 9


def write_pass(
    path: Path, value: float = 1.0, size: tuple[int, int] = (WIDTH, HEIGHT), **header: object
) -> Path:
    """Write a flat pass of three half channels."""
    path.parent.mkdir(parents=True, exist_ok=True)
    channels = {name: np.full(size[::-1], value, np.float16) for name in "RGB"}
    attributes = {"compression": OpenEXR.ZIP_COMPRESSION, "type": OpenEXR.scanlineimage, **header}
    OpenEXR.File(attributes, channels).write(str(path))
    return path


Open = Callable[..., PassLibrary]


@pytest.fixture
def opened(tmp_path: Path) -> Open:
    """Open the library of a recipe with these lights in a folder of its own."""

    def open_library(lights: dict[str, str], passes: str = "", **how: bool) -> PassLibrary:
        entries = "\n".join(f"[lights.{name}]\n{text}" for name, text in lights.items())
        text = f"format = 1\n[passes]\nfolder = 'passes'\n{passes}\n{entries}\n[moods.day]\n"
        (tmp_path / "view.toml").write_text(text)
        return PassLibrary(load(tmp_path / "view.toml"), **how)

    return open_library


def test_one_file_a_light(tmp_path: Path, opened: Open) -> None:
    write_pass(tmp_path / "passes/sun.exr", 4.0)
    write_pass(tmp_path / "passes/lamps/pendants.exr", 0.5)
    library = opened({"sun": "file = 'sun.exr'", "pendants": "file = 'lamps/pendants.exr'"})
    assert library.size == (WIDTH, HEIGHT)
    assert list(library.headers) == ["sun", "pendants"]
    assert library.batches(["pendants", "sun"]) == [("pendants",), ("sun",)]
    assert library.read(("pendants",))["pendants"].planes[0][0, 0] == 0.5


def test_frames_and_views_in_file_names(tmp_path: Path, opened: Open) -> None:
    write_pass(tmp_path / "passes/kitchen/sun.0012.exr", 3.0)
    write_pass(tmp_path / "passes/kitchen/sun.0013.exr", 5.0)
    library = opened({"sun": "file = '{view}/sun.####.exr'"}, passes="frame = 12\nview = 'kitchen'")
    assert library.read(("sun",))["sun"].planes[0][0, 0] == 3.0


def test_one_part_of_all_lights_is_decoded_once(tmp_path: Path, opened: Open) -> None:
    channels = {
        f"{light}.{channel}": np.full((HEIGHT, WIDTH), value, np.float16)
        for light, value in (("sun", 4.0), ("sky", 2.0))
        for channel in "RGB"
    }
    (tmp_path / "passes").mkdir()
    OpenEXR.File({"compression": OpenEXR.ZIP_COMPRESSION}, channels).write(
        str(tmp_path / "passes/all.exr")
    )
    library = opened(
        {"sun": "file = 'all.exr'\nlayer = 'sun'", "sky": "file = 'all.exr'\nlayer = 'sky'"}
    )
    (batch,) = library.batches(["sky", "sun"])
    images = library.read(batch)
    assert {name: float(image.planes[1][0, 0]) for name, image in images.items()} == {
        "sky": 2.0,
        "sun": 4.0,
    }


def test_parts_are_batches_of_their_own(tmp_path: Path, opened: Open) -> None:
    (tmp_path / "passes").mkdir()
    OpenEXR.File(
        [
            OpenEXR.Part(
                {"name": name, "compression": OpenEXR.ZIP_COMPRESSION},
                {channel: np.full((HEIGHT, WIDTH), value, np.float16) for channel in "RGB"},
            )
            for name, value in (("sun", 4.0), ("sky", 2.0))
        ]
    ).write(str(tmp_path / "passes/all.exr"))
    library = opened(
        {"sun": "file = 'all.exr'\npart = 'sun'", "sky": "file = 'all.exr'\npart = 'sky'"}
    )
    assert library.batches(["sun", "sky"]) == [("sun",), ("sky",)]
    assert library.read(("sky",))["sky"].planes[0][0, 0] == 2.0


def test_multi_view_files_by_the_recipes_view(tmp_path: Path, opened: Open) -> None:
    channels = {name: np.full((HEIGHT, WIDTH), 1.0, np.float16) for name in "RGB"}
    channels |= {f"garden.{name}": np.full((HEIGHT, WIDTH), 7.0, np.float16) for name in "RGB"}
    (tmp_path / "passes").mkdir()
    OpenEXR.File(
        {"compression": OpenEXR.ZIP_COMPRESSION, "multiView": ["hall", "garden"]}, channels
    ).write(str(tmp_path / "passes/sun.exr"))
    seen = opened({"sun": "file = 'sun.exr'"}, passes="view = 'garden'").read(("sun",))
    assert seen["sun"].planes[0][0, 0] == 7.0


def test_all_faults_are_told_at_once(tmp_path: Path, opened: Open) -> None:
    write_pass(tmp_path / "passes/sun.exr")
    (tmp_path / "passes/sky.exr").write_bytes(b"")
    (tmp_path / "passes/lamp.exr").write_bytes(b"\x89PNG\r\n\x1a\n")
    with pytest.raises(PassError, match=r"sky\.exr: is empty") as caught:
        opened({name: f"file = '{name}.exr'" for name in ("sun", "sky", "lamp")})
    assert [Path(fault.file).name for fault in caught.value.faults] == ["sky.exr", "lamp.exr"]


def test_a_damaged_pass_can_be_left_for_later(tmp_path: Path, opened: Open) -> None:
    write_pass(tmp_path / "passes/sun.exr")
    (tmp_path / "passes/sky.exr").write_bytes(b"")
    lights = {name: f"file = '{name}.exr'" for name in ("sun", "sky")}
    library = opened(lights, keep_going=True)
    assert set(library.failures) == {"sky"}
    assert set(library.headers) == {"sun"}
    assert library.batches(["sun", "sky"]) == [("sun",), ("sky",)]
    assert library.read(("sun",))["sun"].census.replaced == 0
    with pytest.raises(PassError, match=r"sky\.exr: is empty"):
        library.read(("sky",))


@pytest.mark.parametrize(
    ("odd", "says"),
    [
        ({"size": (WIDTH, 10)}, r"lamp\.exr: size 16 x 10, but .*sun\.exr has 16 x 9"),
        (
            {"chromaticities": (0.713, 0.293, 0.165, 0.83, 0.128, 0.044, 0.32168, 0.33767)},
            r"lamp\.exr: colour space ACEScg, but .*sun\.exr has BT\.709",
        ),
        ({"pixelAspectRatio": 2.0}, r"lamp\.exr: pixel aspect 2, but .*sun\.exr has 1"),
    ],
)
def test_the_odd_one_out_is_named_with_both_values(
    tmp_path: Path, opened: Open, odd: dict[str, object], says: str
) -> None:
    write_pass(tmp_path / "passes/lamp.exr", **odd)  # type: ignore[arg-type]
    for name in ("sun", "sky"):
        write_pass(tmp_path / f"passes/{name}.exr")
    with pytest.raises(PassError, match=says) as caught:
        opened({name: f"file = '{name}.exr'" for name in ("lamp", "sun", "sky")})
    assert len(caught.value.faults) == 1


def test_different_scales_are_refused(tmp_path: Path, opened: Open) -> None:
    write_pass(tmp_path / "passes/sun.exr", whiteLuminance=100.0)
    write_pass(tmp_path / "passes/sky.exr", whiteLuminance=200.0)
    with pytest.raises(PassError, match=r"whiteLuminance 200 cd/m2, but .* has 100 cd/m2"):
        opened({name: f"file = '{name}.exr'" for name in ("sun", "sky")})


def test_a_file_without_chromaticities_is_bt709(tmp_path: Path, opened: Open) -> None:
    bt709 = (0.64, 0.33, 0.3, 0.6, 0.15, 0.06, 0.3127, 0.329)
    write_pass(tmp_path / "passes/sun.exr", chromaticities=bt709)
    write_pass(tmp_path / "passes/sky.exr")
    library = opened({name: f"file = '{name}.exr'" for name in ("sun", "sky")})
    np.testing.assert_allclose(
        library.space.chromaticities, bt709, atol=1e-6
    )  # float32 in the file


def test_the_recipe_says_what_files_do_not(tmp_path: Path, opened: Open) -> None:
    write_pass(tmp_path / "passes/sun.exr")
    library = opened(
        {"sun": "file = 'sun.exr'"}, passes="colour_space = 'ACEScg'\nluminance_scale = 250"
    )
    assert library.space.chromaticities == (
        0.713,
        0.293,
        0.165,
        0.83,
        0.128,
        0.044,
        0.32168,
        0.33767,
    )
    assert library.luminance_scale == 250


def test_the_file_outweighs_the_recipe(tmp_path: Path, opened: Open) -> None:
    write_pass(tmp_path / "passes/sun.exr", whiteLuminance=120.0)
    library = opened({"sun": "file = 'sun.exr'"}, passes="luminance_scale = 250")
    assert library.luminance_scale == 120


def test_beauty(tmp_path: Path, opened: Open) -> None:
    write_pass(tmp_path / "passes/sun.exr")
    assert opened({"sun": "file = 'sun.exr'"}).beauty() is None
    write_pass(tmp_path / "passes/all.exr", 3.0)
    beauty = opened({"sun": "file = 'sun.exr'"}, passes="beauty = {file = 'all.exr'}").beauty()
    assert beauty is not None
    assert beauty.planes[2][0, 0] == 3.0


def test_a_beauty_of_another_size_is_refused(tmp_path: Path, opened: Open) -> None:
    write_pass(tmp_path / "passes/sun.exr")
    write_pass(tmp_path / "passes/all.exr", size=(8, 8))
    library = opened({"sun": "file = 'sun.exr'"}, passes="beauty = {file = 'all.exr'}")
    with pytest.raises(PassError, match=r"all\.exr: size 8 x 8, but .*sun\.exr has 16 x 9"):
        library.beauty()


def test_links_out_of_the_folder_need_leave(tmp_path: Path, opened: Open) -> None:
    write_pass(tmp_path / "elsewhere/sun.exr", 2.0)
    (tmp_path / "passes").mkdir()
    (tmp_path / "passes/sun.exr").symlink_to(tmp_path / "elsewhere/sun.exr")
    with pytest.raises(PassError, match="symbolic link out of the passes' folder"):
        opened({"sun": "file = 'sun.exr'"})
    library = opened({"sun": "file = 'sun.exr'"}, passes="allow_links_outside = true")
    assert library.read(("sun",))["sun"].planes[0][0, 0] == 2.0


def test_a_pass_rendered_again_meanwhile_is_refused(tmp_path: Path, opened: Open) -> None:
    path = write_pass(tmp_path / "passes/sun.exr")
    library = opened({"sun": "file = 'sun.exr'"})
    write_pass(path, 2.0)
    os.utime(path, (1, 1))
    with pytest.raises(PassError, match="changed since its header was checked"):
        library.read(("sun",))


def test_a_pass_that_vanished_is_told(tmp_path: Path, opened: Open) -> None:
    path = write_pass(tmp_path / "passes/sun.exr")
    library = opened({"sun": "file = 'sun.exr'"})
    path.unlink()
    with pytest.raises(PassError, match=r"sun\.exr: cannot be looked at: No such file"):
        library.read(("sun",))


@pytest.mark.parametrize(("rule", "value"), [("black", 0.0), ("neighbours", 1.0)])
def test_broken_pixels_by_the_recipes_rule(
    tmp_path: Path, opened: Open, rule: str, value: float
) -> None:
    pixels = np.ones((HEIGHT, WIDTH), np.float16)
    pixels[4, 4], pixels[0, 0] = np.nan, np.inf
    (tmp_path / "passes").mkdir()
    OpenEXR.File({"compression": OpenEXR.ZIP_COMPRESSION}, {"Y": pixels}).write(
        str(tmp_path / "passes/sun.exr")
    )
    library = opened({"sun": "file = 'sun.exr'"}, passes=f"repair = {{non_finite = '{rule}'}}")
    image = library.read(("sun",))["sun"]
    assert (image.census.nan, image.census.infinite, image.census.replaced) == (1, 1, 2)
    assert image.rgb()[4, 4].tolist() == image.rgb()[0, 0].tolist() == [value] * 3


def test_repairs_that_the_recipe_asks(tmp_path: Path, opened: Open) -> None:
    pixels = np.full((HEIGHT, WIDTH), 0.5, np.float16)
    pixels[4, 8], pixels[1, 1] = 400, -0.25
    (tmp_path / "passes").mkdir()
    OpenEXR.File({}, {"Y": pixels}).write(str(tmp_path / "passes/sun.exr"))
    kept = opened({"sun": "file = 'sun.exr'"}).read(("sun",))["sun"]
    assert (kept.rgb()[4, 8, 0], kept.rgb()[1, 1, 0]) == (400, -0.25)
    library = opened(
        {"sun": "file = 'sun.exr'"}, passes="repair = {fireflies = true, negatives = true}"
    )
    mended = library.read(("sun",))["sun"]
    assert (mended.rgb()[4, 8, 0], mended.rgb()[1, 1, 0]) == (0.5, 0)


@pytest.mark.parametrize("names", ["XYZ", "xyz", "RGB"])
def test_vectors_are_read_from_axes_or_colours(tmp_path: Path, names: str) -> None:
    vectors = np.random.default_rng(1).uniform(-1, 1, (5, 7, 3)).astype(np.float32)
    vectors[0, 0] = np.nan
    channels = {f"normal.{name}": vectors[..., axis].copy() for axis, name in enumerate(names)}
    OpenEXR.File({}, channels).write(str(tmp_path / "normal.exr"))
    seen = read_vectors(tmp_path / "normal.exr")
    np.testing.assert_array_equal(seen, np.nan_to_num(vectors))


def test_a_guide_of_another_size_is_refused(tmp_path: Path, opened: Open) -> None:
    write_pass(tmp_path / "passes/sun.exr")
    write_pass(tmp_path / "passes/albedo.exr", size=(8, 8))
    library = opened(
        {"sun": "file = 'sun.exr'"}, passes="repair = {denoise = true, albedo = 'albedo.exr'}"
    )
    with pytest.raises(PassError, match=r"albedo\.exr: size 8 x 8, but the passes have 16 x 9"):
        library.read(("sun",))


def test_each_file_is_looked_at_once(
    tmp_path: Path, opened: Open, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "passes").mkdir()
    channels = {
        f"{light}.{channel}": np.ones((HEIGHT, WIDTH), np.float16)
        for light in ("sun", "sky")
        for channel in "RGB"
    }
    OpenEXR.File({}, channels).write(str(tmp_path / "passes/all.exr"))
    asked: list[Path] = []
    inspect = library_module.inspect
    monkeypatch.setattr(library_module, "inspect", lambda path: asked.append(path) or inspect(path))
    opened({name: f"file = 'all.exr'\nlayer = '{name}'" for name in ("sun", "sky")})
    assert len(asked) == 1


def test_reading_from_many_threads(tmp_path: Path, opened: Open) -> None:
    lights = {f"lamp{index}": f"file = 'lamp{index}.exr'" for index in range(6)}
    for index, name in enumerate(lights):
        write_pass(tmp_path / f"passes/{name}.exr", index + 1)
    library = opened(lights)
    found: dict[str, float] = {}

    def read(name: str) -> None:
        found[name] = float(library.read((name,))[name].planes[0].mean())

    threads = [threading.Thread(target=read, args=(name,)) for name in lights]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert found == {name: index + 1 for index, name in enumerate(lights)}


def test_channels_of_too_few_pixels_are_refused_with_their_name(tmp_path: Path) -> None:
    """Vectors and object numbers are read pixel by pixel; a channel of every other one is none."""
    channels = {f"N.{axis}": (np.zeros((8, 8), np.float32), 1, 1) for axis in "XY"}
    channels["N.Z"] = (np.zeros((4, 4), np.float32), 2, 2)
    path = tmp_path / "normal.exr"
    path.write_bytes(plain_exr(channels, (0, 0, 7, 7)))
    with pytest.raises(PassError, match=r"N\.Z is a subsampled channel"):
        read_vectors(path)
    with pytest.raises(PixelSourceError, match=r"N\.Z is a subsampled channel"):
        read_weights(path, "N.Z")
