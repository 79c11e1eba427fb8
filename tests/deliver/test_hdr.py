"""HDR stills against FFmpeg (dav1d), libavif in Pillow and libultrahdr."""

from __future__ import annotations

import io

import av
import imagecodecs
import numpy as np
import pytest
from PIL import Image

from evenfall.deliver.avif import encode_avif
from evenfall.deliver.gain_map import encode_gain_map_jpeg
from evenfall.deliver.isobmff import add_metadata
from evenfall.deliver.jpeg import encode_jpeg
from evenfall.deliver.provenance import Provenance, record_from_xmp
from evenfall.errors import UsageError
from evenfall.light.output_spaces import output_space
from evenfall.light.primaries import BT709, BT2020, DISPLAY_P3, conversion_matrix
from evenfall.light.transfer import encode_pq

WHITE_NITS = 203.0  # ITU-R BT.2408-7, table 1
RECORD = Provenance("villa.toml", "format = 1", "night", {"lamp": "sha256:1f"}, "1.2")


def scene(height: int = 120, width: int = 160) -> np.ndarray:
    """Display-linear light with a lamp at 4.5 times diffuse white; shape (3, H, W)."""
    y, x = np.mgrid[0:height, 0:width].astype(np.float32)
    lamp = 4.4 * np.exp(-((x - 110) ** 2 + (y - 40) ** 2) / 300)
    return np.stack([0.05 + x / 400 + lamp, 0.04 + y / 300 + lamp * 0.9, 0.1 + lamp * 0.6])


def pq_decode(signal: np.ndarray) -> np.ndarray:
    """cd/m2 of a PQ signal: the EOTF as printed in ITU-R BT.2100-2, table 4."""
    m1, m2 = 0.1593017578125, 78.84375
    c1, c2, c3 = 0.8359375, 18.8515625, 18.6875
    raised = np.power(signal, 1 / m2)
    return 10000 * np.power(np.maximum(raised - c1, 0) / (c2 - c3 * raised), 1 / m1)


