"""WebP, read back by FFmpeg's own decoder and by libwebp through other libraries."""

from __future__ import annotations

import io
import sys
from pathlib import Path

import av
import imagecodecs
import numpy as np
import OpenImageIO
import pytest

from evenfall.deliver.icc import icc_profile
from evenfall.deliver.provenance import Provenance
from evenfall.deliver.webp import encode_webp

NOISE = np.random.default_rng(2).integers(0, 256, (37, 53, 3), np.uint8)


def through_ffmpeg(data: bytes) -> np.ndarray:
    with av.open(io.BytesIO(data)) as opened:
        frame = next(opened.decode(video=0))
        return frame.to_ndarray(format="rgb24")


def smooth() -> np.ndarray:
    down, across = np.mgrid[0:120, 0:160]
    return np.stack([2 * down, across, 255 - across], -1).astype(np.uint8)


@pytest.mark.parametrize("decode", [through_ffmpeg, imagecodecs.webp_decode])
def test_lossless_keeps_every_pixel(decode) -> None:
    np.testing.assert_array_equal(decode(encode_webp(NOISE, lossless=True)), NOISE)


@pytest.mark.parametrize("decode", [through_ffmpeg, imagecodecs.webp_decode])
def test_lossy_is_near(decode) -> None:
    """8-bit Y'CbCr with halved colour: within 2 codes in the mean, 8 anywhere."""
    difference = np.abs(decode(encode_webp(smooth(), quality=92)).astype(int) - smooth())
    assert difference.mean() < 2
    assert difference.max() <= 8


def test_quality_costs_bytes() -> None:
    sizes = [len(encode_webp(NOISE, quality=quality)) for quality in (10, 50, 92)]
    assert sizes == sorted(sizes)
    assert sizes[0] < sizes[2] / 2


@pytest.mark.parametrize("lossless", [False, True])
def test_profile_people_and_resolution_as_openimageio_reads_them(
    tmp_path: Path, lossless: bool
) -> None:
    record = Provenance(
        "villa.toml", "", "dusk", version="1.2",
        title="Haus am Hang", author="A. Author", copyright="© 2026 A. Author",
    )  # fmt: skip
    path = tmp_path / "a.webp"
    path.write_bytes(
        encode_webp(NOISE, space="Display P3", lossless=lossless, provenance=record, dpi=300)
    )
    spec = OpenImageIO.ImageBuf(str(path)).spec()
    profile = np.asarray(spec.getattribute("ICCProfile")).tobytes()
    assert profile == icc_profile("Display P3")
    said = {
        name: spec.getattribute(name)
        for name in ("ImageDescription", "Artist", "Copyright", "Software", "XResolution")
    }
    assert said == {
        "ImageDescription": "Haus am Hang",
        "Artist": "A. Author",
        "Copyright": "© 2026 A. Author",
        "Software": "evenfall 1.2",
        "XResolution": 300.0,
    }


def test_bytes_are_the_same_every_time() -> None:
    assert encode_webp(smooth()) == encode_webp(smooth())


def test_a_library_that_cannot_be_loaded_is_told_as_that(monkeypatch) -> None:
    monkeypatch.setitem(sys.modules, "PIL._webp", None)
    with pytest.raises(ImportError, match="_webp"):
        encode_webp(NOISE)
