"""Bands of rows of a part with many layers, against the same pixels read as a whole.

That whole files are read as the OpenEXR library reads them is held in `test_reading.py`.
"""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import numpy as np
import OpenEXR
import pytest

import evenfall
from evenfall.errors import PassError
from evenfall.passes.header import Selector
from evenfall.passes.image import PixelCensus, join_rows
from evenfall.passes.library import PassLibrary
from evenfall.passes.reading import inspect, read

WIDTH, HEIGHT = 37, 150
LIGHTS = [f"lamp_{number}" for number in range(8)]
CODECS = ("NO", "RLE", "ZIPS", "ZIP", "PIZ", "PXR24", "B44", "B44A", "DWAA", "DWAB")


def layers(height: int = HEIGHT, width: int = WIDTH) -> dict[str, np.ndarray]:
    rng = np.random.default_rng(4)
    return {
        f"{light}.{channel}": rng.random((height, width)).astype(np.float16)
        for light in LIGHTS
        for channel in "RGBA"
    }


def write(path: Path, channels: dict[str, np.ndarray], **header: object) -> Path:
    start = {"type": OpenEXR.scanlineimage, "compression": OpenEXR.ZIP_COMPRESSION}
    OpenEXR.File({**start, **header}, channels).write(str(path))
    return path


def library_of(path: Path, repair: str = "", lights: list[str] = LIGHTS) -> PassLibrary:
    text = f'format = 1\n[passes]\nfolder = "."\n{repair}\n'
    for light in lights:
        text += f'[lights.{light}]\nfile = "{path.name}"\nlayer = "{light}"\n'
    recipe = path.with_suffix(".toml")
    recipe.write_text(text + "[moods.night]\n")
    return PassLibrary(evenfall.load(recipe))


def assert_same(path: Path, cuts: list[int]) -> None:
    """Bands between these rows, put together, are what is read as a whole."""
    selectors = [Selector(light) for light in LIGHTS]
    whole = read(path, selectors)
    bands = [read(path, selectors, rows=slice(top, bottom)) for top, bottom in pairwise(cuts)]
    for expected, *parts in zip(whole, *bands, strict=True):
        joined = join_rows(parts)
        for plane, expected_plane in zip(joined.planes, expected.planes, strict=True):
            np.testing.assert_array_equal(plane, expected_plane)
        np.testing.assert_array_equal(joined.alpha, expected.alpha)
        assert joined.census == expected.census


@pytest.mark.parametrize("codec", CODECS)
@pytest.mark.parametrize("cuts", [[0, 1, 16, 33, 149, 150], [0, 64, 150], [0, 150]])
def test_bands_are_the_rows_of_the_whole(tmp_path: Path, codec: str, cuts: list[int]) -> None:
    compression = getattr(OpenEXR, f"{codec}_COMPRESSION")
    assert_same(write(tmp_path / "lamps.exr", layers(), compression=compression), cuts)


@pytest.mark.parametrize(
    "data_window",
    [(0, 0, 36, 149), (-5, -7, 40, 160), (4, 31, 30, 100), (0, 140, 36, 170), (0, 200, 36, 230)],
)
@pytest.mark.parametrize("order", ["INCREASING_Y", "DECREASING_Y"])
def test_stored_rectangles_lie_anywhere(
    tmp_path: Path, data_window: tuple[int, int, int, int], order: str
) -> None:
    left, top, right, bottom = data_window
    path = write(
        tmp_path / "lamps.exr",
        layers(bottom - top + 1, right - left + 1),
        dataWindow=(np.array([left, top], np.int32), np.array([right, bottom], np.int32)),
        displayWindow=(np.array([0, 0], np.int32), np.array([36, 149], np.int32)),
        lineOrder=getattr(OpenEXR, order),
    )
    assert inspect(path)[0].height == HEIGHT
    assert_same(path, [0, 10, 48, 49, 150])


def test_broken_numbers_are_counted_once(tmp_path: Path) -> None:
    channels = layers()
    channels["lamp_3.G"][[5, 20, 149], 7] = np.nan
    path = write(tmp_path / "lamps.exr", channels)
    assert_same(path, [0, 16, 80, 150])
    assert read(path, [Selector("lamp_3")])[0].census == PixelCensus(nan=3, replaced=3)


def test_a_band_takes_no_more_than_a_plain_pass(tmp_path: Path) -> None:
    """Eight lights of four halves, 64 bytes a pixel: ten times a plain pass, in chunks of 16."""
    library = library_of(write(tmp_path / "lamps.exr", layers(640)))
    bands = library.bands(LIGHTS)
    assert bands[0] == slice(0, 48)
    assert [band.start for band in bands[1:]] == [band.stop for band in bands[:-1]]
    assert bands[-1].stop == 640
    assert library.bands(LIGHTS, multiple=5)[0] == slice(0, 80)


@pytest.mark.parametrize(
    "repair", ["repair = { fireflies = true }", 'repair = { non_finite = "neighbours" }']
)
def test_mending_sees_the_whole(tmp_path: Path, repair: str) -> None:
    library = library_of(write(tmp_path / "lamps.exr", layers()), repair)
    assert library.bands(LIGHTS) == [slice(0, HEIGHT)]


def test_few_layers_and_tiles_are_read_as_a_whole(tmp_path: Path) -> None:
    few = {name: plane for name, plane in layers().items() if name[:6] in ("lamp_0", "lamp_1")}
    library = library_of(write(tmp_path / "few.exr", few), lights=LIGHTS[:2])
    assert library.bands(LIGHTS[:2]) == [slice(0, HEIGHT)]
    tiles = OpenEXR.TileDescription()
    tiles.xSize = tiles.ySize = 16
    path = write(tmp_path / "tiles.exr", layers(), type=OpenEXR.tiledimage, tiles=tiles)
    assert inspect(path)[0].row_bytes == 0
    assert library_of(path).bands(LIGHTS) == [slice(0, HEIGHT)]


def test_a_damaged_chunk_is_found_in_its_band(tmp_path: Path) -> None:
    path = write(tmp_path / "lamps.exr", layers())
    data = bytearray(path.read_bytes())
    data[-40:-20] = bytes(20)  # inside the last chunk
    path.write_bytes(data)
    library = library_of(path)
    assert library.read(tuple(LIGHTS), slice(0, 32)).keys() == set(LIGHTS)
    with pytest.raises(PassError, match="cannot be decoded"):
        library.read(tuple(LIGHTS), slice(128, 150))
