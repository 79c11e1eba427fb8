"""Differences of pictures: colours worked by hand, and every kind of file."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from evenfall.compare.pictures import compare_pictures
from evenfall.deliver.avif import encode_avif
from evenfall.deliver.exr import encode_exr
from evenfall.deliver.jpeg import encode_jpeg
from evenfall.deliver.png import encode_png
from evenfall.deliver.tiff import encode_tiff
from evenfall.deliver.webp import encode_webp
from evenfall.errors import PixelSourceError, UsageError
from evenfall.light.primaries import BT709

ONE_CODE = 1.0  # CIEDE2000 that a whole code of 8 bits, or of the JPEG grid, may be off

Codes = np.ndarray
Write = Callable[[str, Codes], Path]


def write_png(path: Path, codes: Codes) -> Path:
    path.write_bytes(encode_png(codes))
    return path


def grey(code: int, height: int = 8, width: int = 12) -> Codes:
    return np.full((height, width, 3), code, np.uint8)


def test_equal_pictures(tmp_path: Path) -> None:
    codes = np.random.default_rng(2).integers(0, 255, (40, 60, 3), np.uint8)
    one = write_png(tmp_path / "a.png", codes)
    (tmp_path / "b.tif").write_bytes(encode_tiff(codes))
    found = compare_pictures(one, tmp_path / "b.tif")
    assert found.is_equal
    assert found.largest < 2e-3  # one profile is in words, the other in 16-bit fractions
    assert compare_pictures(one, one).largest == 0


def test_figures_by_hand(tmp_path: Path) -> None:
    """A quarter goes from sRGB 118 to 128: L* 49.637 to 53.585, S_L 1.0082, 3.948 / S_L = 3.916."""
    after = grey(118)
    after[4:, 6:] = 128
    found = compare_pictures(
        write_png(tmp_path / "a.png", grey(118)), write_png(tmp_path / "b.png", after)
    )
    assert found.largest == pytest.approx(3.916, abs=0.002)
    assert found.mean == pytest.approx(found.largest / 4, rel=1e-4)
    assert found.percentile_95 == pytest.approx(found.largest, rel=1e-4)
    assert found.seen_share == 0.25
    assert found.largest_at[0] > 0.5
    assert found.largest_at[1] > 0.5


def test_pictures_are_averaged_in_linear_light(tmp_path: Path) -> None:
    """Black and white lines, brought down, are as bright as code 188, and not as 128."""
    lines = np.zeros((64, 3200, 3), np.uint8)
    lines[:, ::2] = 255
    found = compare_pictures(
        write_png(tmp_path / "lines.png", lines),
        write_png(tmp_path / "even.png", grey(188, 64, 3200)),
    )
    assert found.size == (1600, 32)
    assert found.largest < 0.2
    whole = compare_pictures(tmp_path / "lines.png", tmp_path / "even.png", width=None)
    assert whole.size == (3200, 64)
    assert whole.largest > 20


def test_a_smaller_picture_of_the_same_shape(tmp_path: Path) -> None:
    found = compare_pictures(
        write_png(tmp_path / "a.png", grey(118, 90, 160)),
        write_png(tmp_path / "b.png", grey(118, 45, 80)),
    )
    assert found.is_equal
    assert found.size == (80, 45)


def test_another_shape_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match=r"12 x 8 pixels, and .*b.png has 8 x 8"):
        compare_pictures(
            write_png(tmp_path / "a.png", grey(118)), write_png(tmp_path / "b.png", grey(118, 8, 8))
        )


def test_profiles_are_read(tmp_path: Path) -> None:
    """The same grey is another code in Adobe RGB, and the same colour."""
    (tmp_path / "adobe.tif").write_bytes(
        encode_tiff(grey(119), space="Adobe RGB (1998) compatible")
    )
    found = compare_pictures(write_png(tmp_path / "a.png", grey(118)), tmp_path / "adobe.tif")
    assert found.largest < ONE_CODE


def test_every_kind_that_is_delivered(tmp_path: Path) -> None:
    codes = grey(118, 64, 64)
    linear = np.full((3, 64, 64), ((118 / 255 + 0.055) / 1.055) ** 2.4, np.float32)
    files = {
        "a.jpg": encode_jpeg(codes),
        "a.tif": encode_tiff(codes),
        "a.webp": encode_webp(codes, lossless=True),
        "a.avif": encode_avif(linear, primaries=BT709, quality=100),
        "a12.avif": encode_avif(linear, primaries=BT709, bits=12, quality=100),
        "a.exr": encode_exr(linear).data,
    }
    reference = write_png(tmp_path / "a.png", codes)
    for name, data in files.items():
        (tmp_path / name).write_bytes(data)
        assert compare_pictures(reference, tmp_path / name).largest < ONE_CODE, name


@pytest.mark.parametrize(
    ("name", "data", "said"),
    [
        ("b.png", b"", "is empty"),
        ("b.png", b"\x89PNG\r\n\x1a\nhalf", "damaged or cut short"),
        ("b.avif", b"\0\0\0\x1cftypavifjunk", "does not say how its colours are encoded"),
        ("b.txt", b"hello", "b.txt"),
    ],
)
def test_what_is_no_picture_is_told_of(tmp_path: Path, name: str, data: bytes, said: str) -> None:
    one = write_png(tmp_path / "a.png", grey(118))
    (tmp_path / name).write_bytes(data)
    with pytest.raises(PixelSourceError, match=said):
        compare_pictures(one, tmp_path / name)
    with pytest.raises(PixelSourceError, match="there is no such file"):
        compare_pictures(tmp_path / "missing.png", one)
