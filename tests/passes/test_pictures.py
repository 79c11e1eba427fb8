"""Plates, overlays, masks and object numbers, against Pillow, Little CMS and OpenImageIO."""

from __future__ import annotations

import contextlib
import io
import struct
import sys
import zlib
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import OpenEXR
import OpenImageIO
import pytest
import tifffile
from PIL import Image, ImageCms, ImageOps

from evenfall.deliver.exr import encode_exr
from evenfall.deliver.icc import icc_profile
from evenfall.deliver.jpeg import encode_jpeg
from evenfall.deliver.png import encode_png
from evenfall.deliver.tiff import encode_tiff
from evenfall.errors import PixelSourceError
from evenfall.light.primaries import ADOBE_RGB, BT709, DISPLAY_P3, conversion_matrix
from evenfall.passes.side.pictures import read_object_ids, read_picture, read_weights
from evenfall.passes.side.profiles import parse_profile

# IEC 61966-2-1 applied by hand to codes 118, 127, 128 of 8 bits, as handbooks print them.
SRGB_CODES = {0: 0.0, 118: 0.1811642, 127: 0.2122308, 128: 0.2158605, 255: 1.0}
EXACT = 2e-7  # float32 rounding of values up to 1


def codes(height: int = 12, width: int = 20, bits: int = 8, channels: int = 3) -> np.ndarray:
    dtype = np.uint8 if bits == 8 else np.uint16
    return np.random.default_rng(bits).integers(0, 2**bits, (height, width, channels), dtype)


def srgb_row(path: Path) -> None:
    row = np.array([list(SRGB_CODES)], np.uint8)[..., None].repeat(3, axis=2)
    Image.fromarray(row).save(path)


def save(path: Path, data: bytes) -> Path:
    path.write_bytes(data)
    return path


def test_codes_without_profile_are_srgb(tmp_path: Path) -> None:
    srgb_row(tmp_path / "row.png")
    picture = read_picture(tmp_path / "row.png")
    np.testing.assert_allclose(picture.rgb[0, :, 1], list(SRGB_CODES.values()), atol=EXACT)
    assert picture.space == BT709.chromaticities
    assert picture.alpha is None


def test_encoding_linear_takes_codes_as_light(tmp_path: Path) -> None:
    srgb_row(tmp_path / "row.png")
    picture = read_picture(tmp_path / "row.png", "linear")
    np.testing.assert_allclose(picture.rgb[0, :, 0] * 255, list(SRGB_CODES), atol=1e-4)


@pytest.mark.parametrize("bits", [8, 16])
@pytest.mark.parametrize("channels", [1, 2, 3, 4])
def test_png_of_every_kind_keeps_its_codes(tmp_path: Path, bits: int, channels: int) -> None:
    import imagecodecs

    stored = codes(bits=bits, channels=channels)
    flat = stored[..., 0] if channels == 1 else stored
    save(tmp_path / "a.png", imagecodecs.png_encode(flat))
    picture = read_picture(tmp_path / "a.png", "linear")
    top = 2**bits - 1
    colours = stored[..., :3] if channels > 2 else stored[..., :1].repeat(3, axis=2)
    np.testing.assert_array_equal(np.rint(picture.rgb * top), colours)
    if channels in (2, 4):
        np.testing.assert_array_equal(np.rint(picture.alpha * top), stored[..., -1])
        assert not picture.premultiplied
    else:
        assert picture.alpha is None


def test_palette_key_colour_and_one_bit_agree_with_pillow(tmp_path: Path) -> None:
    palette = Image.fromarray(codes()).quantize(16)
    palette.save(tmp_path / "palette.png", transparency=3)
    expected = np.asarray(palette.convert("RGB"))
    picture = read_picture(tmp_path / "palette.png", "linear")
    np.testing.assert_array_equal(np.rint(picture.rgb * 255), expected)
    np.testing.assert_array_equal(picture.alpha == 0, np.asarray(palette) == 3)
    bitmap = Image.fromarray(codes()[..., 0] > 99)
    bitmap.save(tmp_path / "bitmap.png")
    weights = read_weights(tmp_path / "bitmap.png")
    np.testing.assert_array_equal(weights, np.asarray(bitmap).astype(np.float32))
    keyed = Image.fromarray(codes())
    keyed.save(tmp_path / "keyed.png", transparency=tuple(int(v) for v in codes()[3, 4]))
    assert read_picture(tmp_path / "keyed.png").alpha[3, 4] == 0


