"""What files say of their colours, against the tables of the standards; for every space."""

from __future__ import annotations

import io
import shutil
import struct
import subprocess
import warnings
from pathlib import Path

import numpy as np
import pytest
import tifffile
from PIL import Image, ImageCms

from evenfall.deliver.avif import encode_avif
from evenfall.deliver.exif import exif_block
from evenfall.deliver.icc import icc_profile
from evenfall.deliver.jpeg import encode_jpeg
from evenfall.deliver.png import encode_png
from evenfall.deliver.provenance import Provenance
from evenfall.deliver.tiff import encode_tiff
from evenfall.light.output_spaces import OUTPUT_SPACES, output_space
from evenfall.light.primaries import BT709
from evenfall.passes.side.segments import png_chunks

with warnings.catch_warnings():  # of optional packages that are not installed
    warnings.simplefilter("ignore")
    import colour

PIXELS = np.full((8, 12, 3), 90, np.uint8)
FIXED = 1 / 65536  # the step of s15Fixed16 (ICC.1:2022, 4.6)

# By the standards: primaries and white xy (ITU-R BT.709-6; SMPTE EG 432-1 with D65; Adobe RGB
# (1998), 2005-05, 4.3.1.1), the parametric curve of ICC.1:2022 table 68 (IEC 61966-2-1 as its type
# 3; pure exponents 2 51/256 and 2.4 as its type 0), the code points of ITU-T H.273 tables 2 to 4,
# and what PNG's gAMA holds: 100,000 over the exponent, and for the sRGB curve 45,455 (PNG Third
# Edition, 11.3.2.5).
D65 = (0.3127, 0.3290)
BT709_XY = ((0.64, 0.33), (0.30, 0.60), (0.15, 0.06))
P3_XY = ((0.680, 0.320), (0.265, 0.690), (0.150, 0.060))
ADOBE_XY = ((0.64, 0.33), (0.21, 0.71), (0.15, 0.06))
SRGB_CURVE = (3, (2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045))
STANDARD = {
    "sRGB": (BT709_XY, SRGB_CURVE, (1, 13, 0, 1), 45455),
    "Display P3": (P3_XY, SRGB_CURVE, (12, 13, 0, 1), 45455),
    "Adobe RGB (1998) compatible": (ADOBE_XY, (0, (2 + 51 / 256,)), None, 45471),
    "BT.709": (BT709_XY, (0, (2.4,)), None, 41667),
}


def test_every_space_is_in_the_table() -> None:
    assert set(STANDARD) == set(OUTPUT_SPACES)


def profile_tags(space: str) -> dict[bytes, bytes]:
    """Tags of a profile by their table (ICC.1:2022, 7.3)."""
    profile = icc_profile(space)
    (count,) = struct.unpack_from(">I", profile, 128)
    entries = [struct.unpack_from(">4sII", profile, 132 + 12 * index) for index in range(count)]
    return {name: profile[offset : offset + size] for name, offset, size in entries}


def fixed(tag: bytes, start: int) -> list[float]:
    return [value / 65536 for value in struct.unpack(f">{(len(tag) - start) // 4}i", tag[start:])]


@pytest.mark.parametrize("space", STANDARD)
@pytest.mark.parametrize("channel", [b"rTRC", b"gTRC", b"bTRC"])
def test_tone_curves_of_profiles(space: str, channel: bytes) -> None:
    kind, parameters = STANDARD[space][1]
    tag = profile_tags(space)[channel]
    assert tag[:4] == b"para"
    assert struct.unpack_from(">H", tag, 8) == (kind,)
    np.testing.assert_allclose(fixed(tag, 12), parameters, rtol=0, atol=FIXED / 2)


@pytest.mark.parametrize("space", STANDARD)
def test_colorants_and_adaptation_of_profiles(space: str) -> None:
    """ICC.1:2022, 9.2.15 and annex E: Bradford's adaptation from the space's white to D50."""
    primaries = STANDARD[space][0]
    d50 = np.array([0.9642, 1.0, 0.8249])
    adaptation = colour.adaptation.matrix_chromatic_adaptation_VonKries(
        colour.xy_to_XYZ(D65), d50, transform="Bradford"
    )
    rgb = adaptation @ colour.normalised_primary_matrix(np.array(primaries), np.array(D65))
    tags = profile_tags(space)
    np.testing.assert_allclose(fixed(tags[b"chad"], 8), adaptation.ravel(), rtol=0, atol=FIXED)
    np.testing.assert_allclose(fixed(tags[b"wtpt"], 8), d50, rtol=0, atol=FIXED)
    for column, name in enumerate((b"rXYZ", b"gXYZ", b"bXYZ")):
        np.testing.assert_allclose(fixed(tags[name], 8), rgb[:, column], rtol=0, atol=FIXED)


