"""What a format's row says of it is what its module does."""

from __future__ import annotations

import io
import struct
from typing import get_args

import imagecodecs
import numpy as np
import pytest
import tifffile
from PIL import Image

from evenfall.deliver.finished import Layers, SceneLinear
from evenfall.deliver.formats import Display, codec, displays
from evenfall.deliver.icc import icc_profile
from evenfall.deliver.png_pixels import Each
from evenfall.deliver.provenance import Provenance
from evenfall.light.primaries import ACESCG
from evenfall.recipe import Deliverable
from evenfall.recipe.formats import FORMATS, FormatName

RECORD = Provenance("villa.toml", "format = 1\n", "dusk", title="Villa")


class Asked:
    """A finished grey picture that notes what is asked of it."""

    each: Each = map
    provenance = RECORD
    dpi = 300.0

    def __init__(self, deliverable: Deliverable) -> None:
        self.deliverable = deliverable
        self.asked: list[str] = []

    def codes(self) -> np.ndarray:
        self.asked.append("display")
        dtype = np.uint8 if self.deliverable.bit_depth == 8 else np.uint16
        return np.full((24, 32, 3), 120, dtype)

    def hdr(self) -> np.ndarray:
        self.asked.append("hdr")
        return np.full((3, 24, 32), 0.5, np.float32)

    def scene_linear(self) -> SceneLinear:
        self.asked.append("scene-linear")
        planes = np.full((3, 24, 32), 70000, np.float32)
        return SceneLinear(planes, None, ACESCG.chromaticities, None)

    def layers(self) -> Layers:
        self.asked.append("layers")
        half = np.full((3, 24, 32), 35000, np.float32)
        return Layers(iter([("sun", half), ("sky", half)]))


STILLS = {name: row for name, row in FORMATS.items() if not row.moves}
KINDS = [(name, bits) for name, row in STILLS.items() for bits in row.bits]


def test_every_name_has_a_row_and_every_row_a_name() -> None:
    assert tuple(FORMATS) == get_args(FormatName)


@pytest.mark.parametrize(("name", "bits"), KINDS)
def test_a_format_keeps_to_its_row(name: FormatName, bits: int) -> None:
    """It asks for the pixels its row names, ends in the signature there, and gives its record."""
    finished = Asked(Deliverable(format=name, bits=bits))
    encoded = codec(name).encode(finished)
    row = FORMATS[name]
    assert sorted(finished.asked) == sorted(row.shows)
    assert any(encoded.data.startswith(sign, place) for place, sign in row.signatures)
    assert codec(name).find_record(encoded.data) == RECORD
    assert set(row.keys) <= set(Deliverable.model_fields)
    assert ("space" in row.keys) == (not row.fixed_space)


def stored_bits(name: FormatName, data: bytes) -> int:
    """Bits per channel as the file itself says, by the standards of the formats."""
    if name == "png":  # PNG Third Edition, 11.2.1: after width and height in IHDR
        return data[24]
    if name == "tiff":
        with tifffile.TiffFile(io.BytesIO(data)) as opened:
            return opened.pages.first.bitspersample
    if name in ("exr", "layered exr"):  # OpenEXR file layout: pixel type 1 is half, 2 is float
        place = data.index(b"chlist\0") + 7 + 4
        return {1: 16, 2: 32}[struct.unpack_from("<i", data, data.index(b"\0", place) + 1)[0]]
    if name == "avif":  # AV1 in ISOBMFF, 2.3.3: twelve bits is 0x20 of the third byte
        return 12 if data[data.index(b"av1C") + 6] & 0x20 else 10
    return 8  # baseline JPEG and WebP know no others


@pytest.mark.parametrize(("name", "bits"), KINDS)
def test_the_bits_that_are_asked_for_are_stored(name: FormatName, bits: int) -> None:
    finished = Asked(Deliverable(format=name, bits=bits))
    assert stored_bits(name, codec(name).encode(finished).data) == bits


class Noise(Asked):
    """A finished picture of noise, which no format makes small without loss."""

    def codes(self) -> np.ndarray:
        return np.random.default_rng(3).integers(0, 256, (64, 96, 3), np.uint8)

    def hdr(self) -> np.ndarray:
        return np.moveaxis(self.codes(), -1, 0).astype(np.float32) / 128


WITH_QUALITY = [name for name, row in STILLS.items() if "quality" in row.keys]


@pytest.mark.parametrize("name", WITH_QUALITY)
def test_quality_reaches_the_file(name: FormatName) -> None:
    sizes = [
        len(codec(name).encode(Noise(Deliverable(format=name, quality=quality))).data)
        for quality in (20, 60, 95)
    ]
    assert sizes[0] < sizes[1] < sizes[2]


def test_a_largest_size_reaches_the_file() -> None:
    asked = Deliverable(format="jpeg", quality=95, max_kilobytes=12)
    assert len(codec("jpeg").encode(Noise(asked)).data) <= 12_000


def test_lossless_reaches_the_file() -> None:
    noise = Noise(Deliverable(format="webp", lossless=True))
    found = imagecodecs.webp_decode(codec("webp").encode(noise).data)
    np.testing.assert_array_equal(found, noise.codes())


WITH_SPACE = [name for name, row in STILLS.items() if "space" in row.keys]


@pytest.mark.parametrize("name", WITH_SPACE)
@pytest.mark.parametrize("space", ["Display P3", "BT.709"])
def test_the_profile_of_the_space_reaches_the_file(name: FormatName, space: str) -> None:
    data = codec(name).encode(Asked(Deliverable(format=name, space=space))).data
    with Image.open(io.BytesIO(data)) as opened:
        assert opened.info["icc_profile"] == icc_profile(space)
        assert opened.getexif()[0x011A] == 300  # XResolution (Exif, tag 282), in inches


@pytest.mark.parametrize("name", ["avif", "gain-map jpeg"])
def test_the_peak_reaches_the_file(name: FormatName) -> None:
    """300 and 1,000 cd/m2 cut the same picture differently: 2 is 406 cd/m2."""
    files = [
        codec(name).encode(Noise(Deliverable(format=name, peak_nits=peak))).data
        for peak in (300, 1000)
    ]
    assert files[0] != files[1]


def test_notes_are_given_for_what_a_file_could_not_hold() -> None:
    """70,000 in three channels of 24 x 32 pixels is beyond binary16, whose largest is 65,504."""
    half = codec("exr").encode(Asked(Deliverable(format="exr", bits=16)))
    whole = codec("exr").encode(Asked(Deliverable(format="exr", bits=32)))
    (note,) = half.notes
    assert note.startswith("2,304 values beyond half range")
    assert whole.notes == ()


def test_displays_that_a_file_is_finished_for() -> None:
    """Diffuse white is 203 cd/m2 in HDR (ITU-R BT.2408): a peak of 812 is four times that."""
    assert displays(Deliverable(format="exr")) == {}
    assert displays(Deliverable(format="layered exr")) == {}
    assert displays(Deliverable(format="avif", peak_nits=812)) == {"hdr": Display("Display P3", 4)}
    assert displays(Deliverable(format="gain-map jpeg", space="BT.709", peak_nits=406)) == {
        "display": Display("BT.709"),
        "hdr": Display("BT.709", 2),
    }