def test_jpeg_is_decoded_and_turned_upright(tmp_path: Path) -> None:
    ramp = np.linspace(20, 230, 64 * 32).reshape(32, 64).astype(np.uint8)
    exif = Image.Exif()
    for orientation in range(1, 9):
        exif[0x0112] = orientation
        path = tmp_path / f"{orientation}.jpg"
        Image.fromarray(ramp).convert("RGB").save(path, quality=100, subsampling=0, exif=exif)
        with Image.open(path) as opened:
            expected = np.asarray(ImageOps.exif_transpose(opened))
        picture = read_picture(path, "linear")
        assert picture.rgb.shape == expected.shape
        assert np.abs(picture.rgb * 255 - expected).max() <= 1.001  # decoders round differently


@pytest.mark.parametrize("bits", [8, 16])
@pytest.mark.parametrize("photometric", ["minisblack", "miniswhite", "rgb"])
@pytest.mark.parametrize("planar", [False, True])
def test_tiff_of_codes(tmp_path: Path, bits: int, photometric: str, planar: bool) -> None:
    stored = codes(bits=bits)
    path = tmp_path / "a.tif"
    if photometric == "rgb":
        pixels = np.moveaxis(stored, -1, 0) if planar else stored
        tifffile.imwrite(path, pixels, photometric="rgb",
                         planarconfig="separate" if planar else "contig")  # fmt: skip
        expected = stored
    else:
        tifffile.imwrite(path, stored[..., 0], photometric=photometric)
        top = 2**bits - 1
        grey = stored[..., :1] if photometric == "minisblack" else top - stored[..., :1]
        expected = grey.repeat(3, axis=2)
    picture = read_picture(path, "linear")
    np.testing.assert_array_equal(np.rint(picture.rgb * (2**bits - 1)), expected)