@pytest.mark.parametrize("space", STANDARD)
def test_a_colour_management_engine_reads_the_adaptation_and_finds_the_primaries(
    space: str,
) -> None:
    """Little CMS undoes `chad` where a profile is of version 4 and says the primaries as xy."""
    opened = ImageCms.ImageCmsProfile(io.BytesIO(icc_profile(space))).profile
    assert opened.chromatic_adaptation is not None
    undo = np.linalg.inv(np.array(opened.chromatic_adaptation[0]))
    for name, xy in zip(("red", "green", "blue"), STANDARD[space][0], strict=True):
        xyz = undo @ np.array(getattr(opened, f"{name}_colorant")[0])
        np.testing.assert_allclose(xyz[:2] / xyz.sum(), xy, rtol=0, atol=2e-4)


@pytest.mark.parametrize("space", STANDARD)
def test_png_says_its_colours(space: str) -> None:
    primaries, _, code_points, gamma = STANDARD[space]
    chunks = dict(png_chunks(encode_png(PIXELS, space=space)))
    if code_points is None:
        assert b"cICP" not in chunks
    else:
        assert tuple(chunks[b"cICP"]) == code_points
    assert struct.unpack(">I", chunks[b"gAMA"]) == (gamma,)
    said = np.array(struct.unpack(">8I", chunks[b"cHRM"])) / 100000
    np.testing.assert_allclose(said, np.ravel((D65, *primaries)), rtol=0, atol=1e-9)


def box(data: bytes, *path: bytes) -> bytes:
    """Contents of a box of ISO/IEC 14496-12, found by its names from the outside in."""
    for name in path:
        data = data[data.index(name) + 4 :]
    return data


def test_avif_says_its_colours() -> None:
    """ITU-T H.273: primaries 9 and matrix 9 are BT.2020, transfer 16 is PQ; full range.

    ISO/IEC 14496-12, 12.1.5: a `colr` box of kind `nclx`; the range is its highest bit.
    """
    data = encode_avif(np.ones((3, 16, 16), np.float32), primaries=BT709)
    said = box(data, b"colr", b"nclx")
    assert struct.unpack_from(">HHHB", said) == (9, 16, 9, 0x80)


@pytest.mark.parametrize("bits", [10, 12])
def test_avif_says_its_bits_and_keeps_colour_whole(bits: int) -> None:
    """AV1 in ISOBMFF, 2.3.3: high bit depth 0x40, twelve bits 0x20; both subsamplings 0: 4:4:4."""
    data = encode_avif(np.ones((3, 16, 16), np.float32), primaries=BT709, bits=bits)
    flags = box(data, b"av1C")[2]
    assert bool(flags & 0x40)
    assert bool(flags & 0x20) == (bits == 12)
    assert not flags & 0b1100


def test_avif_says_its_light_level_in_nits() -> None:
    """1 is 203 cd/m2 (ITU-R BT.2408): half the picture at 2 is 406 at most, and 304.5 in the mean.

    ISO/IEC 14496-12, 12.1.6: largest and mean content light level as two 16-bit numbers.
    """
    light = np.ones((3, 16, 16), np.float32)
    light[:, 8:] = 2
    data = encode_avif(light, primaries=BT709)
    largest, mean = struct.unpack_from(">HH", box(data, b"clli"))
    assert largest == 406
    assert mean in (304, 305)


@pytest.mark.parametrize("bits", [8, 16])
def test_tiff_alpha_is_not_multiplied_in(bits: int) -> None:
    """TIFF 6.0, section 18: ExtraSamples (338) 2 is unassociated alpha."""
    pixels = np.full((8, 12, 4), 90, np.uint8 if bits == 8 else np.uint16)
    with tifffile.TiffFile(io.BytesIO(encode_tiff(pixels))) as opened:
        tags = opened.pages.first.tags
        assert tags[338].value == (2,)
        assert tags[258].value == (bits,) * 4
        assert tags[262].value == 2  # RGB
        assert tags[259].value == 8  # Adobe's deflate
        assert tags[317].value == 2  # horizontal differencing