def through_ffmpeg(data: bytes) -> tuple[np.ndarray, av.VideoFrame]:
    """R'G'B' 0 to 1 by another demuxer and decoder; Y'CbCr matrix of BT.2020 table 4."""
    with av.open(io.BytesIO(data), format="mov") as container:
        frame = next(container.decode(video=0))
        bits = 10 if "10" in frame.format.name else 12
        planes = [
            np.frombuffer(plane, np.uint16).reshape(frame.height, plane.line_size // 2)
            for plane in frame.planes
        ]
    top = 2**bits - 1
    luma, blue, red = (plane[:, : frame.width].astype(float) for plane in planes)
    luma, blue, red = luma / top, (blue - 2 ** (bits - 1)) / top, (red - 2 ** (bits - 1)) / top
    r, b = luma + 1.4746 * red, luma + 1.8814 * blue
    g = (luma - 0.2627 * r - 0.0593 * b) / 0.6780
    return np.stack([r, g, b]), frame


@pytest.mark.parametrize(
    ("nits", "signal"),
    # ITU-R BT.2408-7: 203 cd/m2 is 58 % PQ; ST 2084: 100 cd/m2 0.5081, 1,000 cd/m2 0.7518.
    [(0.0, 0.0), (100.0, 0.5081), (203.0, 0.5807), (1000.0, 0.7518), (10000.0, 1.0)],
)
def test_pq_signal(nits: float, signal: float) -> None:
    assert float(encode_pq(np.array([nits]))[0]) == pytest.approx(signal, abs=6e-5)
    assert float(pq_decode(encode_pq(np.array([nits])))[0]) == pytest.approx(nits, abs=1e-3)


@pytest.mark.parametrize("bits", [10, 12])
@pytest.mark.parametrize("primaries", [BT709, DISPLAY_P3])
def test_avif_read_by_ffmpeg_shows_the_luminance_put_in(bits: int, primaries) -> None:
    light = scene()
    data = encode_avif(light, primaries=primaries, bits=bits, quality=97, peak_nits=2000.0)
    signal, frame = through_ffmpeg(data)
    # ITU-T H.273: BT.2020 primaries, PQ, BT.2020 non-constant luminance, full range
    assert (frame.color_primaries, frame.color_trc, frame.colorspace) == (9, 16, 9)
    assert frame.format.name == f"yuv444p{bits}le"
    wanted = np.tensordot(conversion_matrix(primaries, BT2020), light, axes=1) * WHITE_NITS
    found = pq_decode(np.clip(signal, 0, 1))
    ratio = found / wanted
    # Lossy at quality 97: 3 % is a twenty-fifth of a stop; a wrong white or matrix is far more.
    assert np.abs(np.percentile(ratio, [1, 50, 99]) - 1).max() < 0.03
    assert abs(float(np.median(ratio)) - 1) < 0.005


def test_avif_is_cut_at_the_peak_and_at_black() -> None:
    light = scene()
    light[:, 0, 0], light[:, 1, 1], light[:, 2, 2] = np.nan, -4, np.inf
    signal, _ = through_ffmpeg(encode_avif(light, primaries=BT709, peak_nits=400.0, quality=95))
    assert pq_decode(np.clip(signal, 0, 1)).max() < 440


def test_avif_carries_its_record_and_light_level() -> None:
    data = encode_avif(scene(), primaries=BT709, provenance=RECORD, peak_nits=1000.0)
    with Image.open(io.BytesIO(data)) as opened:
        opened.load()
        assert record_from_xmp(opened.info["xmp"]) == RECORD
    place = data.index(b"clli")
    largest = int.from_bytes(data[place + 4 : place + 6], "big")
    mean = int.from_bytes(data[place + 6 : place + 8], "big")
    brightest = np.tensordot(conversion_matrix(BT709, BT2020), scene(), axes=1).max(axis=0)
    assert largest == pytest.approx(min(brightest.max() * WHITE_NITS, 1000), abs=1)
    assert mean == pytest.approx(np.minimum(brightest * WHITE_NITS, 1000).mean(), abs=1)
    again = imagecodecs.avif_decode(data)
    plain = imagecodecs.avif_decode(encode_avif(scene(), primaries=BT709, peak_nits=1000.0))
    np.testing.assert_array_equal(again, plain)


def test_avif_bytes_are_the_same_every_time() -> None:
    assert encode_avif(scene(), primaries=BT709) == encode_avif(scene(), primaries=BT709)


def test_metadata_goes_only_into_a_layout_that_is_known() -> None:
    data = encode_avif(scene(), primaries=BT709)
    broken = data.replace(b"\x44\x00\x00\x01", b"\x48\x00\x00\x01", 1)
    with pytest.raises(ValueError, match=r"unknown layout|impossible size"):
        add_metadata(broken, xmp=b"<x/>")


def renditions(space: str) -> tuple[np.ndarray, np.ndarray]:
    light = scene().astype(np.float32)
    sdr = np.clip(light / (1 + light) * 1.25, 0, 1).astype(float)
    codes = np.rint(output_space(space).curve.encode(sdr) * 255).astype(np.uint8)
    return np.ascontiguousarray(np.moveaxis(codes, 0, -1)), light


@pytest.mark.parametrize("space", ["sRGB", "Display P3"])
def test_libultrahdr_rebuilds_the_hdr_rendition(space: str) -> None:
    codes, light = renditions(space)
    data = encode_gain_map_jpeg(codes, light, space=space, quality=100, peak_nits=1000.0)
    found = np.moveaxis(imagecodecs.ultrahdr_decode(data)[..., :3].astype(np.float32), -1, 0)
    wanted = np.minimum(light, 1000 / WHITE_NITS)
    # Two 8-bit lossy pictures: 3 % is a twenty-fifth of a stop.
    assert np.abs(np.percentile(found / wanted, [2, 50, 98]) - 1).max() < 0.03
    assert abs(float(np.median(found / wanted)) - 1) < 0.005
    assert found.max() > 4  # the lamp is far over diffuse white


def test_the_sdr_picture_is_what_ordinary_readers_see() -> None:
    codes, light = renditions("sRGB")
    data = encode_gain_map_jpeg(codes, light, quality=92, provenance=RECORD)
    with (
        Image.open(io.BytesIO(data)) as opened,
        Image.open(io.BytesIO(encode_jpeg(codes, quality=92))) as plain,
    ):
        np.testing.assert_array_equal(np.asarray(opened), np.asarray(plain))
        assert opened.n_frames == 2  # multi-picture index, CIPA DC-007
        assert opened.info["icc_profile"]
        assert record_from_xmp(opened.info["xmp"]) == RECORD
        opened.seek(1)
        assert opened.size == (160, 120)


def test_renditions_must_have_one_size() -> None:
    codes, light = renditions("sRGB")
    with pytest.raises(UsageError, match=r"SDR is \(120, 160\), HDR \(60, 160\)"):
        encode_gain_map_jpeg(codes, light[:, ::2])
