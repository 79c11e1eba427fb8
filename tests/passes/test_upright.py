"""Orientation tags, against Pillow's own way of turning pictures upright."""

from __future__ import annotations

import io
import logging
from pathlib import Path

import numpy as np
import pytest
import tifffile
from PIL import Image, ImageOps

from evenfall.passes.reading import read
from evenfall.passes.upright import is_transposed, upright

CODES = np.random.default_rng(5).integers(0, 256, (5, 7, 3), np.uint8)


def by_pillow(orientation: int) -> np.ndarray:
    stream = io.BytesIO()
    exif = Image.Exif()
    exif[0x0112] = orientation
    Image.fromarray(CODES).save(stream, "PNG", exif=exif)
    with Image.open(stream) as opened:
        return np.asarray(ImageOps.exif_transpose(opened))


@pytest.mark.parametrize("orientation", range(1, 9))
def test_turned_as_pillow_turns(orientation: int) -> None:
    expected = by_pillow(orientation)
    found = upright(CODES, orientation)
    np.testing.assert_array_equal(found, expected)
    np.testing.assert_array_equal(upright(CODES[..., 0], orientation), expected[..., 0])
    assert is_transposed(orientation) == (expected.shape[0] == 7)
    assert found.flags.c_contiguous


@pytest.mark.parametrize("orientation", [0, 9, -1])
def test_numbers_that_are_no_orientation_change_nothing(orientation: int) -> None:
    assert upright(CODES, orientation) is CODES
    assert not is_transposed(orientation)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_a_float_tiff_is_turned_too(tmp_path: Path, orientation: int) -> None:
    path = tmp_path / "sun.tif"
    tag = (274, "H", 1, orientation, True)
    tifffile.imwrite(path, CODES.astype(np.float32), photometric="rgb", extratags=[tag])
    (image,) = read(path)
    np.testing.assert_array_equal(image.rgb(), by_pillow(orientation).astype(np.float32))


def test_reading_many_files_leaves_nothing_behind(tmp_path: Path) -> None:
    path = tmp_path / "sun.tif"
    tifffile.imwrite(path, CODES.astype(np.float32), photometric="rgb")
    read(path)
    before = list(logging.getLogger("tifffile").handlers)
    for _ in range(3):
        read(path)
    assert logging.getLogger("tifffile").handlers == before
