"""Every format read back by a decoder that did not write it."""

from __future__ import annotations

import dataclasses
import io
import struct
import sys
import zlib
from pathlib import Path

import numpy as np
import OpenImageIO
import pytest
import tifffile
from PIL import Image

from evenfall.deliver.exr import encode_exr, to_half
from evenfall.deliver.jpeg import encode_jpeg
from evenfall.deliver.png import encode_png
from evenfall.deliver.provenance import Provenance
from evenfall.deliver.tiff import encode_tiff
from evenfall.errors import OutputError
from evenfall.light.primaries import ACESCG
from evenfall.passes.side.segments import png_chunks

RECORD = Provenance(
    "villa.toml", "format = 1\n", "dusk", {"sun": "sha256:0a"}, "1.2",
    title="Haus am Hang", author="A. Author", copyright="© 2026 A. Author",
)  # fmt: skip


def codes(bits: int = 8, channels: int = 3, height: int = 37, width: int = 53) -> np.ndarray:
    dtype = np.uint8 if bits == 8 else np.uint16
    return np.random.default_rng(bits).integers(0, 2**bits, (height, width, channels), dtype)


def through_openimageio(tmp_path: Path, name: str, data: bytes) -> OpenImageIO.ImageBuf:
    path = tmp_path / name
    path.write_bytes(data)
    opened = OpenImageIO.ImageBuf(str(path))
    assert opened.read(0, 0, True, opened.spec().format), opened.geterror()
    return opened


@pytest.mark.parametrize("bits", [8, 16])
@pytest.mark.parametrize("channels", [3, 4])
@pytest.mark.parametrize("encode", [encode_png, encode_tiff])
def test_codes_come_back_exactly(tmp_path: Path, encode, bits: int, channels: int) -> None:
    pixels = codes(bits, channels)
    if channels == 4:
        pixels[..., 3] = 2**bits - 1  # OpenImageIO multiplies colour by alpha
    ending = "png" if encode is encode_png else "tif"
    opened = through_openimageio(tmp_path, f"a.{ending}", encode(pixels, provenance=RECORD))
    kind = OpenImageIO.UINT8 if bits == 8 else OpenImageIO.UINT16
    np.testing.assert_array_equal(opened.get_pixels(kind), pixels)


def test_strided_pixels_are_not_scrambled() -> None:
    pixels = codes()[::-1, ::2]
    with Image.open(io.BytesIO(encode_png(pixels))) as opened:
        np.testing.assert_array_equal(np.asarray(opened), pixels)
    tiff = tifffile.imread(io.BytesIO(encode_tiff(pixels)))
    np.testing.assert_array_equal(tiff, pixels)


def test_png_chunks_are_in_order_and_sound() -> None:
    """PNG Third Edition, 5.6: colour chunks before IDAT; each CRC covers type and data."""
    data = encode_png(codes(), space="Display P3", provenance=RECORD, dpi=300)
    names = [name.decode() for name, _ in png_chunks(data)]
    assert names[0] == "IHDR"
    assert names[-1] == "IEND"
    assert max(names.index(n) for n in ("cICP", "iCCP", "gAMA", "cHRM", "pHYs", "eXIf")) < (
        names.index("IDAT")
    )
    found = dict(png_chunks(data))
    assert found[b"cICP"] == bytes([12, 13, 0, 1])  # 4.3 and ITU-T H.273: Display P3
    assert struct.unpack(">I", found[b"gAMA"]) == (45455,)
    # cHRM: white, red, green, blue times 100,000
    assert struct.unpack(">8I", found[b"cHRM"]) == (
        31270, 32900, 68000, 32000, 26500, 69000, 15000, 6000,
    )  # fmt: skip
    place = 8
    for name, body in png_chunks(data):
        crc = struct.unpack_from(">I", data, place + 8 + len(body))[0]
        assert crc == zlib.crc32(name + body)
        place += 12 + len(body)
    assert place == len(data)


@pytest.mark.parametrize("encode", [encode_png, encode_jpeg, encode_tiff])
def test_print_resolution_and_people(tmp_path: Path, encode) -> None:
    with Image.open(io.BytesIO(encode(codes(), provenance=RECORD, dpi=300))) as opened:
        assert opened.info["dpi"] == pytest.approx((300, 300), abs=0.01)
        exif = opened.getexif()
        assert exif[0x013B] == "A. Author"
        assert exif[0x0131] == "evenfall 1.2"
        assert exif[0x8298].encode("latin-1").decode() in ("© 2026 A. Author", RECORD.copyright)
    ending = {encode_png: "png", encode_jpeg: "jpg", encode_tiff: "tif"}[encode]
    spec = through_openimageio(tmp_path, f"a.{ending}", encode(codes(), provenance=RECORD)).spec()
    assert spec.get_string_attribute("Artist") or spec.get_string_attribute("Author")


@pytest.mark.parametrize(("space", "said"), [("sRGB", 1), ("Display P3", 65535)])
def test_exif_colour_space(space: str, said: int) -> None:
    with Image.open(io.BytesIO(encode_jpeg(codes(), space=space, dpi=72))) as opened:
        assert opened.getexif().get_ifd(0x8769)[0xA001] == said


def smooth(height: int = 120, width: int = 160) -> np.ndarray:
    y, x = np.mgrid[0:height, 0:width]
    return np.stack([x, y * 2, 255 - x], axis=-1).clip(0, 255).astype(np.uint8)