RECORD = Provenance(
    "villa.toml", "", "dusk", version="1.2",
    title="Haus am Hang", author="A. Author", copyright="© 2026 A. Author",
)  # fmt: skip


@pytest.mark.parametrize(("space", "colour_space"), [("sRGB", 1), ("Display P3", 65535)])
def test_exif_fields_as_pillow_reads_them(space: str, colour_space: int) -> None:
    """CIPA DC-008 (Exif), tables of tags; ColorSpace 1 is sRGB, 65535 is uncalibrated."""
    exif = Image.Exif()
    exif.load(b"Exif\0\0" + exif_block(RECORD, space=space, dpi=254.0))
    said = {tag: exif[tag] for tag in (0x010E, 0x0131, 0x013B, 0x011A, 0x011B, 0x0128)}
    assert said == {
        0x010E: "Haus am Hang",
        0x0131: "evenfall 1.2",
        0x013B: "A. Author",
        0x011A: 254.0,
        0x011B: 254.0,
        0x0128: 2,  # inches
    }
    inner = exif.get_ifd(0x8769)
    assert inner[0x9000] == b"0232"
    assert inner[0xA001] == colour_space


# What CIPA DC-008 (Exif), table 22, makes mandatory in a compressed picture.
MANDATORY_OUTER = {0x011A: 72.0, 0x011B: 72.0, 0x0128: 2, 0x0213: 1}
MANDATORY_INNER = {0x9101: b"\1\2\3\0", 0xA000: b"0100", 0xA002: 12, 0xA003: 8, 0xA001: 1}


@pytest.mark.parametrize("kilobytes", [None, 40])
def test_jpeg_has_every_field_that_exif_makes_mandatory(kilobytes: int | None) -> None:
    """72 stands for a resolution that is not known; 1 2 3 0 for Y, Cb, Cr; 1 for centred."""
    data = encode_jpeg(PIXELS, provenance=RECORD, space="sRGB", max_kilobytes=kilobytes)
    with Image.open(io.BytesIO(data)) as opened:
        exif = opened.getexif()
        inner = exif.get_ifd(0x8769)
    assert {tag: exif[tag] for tag in MANDATORY_OUTER} == MANDATORY_OUTER
    assert {tag: inner[tag] for tag in MANDATORY_INNER} == MANDATORY_INNER
    assert inner[0x9000] == b"0232"


@pytest.mark.parametrize("dpi", [None, 300.0])
def test_jpeg_passes_a_strict_validator(dpi: float | None, tmp_path: Path) -> None:
    tool = shutil.which("exiftool")
    if tool is None:
        pytest.skip("exiftool is not installed")
    path = tmp_path / "picture.jpg"
    path.write_bytes(encode_jpeg(PIXELS, provenance=RECORD, space="Display P3", dpi=dpi))
    command = [tool, "-validate", "-warning", "-error", "-a", "-s3", str(path)]
    told = subprocess.run(command, capture_output=True, text=True, check=True).stdout
    assert told.split() == ["OK"]


def test_resolution_in_the_units_of_each_format() -> None:
    """254 pixels an inch of 25.4 mm are 10,000 a metre (PNG Third Edition, 11.3.4.3)."""
    chunks = dict(png_chunks(encode_png(PIXELS, dpi=254)))
    assert struct.unpack(">IIB", chunks[b"pHYs"]) == (10000, 10000, 1)
    with Image.open(io.BytesIO(encode_jpeg(PIXELS, dpi=254))) as opened:
        assert opened.info["jfif_density"] == (254, 254)
        assert opened.info["jfif_unit"] == 1  # pixels an inch (ITU-T T.871, 10.1)
    with tifffile.TiffFile(io.BytesIO(encode_tiff(PIXELS, dpi=254))) as opened:
        tags = opened.pages.first.tags
        assert [tags[282].value, tags[283].value, int(tags[296].value)] == [(254, 1), (254, 1), 2]


@pytest.mark.parametrize("space", STANDARD)
def test_space_of_a_name_is_one_home(space: str) -> None:
    described = output_space(space)
    assert (described.rgb.red, described.rgb.green, described.rgb.blue) == STANDARD[space][0]
    assert described.curve.parametric[0] == STANDARD[space][1][0]
