"""PNG files in bands, against the decoders of libpng, Pillow and zlib, and the rules of PNG."""

from __future__ import annotations

import io
import struct
import zlib
from concurrent.futures import ThreadPoolExecutor

import imagecodecs
import numpy as np
import pytest
from PIL import Image

from evenfall.deliver import png_pixels
from evenfall.deliver.png import encode_png

BANDS = [64, 7, 1 << 20]  # bytes: rows in several bands, rows longer than a band, one band


def chunks(data):
    """Names and bodies of chunks, whose CRC is checked (PNG Third Edition, 5.3)."""
    place = 8
    while place < len(data):
        (length,) = struct.unpack_from(">I", data, place)
        name, body = data[place + 4 : place + 8], data[place + 8 : place + 8 + length]
        (checksum,) = struct.unpack_from(">I", data, place + 8 + length)
        assert checksum == zlib.crc32(name + body)
        yield name, body
        place += 12 + length


def picture(shape, dtype, kind):
    rng = np.random.default_rng(1)
    if kind == "noise":
        return rng.integers(0, np.iinfo(dtype).max + 1, shape, dtype=dtype)
    return np.full(shape, 200, dtype)


@pytest.mark.parametrize("band", BANDS)
@pytest.mark.parametrize("kind", ["noise", "flat"])
@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
@pytest.mark.parametrize("channels", [1, 3, 4])
@pytest.mark.parametrize("size", [(1, 1), (1, 40), (40, 1), (17, 23)])
def test_read_back_by_libpng(monkeypatch, band, kind, dtype, channels, size):
    monkeypatch.setattr(png_pixels, "_BAND_BYTES", band)
    codes = picture(size if channels == 1 else (*size, channels), dtype, kind)
    data = encode_png(codes)
    np.testing.assert_array_equal(imagecodecs.png_decode(data).reshape(codes.shape), codes)
    stream = b"".join(body for name, body in chunks(data) if name == b"IDAT")
    rows = size[0] * (1 + size[1] * channels * codes.itemsize)
    assert len(zlib.decompress(stream)) == rows  # which checks Adler-32 too


@pytest.mark.parametrize("kind", ["noise", "flat"])
def test_read_back_by_pillow(monkeypatch, kind):
    monkeypatch.setattr(png_pixels, "_BAND_BYTES", 1000)
    codes = picture((50, 60, 3), np.uint8, kind)[3:47, 5:]
    with Image.open(io.BytesIO(encode_png(codes))) as opened:
        np.testing.assert_array_equal(np.asarray(opened), codes)


def test_same_bytes_when_threads_share_the_bands(monkeypatch):
    monkeypatch.setattr(png_pixels, "_BAND_BYTES", 1000)
    codes = picture((200, 60, 3), np.uint8, "noise")
    with ThreadPoolExecutor(4) as pool:
        assert encode_png(codes, each=pool.map) == encode_png(codes)


def test_flat_pictures_are_small():
    flat = picture((400, 600, 3), np.uint8, "flat")
    assert len(encode_png(flat)) < flat.nbytes / 100


def test_grey_carries_no_profile_of_colour():
    """PNG Third Edition, 11.3.2.3: the profile of a grey picture is one for grey."""
    names = [name for name, _ in chunks(encode_png(np.zeros((4, 6), np.uint8)))]
    assert b"iCCP" not in names
    assert b"gAMA" in names