@pytest.mark.parametrize("bits", [32, 64])
@pytest.mark.parametrize("alpha", [None, "unassalpha", "assocalpha"])
def test_tiff_of_deep_codes_is_scaled(tmp_path: Path, bits: int, alpha: str | None) -> None:
    """The same shares of the largest code in 16 bits and in more give the same light."""
    straight = codes(bits=16, channels=3)
    cover = np.full((*straight.shape[:2], 1), 40000, np.uint16)
    seen = straight.copy()
    if alpha == "assocalpha":
        seen = (straight * (cover / 65535)).round().astype(np.uint16)
    shallow = seen if alpha is None else np.concatenate([seen, cover], axis=-1)
    deep = shallow.astype(f"u{bits // 8}") * ((2**bits - 1) // 65535)
    options = {} if alpha is None else {"extrasamples": [alpha]}
    for name, pixels in (("shallow.tif", shallow), ("deep.tif", deep)):
        tifffile.imwrite(tmp_path / name, pixels, photometric="rgb", **options)
    expected, found = (read_picture(tmp_path / f"{name}.tif") for name in ("shallow", "deep"))
    # Divided by alpha, 16 bits are rounded to whole codes and more are not.
    atol = 2.0 / 65535 if alpha == "assocalpha" else 1e-6
    np.testing.assert_allclose(found.rgb, expected.rgb, atol=atol)
    if alpha is not None:
        np.testing.assert_allclose(found.alpha, expected.alpha, atol=1e-6)


@pytest.mark.parametrize("bits", [32, 64])
def test_deep_masks_and_object_numbers(tmp_path: Path, bits: int) -> None:
    top = 2**bits - 1
    tifffile.imwrite(tmp_path / "mask.tif", np.array([[0, top // 2, top]], f"u{bits // 8}"))
    assert read_weights(tmp_path / "mask.tif").tolist() == [[0, 0.5, 1]]
    numbers = np.array([[0, 7, 2**31]], f"u{bits // 8}")
    tifffile.imwrite(tmp_path / "ids.tif", numbers)
    assert read_object_ids(tmp_path / "ids.tif").tolist() == numbers.tolist()
    if bits == 64:
        with pytest.raises(PixelSourceError, match=r"pixel 1, 0: value 9\.22337e\+18; expected"):
            read_object_ids(tmp_path / "mask.tif")


def test_palette_that_is_too_short(tmp_path: Path) -> None:
    palette = np.arange(3 * 256, dtype=np.uint16).reshape(3, 256)
    numbers = np.arange(60, dtype=np.uint8).reshape(6, 10)
    path = tmp_path / "plate.tif"
    tifffile.imwrite(path, numbers, photometric="palette", colormap=palette)
    assert read_picture(path).rgb.shape == (6, 10, 3)
    # The entry of tag 320 (ColorMap): kind 3 (SHORT), then the count of values.
    sound = path.read_bytes()
    at = sound.index(struct.pack("<HHI", 320, 3, 3 * 256))
    path.write_bytes(sound[: at + 4] + struct.pack("<I", 3 * 32) + sound[at + 8 :])
    with pytest.raises(PixelSourceError, match="a palette of 32 colours, and pixels that ask for"):
        read_picture(path)


def damaged_scans(data: bytes) -> Iterator[bytes]:
    """Zero a sector of a JPEG's coded picture at several places; its end marker stays."""
    start = data.index(b"\xff\xda") + 14
    for share in (0.1, 0.3, 0.5, 0.7):
        at = start + int(share * (len(data) - start - 600))
        yield data[:at] + bytes(512) + data[at + 512 :]


@pytest.mark.parametrize("options", [{}, {"subsampling": 0}, {"optimize": True}])
def test_jpeg_with_a_lost_sector_is_refused(tmp_path: Path, options: dict[str, object]) -> None:
    from PIL import Image

    stream = io.BytesIO()
    noisy = np.random.default_rng(4).integers(0, 256, (90, 160, 3), np.uint8)
    Image.fromarray(noisy).save(stream, "JPEG", quality=90, **options)
    assert read_picture(save(tmp_path / "sound.jpg", stream.getvalue())).rgb.shape == noisy.shape
    for data in damaged_scans(stream.getvalue()):
        with pytest.raises(PixelSourceError, match=r"its coded picture is damaged: \w+"):
            read_picture(save(tmp_path / "plate.jpg", data))


@pytest.mark.parametrize("mode", ["L", "RGB"])
def test_scans_of_a_sequential_jpeg_hold_all_coefficients(tmp_path: Path, mode: str) -> None:
    """ITU-T T.81, B.2.3: 0, 63, 0. A cut through these numbers takes the first blocks with it, and
    the decoder shows what follows in their place. Encoders that leave zeros mean all of them."""
    stream = io.BytesIO()
    Image.fromarray(codes(40, 60)).convert(mode).save(stream, "JPEG", quality=80)
    data = stream.getvalue()
    told = data.index(b"\xff\xda") + 5 + 2 * len(mode)
    assert data[told : told + 3] == bytes([0, 63, 0])
    sound = read_picture(save(tmp_path / "a.jpg", data)).rgb
    zeros = data[:told] + bytes(3) + data[told + 3 :]
    np.testing.assert_array_equal(read_picture(save(tmp_path / "b.jpg", zeros)).rgb, sound)
    for broken in (data[: told + 1] + data[told + 49 :], zeros[: told + 300] + zeros[-2:]):
        with pytest.raises(PixelSourceError, match=r"its coded picture is damaged: \w+"):
            read_picture(save(tmp_path / "c.jpg", broken))


def test_a_progressive_jpeg_without_its_last_scans(tmp_path: Path) -> None:
    """The scan script of Pillow's library ends by refining each component to the last bit, as ITU-T
    T.81 G.1.1.1 has it; without one of these scans the file is whole as its structure goes."""
    stream = io.BytesIO()
    Image.fromarray(codes(40, 60)).save(stream, "JPEG", progressive=True, quality=80)
    data = stream.getvalue()
    read_picture(save(tmp_path / "a.jpg", data))
    scans = [place for place in range(len(data) - 1) if data[place : place + 2] == b"\xff\xda"]
    tables = [place for place in range(len(data) - 1) if data[place : place + 2] == b"\xff\xc4"]
    for start in scans[-3:]:
        end = min(place for place in (*scans, *tables, len(data) - 2) if place > start)
        save(tmp_path / "a.jpg", data[:start] + data[end:])
        with pytest.raises(PixelSourceError, match="damaged: scans that make it fine are missing"):
            read_picture(tmp_path / "a.jpg")


def test_png_checksums_are_looked_at(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    """PNG Third Edition, 5.3: each chunk ends with the CRC of its name and contents."""
    data = bytearray(encode_png(codes(), space="sRGB"))
    place = bytes(data).index(b"IDAT") - 4
    (length,) = struct.unpack_from(">I", data, place)
    data[place + 8 + length] ^= 1  # the checksum itself: all pixels are sound
    with pytest.raises(PixelSourceError, match="damaged or cut short"):
        read_picture(save(tmp_path / "a.png", bytes(data)))
    assert capfd.readouterr() == ("", "")


def test_a_png_without_its_end_is_cut_short(tmp_path: Path) -> None:
    """PNG Third Edition, 11.2.5: IEND marks the end; all pixels are there without it."""
    data = encode_png(codes(), space="sRGB")
    with pytest.raises(PixelSourceError, match="damaged or cut short"):
        read_picture(save(tmp_path / "a.png", data[: data.index(b"IEND") - 4]))


def test_jpeg_inside_tiff_that_is_cut_or_damaged(tmp_path: Path) -> None:
    noisy = np.random.default_rng(5).integers(0, 256, (64, 96, 3), np.uint8)
    path = tmp_path / "plate.tif"
    tifffile.imwrite(path, noisy, photometric="rgb", compression="jpeg", rowsperstrip=16)
    sound = path.read_bytes()
    assert read_picture(path).rgb.shape == noisy.shape
    with tifffile.TiffFile(path) as file:
        offsets, sizes = file.pages.first.dataoffsets, file.pages.first.databytecounts
    middle = offsets[1] + sizes[1] // 2
    path.write_bytes(sound[:middle] + bytes(200) + sound[middle + 200 :])
    with pytest.raises(PixelSourceError, match="strip or tile 1: its coded picture is damaged"):
        read_picture(path)
    # Its tags lie before the strips, so that a file cut in the last strip can still be opened.
    path.write_bytes(sound[: offsets[-1] + sizes[-1] // 2])
    with pytest.raises(PixelSourceError, match="cut short: strip or tile 3 is missing"):
        read_picture(path)


def test_premultiplied_tiff_is_divided_before_it_is_decoded(tmp_path: Path) -> None:
    alpha = np.array([[255, 128, 64, 0]], np.uint8)
    colour = np.rint(np.array([200, 100, 40]) * (alpha[..., None] / 255)).astype(np.uint8)
    pixels = np.concatenate([colour, alpha[..., None]], axis=2)
    tifffile.imwrite(tmp_path / "a.tif", pixels, photometric="rgb", extrasamples=("assocalpha",))
    picture = read_picture(tmp_path / "a.tif", "linear")
    assert np.abs(picture.rgb[0, :3] * 255 - [200, 100, 40]).max() <= 2  # a code of 64 holds 1/64
    np.testing.assert_allclose(picture.alpha[0] * 255, alpha[0], atol=1e-4)


def encode_webp(pixels: np.ndarray, **options: object) -> bytes:
    """Pillow's lossless WebP, with colour under zero alpha kept."""
    written = io.BytesIO()
    Image.fromarray(pixels).save(written, "WEBP", lossless=True, exact=True, **options)
    return written.getvalue()


def encode_bmp(pixels: np.ndarray) -> bytes:
    written = io.BytesIO()
    Image.fromarray(pixels).save(written, "BMP")
    return written.getvalue()


def through_openimageio(path: Path) -> np.ndarray:
    """Its own decoders; alpha as stored, not multiplied in."""
    wanted = OpenImageIO.ImageSpec()
    wanted["oiio:UnassociatedAlpha"] = 1
    return OpenImageIO.ImageBuf(str(path), 0, 0, wanted).get_pixels(OpenImageIO.UINT8)


@pytest.mark.parametrize("channels", [3, 4])
def test_webp_and_bmp_agree_with_openimageio(tmp_path: Path, channels: int) -> None:
    for name, encode in (("a.webp", encode_webp), ("a.bmp", encode_bmp))[: 5 - channels]:
        path = save(tmp_path / name, encode(codes(channels=channels)))
        theirs = through_openimageio(path)
        picture = read_picture(path, "linear")
        np.testing.assert_array_equal(np.rint(picture.rgb * 255), theirs[..., :3])
        np.testing.assert_array_equal(theirs, codes(channels=channels))
        if channels == 4:
            np.testing.assert_array_equal(np.rint(picture.alpha * 255), theirs[..., 3])
            assert not picture.premultiplied


def test_masks_and_object_numbers_in_bmp(tmp_path: Path) -> None:
    grey = codes(channels=1)[..., 0]
    Image.fromarray(grey).save(tmp_path / "grey.bmp")
    np.testing.assert_array_equal(read_object_ids(tmp_path / "grey.bmp"), grey)
    Image.fromarray(grey > 99).save(tmp_path / "bit.bmp")
    np.testing.assert_array_equal(read_weights(tmp_path / "bit.bmp"), grey > 99)
    with pytest.raises(PixelSourceError, match=r"no channel 'A'; expected one of Y"):
        read_weights(tmp_path / "grey.bmp", "A")


def test_webp_is_turned_upright(tmp_path: Path) -> None:
    exif = Image.Exif()
    for orientation in range(1, 9):
        exif[0x0112] = orientation
        path = save(tmp_path / f"{orientation}.webp", encode_webp(codes(), exif=exif))
        with Image.open(path) as opened:
            expected = np.asarray(ImageOps.exif_transpose(opened))
        np.testing.assert_array_equal(np.rint(read_picture(path, "linear").rgb * 255), expected)


SPACES = {"sRGB": BT709, "Display P3": DISPLAY_P3, "Adobe RGB (1998) compatible": ADOBE_RGB}


def encode_webp_in(pixels: np.ndarray, *, space: str, dpi: float = 72) -> bytes:
    """WebP with a profile; it has no place for a resolution."""
    return encode_webp(pixels, icc_profile=icc_profile(space))


@pytest.mark.parametrize("space", SPACES)
@pytest.mark.parametrize("encode", [encode_png, encode_jpeg, encode_tiff, encode_webp_in])
def test_profiles_are_honoured_as_little_cms_does(tmp_path: Path, space: str, encode) -> None:
    patches = np.array([[128, 64, 200], [230, 180, 90], [40, 90, 60], [250, 250, 250]], np.uint8)
    patches = patches.repeat(64, axis=0).reshape(16, 16, 3)
    path = save(tmp_path / "a", encode(patches, space=space))
    picture = read_picture(path)
    assert picture.space == SPACES[space].chromaticities
    linear = picture.rgb @ conversion_matrix(SPACES[space], BT709).T.astype(np.float32)
    mine = _encoded_srgb(linear)
    transform = ImageCms.buildTransform(
        ImageCms.ImageCmsProfile(io.BytesIO(icc_profile(space))), ImageCms.createProfile("sRGB"),
        "RGB", "RGB", renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
    )  # fmt: skip
    with Image.open(path) as opened:
        theirs = np.asarray(ImageCms.applyTransform(opened.convert("RGB"), transform))
    inside = np.all((linear >= 0) & (linear <= 1), axis=2)
    assert inside.mean() > 0.5
    assert np.abs(mine - theirs)[inside].max() <= 1.2  # rounding to codes, and JPEG decoders'


def _encoded_srgb(linear: np.ndarray) -> np.ndarray:
    size = np.clip(linear.astype(np.float64), 0, 1)
    encoded = np.where(size <= 0.0031308, size * 12.92, 1.055 * size ** (1 / 2.4) - 0.055)
    return encoded * 255


def test_profile_of_pillow_and_of_a_sampled_curve() -> None:
    theirs = parse_profile(ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes())
    assert theirs.chromaticities == BT709.chromaticities
    decoded = [curve(np.array([118, 127, 128]) / 255) for curve in theirs.tone_curves]
    np.testing.assert_allclose(decoded[0], [0.1811642, 0.2122308, 0.2158605], atol=2e-5)
    import imagecodecs

    table = np.rint(65535 * np.linspace(0, 1, 1024) ** 1.8).astype(np.uint16)
    wide = imagecodecs.cms_profile(
        "rgb", whitepoint=[0.3457, 0.3585, 1.0],
        primaries=[0.7347, 0.2653, 1, 0.1596, 0.8404, 1, 0.0366, 0.0001, 1],
        transferfunction=table,
    )  # fmt: skip
    profile = parse_profile(wide)
    np.testing.assert_allclose(
        profile.chromaticities,
        [0.7347, 0.2653, 0.1596, 0.8404, 0.0366, 0.0001, 0.3457, 0.3585],
        atol=2e-4,  # s15Fixed16 rounding of the colorants
    )
    np.testing.assert_allclose(profile.tone_curves[-1](np.array([0.5])), 0.5**1.8, atol=1e-4)


def test_gamma_chunk_alone(tmp_path: Path) -> None:
    plain = encode_png(np.full((2, 2, 3), 128, np.uint8))
    kept = (
        plain[:33] + _chunk(b"gAMA", struct.pack(">I", 55556)) + plain[plain.index(b"IDAT") - 4 :]
    )
    picture = read_picture(save(tmp_path / "a.png", kept))
    np.testing.assert_allclose(picture.rgb, (128 / 255) ** (1 / 0.55556), rtol=1e-6)


def test_floats_that_are_told_to_be_encoded_are_decoded(tmp_path: Path) -> None:
    """As the same values in codes are, by IEC 61966-2-1."""
    values = np.array([[code / 255 for code in SRGB_CODES]], np.float32)
    path = save(tmp_path / "a.exr", encode_exr(np.stack([values] * 3), bits=32).data)
    light = read_picture(path, "sRGB").rgb[0, :, 1]
    np.testing.assert_allclose(light, list(SRGB_CODES.values()), atol=EXACT)


def test_what_says_srgb_counts_more_than_its_gamma(tmp_path: Path) -> None:
    """PNG Third Edition, 11.3.2.5: sRGB overrides gAMA, which is for who knows it alone."""
    plain = encode_png(np.full((2, 2, 3), 128, np.uint8))
    said = _chunk(b"sRGB", b"\0") + _chunk(b"gAMA", struct.pack(">I", 55556))
    kept = plain[:33] + said + plain[plain.index(b"IDAT") - 4 :]
    picture = read_picture(save(tmp_path / "a.png", kept))
    np.testing.assert_allclose(picture.rgb, SRGB_CODES[128], atol=EXACT)


def _chunk(name: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))


def test_hdr_codes_in_png_are_refused(tmp_path: Path) -> None:
    plain = encode_png(np.full((2, 2, 3), 128, np.uint16))
    pq = plain[:33] + _chunk(b"cICP", bytes([9, 16, 0, 1])) + plain[plain.index(b"IDAT") - 4 :]
    with pytest.raises(PixelSourceError, match=r"colour codes 9, 16 .*save HDR pictures as EXR"):
        read_picture(save(tmp_path / "a.png", pq))


def test_exr_plate_with_alpha_and_chromaticities(tmp_path: Path) -> None:
    planes = np.random.default_rng(3).random((3, 5, 7), np.float32) * 40
    alpha = np.linspace(0, 1, 35, dtype=np.float32).reshape(5, 7)
    data = encode_exr(planes, alpha, bits=32, chromaticities=DISPLAY_P3.chromaticities).data
    picture = read_picture(save(tmp_path / "a.exr", data))
    np.testing.assert_array_equal(picture.rgb, np.moveaxis(planes, 0, -1))
    np.testing.assert_array_equal(picture.alpha, alpha)
    np.testing.assert_allclose(picture.space, DISPLAY_P3.chromaticities, atol=1e-6)
    assert picture.premultiplied


def test_object_numbers_and_channels(tmp_path: Path) -> None:
    numbers = np.arange(12, dtype=np.uint32).reshape(3, 4) * 1001
    OpenEXR.File({"type": OpenEXR.scanlineimage}, {"id": numbers, "Z": numbers.astype("f4")}).write(
        str(tmp_path / "ids.exr")
    )
    np.testing.assert_array_equal(read_object_ids(tmp_path / "ids.exr", "id"), numbers)
    with pytest.raises(PixelSourceError, match=r"no channel 'ID'; expected one of Z, id"):
        read_object_ids(tmp_path / "ids.exr", "ID")
    half = (numbers / 3).astype(np.float16)
    OpenEXR.File({"type": OpenEXR.scanlineimage}, {"id": half}).write(str(tmp_path / "aa.exr"))
    with pytest.raises(PixelSourceError, match="without anti-aliasing"):
        read_object_ids(tmp_path / "aa.exr")
    save(tmp_path / "ids.png", encode_png(numbers.astype(np.uint16)))
    np.testing.assert_array_equal(read_object_ids(tmp_path / "ids.png"), numbers)


def test_weights_are_codes_over_the_largest_code(tmp_path: Path) -> None:
    mask = codes(bits=16, channels=1)[..., 0]
    save(tmp_path / "a.png", encode_png(mask))
    np.testing.assert_allclose(read_weights(tmp_path / "a.png"), mask / 65535, atol=EXACT)
    rgba = codes(channels=4)
    save(tmp_path / "b.png", encode_png(rgba))
    np.testing.assert_allclose(
        read_weights(tmp_path / "b.png", "A"), rgba[..., 3] / 255, atol=EXACT
    )
    with pytest.raises(PixelSourceError, match=r"no channel 'Z'; expected one of R, G, B, A"):
        read_weights(tmp_path / "b.png", "Z")


def test_weights_that_are_no_numbers(tmp_path: Path) -> None:
    """NaN selects nothing; what is beyond a whole is a whole."""
    plane = np.array([[np.nan, np.inf, -np.inf, 0.25, 1.5, -0.5]], np.float32)
    OpenEXR.File({}, {"Y": plane}).write(str(tmp_path / "a.exr"))
    np.testing.assert_array_equal(read_weights(tmp_path / "a.exr", "Y"), [[0, 1, 0, 0.25, 1, 0]])


def test_float_picture_agrees_with_openimageio(tmp_path: Path) -> None:
    planes = np.random.default_rng(4).random((3, 6, 9), np.float32)
    path = save(tmp_path / "a.exr", encode_exr(planes, bits=32).data)
    theirs = OpenImageIO.ImageBuf(str(path)).get_pixels(OpenImageIO.FLOAT)
    np.testing.assert_array_equal(read_picture(path).rgb, theirs)


@pytest.mark.parametrize("encode", [encode_png, encode_jpeg, encode_tiff, encode_webp, encode_bmp])
def test_a_file_cut_anywhere_is_refused(tmp_path: Path, encode) -> None:
    data = encode(np.random.default_rng(1).integers(0, 255, (40, 40, 3), np.uint8))
    for share in (0.05, 0.3, 0.6, 0.9):
        path = save(tmp_path / f"{share}", data[: int(len(data) * share)])
        with pytest.raises(PixelSourceError, match="damaged or cut short"):
            read_picture(path)


def test_what_is_no_picture_is_said_clearly(tmp_path: Path) -> None:
    with pytest.raises(PixelSourceError, match="there is no such file"):
        read_picture(tmp_path / "sky.jpg")
    with pytest.raises(PixelSourceError, match="is a directory; expected a picture file"):
        read_picture(tmp_path)
    with pytest.raises(PixelSourceError, match=r"note\.txt"):
        read_picture(save(tmp_path / "note.txt", b"dusk, please"))
    for kind, named in (("GIF", "a GIF"), ("AVIF", "an AVIF"), ("JPEG2000", "a JPEG 2000")):
        Image.new("RGB", (8, 8)).save(tmp_path / "sky", kind)
        with pytest.raises(PixelSourceError, match=rf"sky: is {named}; expected PNG, JPEG, TIFF,"):
            read_picture(tmp_path / "sky")
    Image.new("CMYK", (8, 8)).save(tmp_path / "print.jpg")
    with pytest.raises(PixelSourceError, match=r"CMYK picture.*convert it to sRGB"):
        read_picture(tmp_path / "print.jpg")


def test_a_bomb_is_refused_before_it_is_decoded(tmp_path: Path) -> None:
    header = struct.pack(">IIBBBBB", 60000, 60000, 8, 2, 0, 0, 0)
    body = zlib.compress(bytes(1000))
    bomb = b"\x89PNG\r\n\x1a\n" + _chunk(b"IHDR", header) + _chunk(b"IDAT", body)
    with pytest.raises(PixelSourceError, match=r"60000 x 60000 pixels; up to 300,000,000"):
        read_picture(save(tmp_path / "a.png", bomb + _chunk(b"IEND", b"")))
    vast = bytearray(encode_bmp(codes()))
    vast[18:26] = struct.pack("<ii", 60000, 60000)
    with pytest.raises(PixelSourceError, match="more pixels than are believed"):
        read_picture(save(tmp_path / "a.bmp", bytes(vast)))


def test_an_impossible_profile_is_refused_with_advice(tmp_path: Path) -> None:
    good = icc_profile("Adobe RGB (1998) compatible")
    gamma = good.index(b"para") + 12
    data = encode_tiff(codes(), space="Adobe RGB (1998) compatible")
    for damage, said in (
        (good[:gamma] + b"\x80\0\0\0" + good[gamma + 4 :], "impossible tone curve"),
        (good.replace(b"para", b"para"[::-1]), "tone curve of an unknown kind"),
        (good.replace(b"RGB ", b"CMYK"), "is for CMYK colour"),
        (good[:150] + bytes(len(good) - 150), "damaged|impossible|by tables"),
    ):
        assert data.count(good) == 1
        path = save(tmp_path / "a.tif", data.replace(good, damage))
        with pytest.raises(PixelSourceError, match=rf"embedded profile: .*({said}).*convert"):
            read_picture(path)
        assert read_picture(path, "sRGB").rgb.shape == codes().shape


def test_flipped_bits_are_refused_or_read_but_never_break(tmp_path: Path) -> None:
    rng = np.random.default_rng(9)
    for encode in (encode_png, encode_jpeg, encode_tiff, encode_webp_in):
        data = encode(codes(), space="Display P3", dpi=300)
        for _ in range(60):
            damaged = bytearray(data)
            for place in rng.integers(0, len(data), 3):
                damaged[place] ^= int(rng.integers(1, 256))
            path = save(tmp_path / "a", bytes(damaged))
            with contextlib.suppress(PixelSourceError):
                picture = read_picture(path)
                assert picture.rgb.ndim == 3
                assert np.isfinite(picture.rgb).all()


def test_a_decoder_that_cannot_be_loaded_says_nothing_of_the_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    srgb_row(tmp_path / "row.png")
    monkeypatch.setitem(sys.modules, "imagecodecs", None)  # as an import that fails
    with pytest.raises(ImportError):
        read_picture(tmp_path / "row.png")