def test_jpeg_keeps_colour_at_full_resolution_when_quality_is_high() -> None:
    for quality, layers in ((92, (1, 1)), (70, (2, 2))):
        with Image.open(io.BytesIO(encode_jpeg(smooth(), quality=quality))) as opened:
            _, horizontal, vertical, _ = opened.layer[0]
            assert (horizontal, vertical) == layers
            error = np.abs(np.asarray(opened).astype(int) - smooth())
        assert error.mean() < 2.5


@pytest.mark.parametrize("limit", [10, 20, 40])
def test_jpeg_for_mail_is_the_best_that_fits(limit: int) -> None:
    pixels = np.clip(
        smooth(400, 600) + np.random.default_rng(1).normal(0, 6, (400, 600, 3)), 0, 255
    )
    pixels = pixels.astype(np.uint8)
    data = encode_jpeg(pixels, quality=95, max_kilobytes=limit, provenance=RECORD)
    assert 0.8 * limit * 1000 < len(data) <= limit * 1000
    with Image.open(io.BytesIO(data)) as opened:
        assert opened.info["progressive"]
        assert opened.info["icc_profile"]


def test_jpeg_that_cannot_fit_says_so() -> None:
    noise = np.random.default_rng(2).integers(0, 255, (600, 800, 3), np.uint8)
    with pytest.raises(
        OutputError, match=r"no JPEG of this picture fits into 10 kB .*width or crop"
    ):
        encode_jpeg(noise, max_kilobytes=10)


def test_small_picture_keeps_the_quality_asked_for() -> None:
    data = encode_jpeg(smooth(40, 40), quality=90, max_kilobytes=500)
    with Image.open(io.BytesIO(data)) as opened:
        assert opened.quantization[0][0] <= 4  # quality 90 divides the first step of 16 by 5


def test_exr_is_what_openimageio_reads(tmp_path: Path) -> None:
    rng = np.random.default_rng(3)
    planes = (rng.normal(0, 1, (3, 41, 67)) * 10.0 ** rng.integers(-6, 6, (3, 41, 67))).astype("f4")
    alpha = rng.random((41, 67), np.float32)
    encoded = encode_exr(
        planes, alpha, bits=32, chromaticities=ACESCG.chromaticities, white_luminance=250.0,
        provenance=RECORD,
    )  # fmt: skip
    assert encoded.clamped == 0
    opened = through_openimageio(tmp_path, "a.exr", encoded.data)
    expected = np.concatenate([np.moveaxis(planes, 0, -1), alpha[..., None]], axis=2)
    np.testing.assert_array_equal(opened.get_pixels(OpenImageIO.FLOAT), expected)
    spec = opened.spec()
    assert spec.channelnames == ("R", "G", "B", "A")
    np.testing.assert_allclose(
        spec.getattribute("chromaticities"), ACESCG.chromaticities, atol=1e-7
    )
    assert spec.get_float_attribute("whiteLuminance") == 250.0
    assert spec.get_string_attribute("evenfallRecord") == RECORD.to_json()


def test_half_exr_keeps_negatives_and_brings_huge_values_into_range(tmp_path: Path) -> None:
    values = np.array([-2.5, 0.18, 65504, 65510, 1e9, np.inf, -np.inf, 6e-8], np.float32)
    encoded = encode_exr(np.tile(values, (3, 1, 1)))
    assert encoded.clamped == 3 * 4
    opened = through_openimageio(tmp_path, "a.exr", encoded.data)
    assert opened.spec().format == OpenImageIO.HALF
    found = opened.get_pixels(OpenImageIO.FLOAT)[0, :, 0]
    # IEEE 754 binary16: 11 bits of significand, smallest step 2^-24
    expected = [-2.5, 0.1800537, 65504, 65504, 65504, 65504, -65504, 2.0**-24]
    np.testing.assert_allclose(found, expected, rtol=1e-7)


def test_half_of_strided_and_empty_planes() -> None:
    plane = np.arange(12, dtype=np.float32).reshape(3, 4)
    encoded = encode_exr(np.stack([plane.T[::-1].T] * 3))
    assert encoded.clamped == 0
    half, clamped = to_half(np.array([[np.nan, 1e6]], np.float32))
    assert clamped == 1
    assert np.isnan(half[0, 0])


def test_bytes_are_the_same_every_time() -> None:
    for encode in (encode_png, encode_jpeg, encode_tiff):
        first = encode(codes(), provenance=RECORD, dpi=150)
        assert encode(codes(), provenance=RECORD, dpi=150) == first
    planes = np.ones((3, 4, 4), np.float32)
    assert encode_exr(planes, provenance=RECORD).data == encode_exr(planes, provenance=RECORD).data


def test_tiff_says_how_it_is_stored() -> None:
    record = dataclasses.replace(RECORD, description="View from the pool")
    with tifffile.TiffFile(io.BytesIO(encode_tiff(codes(16), provenance=record))) as file:
        page = file.pages.first
        assert page.compression.name == "ADOBE_DEFLATE"
        assert page.predictor.name == "HORIZONTAL"
        assert page.description == "View from the pool"
        assert page.bitspersample == 16


def test_a_tiff_is_never_compressed_by_another_library(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where its library fails to load, tifffile takes zlib, and the bytes are others."""

    class Unreadable:
        def find_spec(self, name: str, *_: object) -> None:
            if name == "imagecodecs._deflate":
                raise ImportError("libdeflate.so.0: cannot read file data: Input/output error")

    monkeypatch.delitem(sys.modules, "imagecodecs._deflate", raising=False)
    monkeypatch.setattr(sys, "meta_path", [Unreadable(), *sys.meta_path])
    with pytest.raises(ImportError, match="cannot read file data"):
        encode_tiff(np.zeros((4, 6, 3), np.uint8))
