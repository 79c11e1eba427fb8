"""HDR stills use the range that they promise: every curve, with grain and LUTs, by other decoders.

A ramp of greys goes through the chain for an HDR display and into both HDR formats. AVIF is read by
FFmpeg, the gain map by libultrahdr.
"""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import av
import imagecodecs
import numpy as np
import pytest

from evenfall.deliver.avif import encode_avif
from evenfall.deliver.gain_map import encode_gain_map_jpeg
from evenfall.light.output_spaces import output_space
from evenfall.light.primaries import BT709
from evenfall.look.chain import LookChain, build_chain
from evenfall.recipe.look import Look

WHITE_NITS = 203.0  # ITU-R BT.2408-7, table 1
PEAK_NITS = 1000.0
LOSSY = 0.04  # two 8-bit pictures, or 10 bits of a lossy one: a twentieth of a stop
STOPS = np.linspace(-6, 10, 640, dtype=np.float32)
RAMP = np.ascontiguousarray(np.broadcast_to(0.18 * 2.0**STOPS, (3, 64, 640)), np.float32)
"""Greys up to 7.5 stops over diffuse white, in rows that are all the same."""

# What each curve promises at the top of the ramp, in cd/m2: the whole peak, or diffuse white.
# Hable's formula ends at 1.1 of white.
PROMISED = {
    "evenfall": PEAK_NITS,
    "reinhard": PEAK_NITS,
    "clip": PEAK_NITS,
    "aces2": PEAK_NITS,
    "neutral": WHITE_NITS,
    "hable": 1.1 * WHITE_NITS,
}
BESIDES: dict[str, dict[str, Any]] = {
    "nothing": {},
    "grain": {"grain": {"strength": 0.2}},
    "LUT": {"grade": {"luts": ({"file": "warm.cube"},)}},
}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """With a LUT that makes white a little darker and warmer."""
    (tmp_path / "warm.cube").write_text("LUT_1D_SIZE 2\n0 0 0\n1 0.97 0.94\n")
    return tmp_path


def chain_of(look: dict[str, Any], folder: Path, space: str, peak: float) -> LookChain:
    return build_chain(
        Look(**look),
        source=BT709,
        camera_matrix=np.eye(3),
        output=output_space(space),
        size=(RAMP.shape[2], RAMP.shape[1]),
        recipe_folder=folder,
        peak=peak,
    )


def avif_nits(look: dict[str, Any], folder: Path) -> np.ndarray:
    """Luminance along the ramp, read from an AVIF by FFmpeg."""
    chain = chain_of(look, folder, "Display P3", PEAK_NITS / WHITE_NITS)
    data = encode_avif(
        chain.linear_rows(RAMP, 0), primaries=chain.output.rgb, quality=98, peak_nits=PEAK_NITS
    )
    with av.open(io.BytesIO(data), format="mov") as container:
        frame = next(container.decode(video=0))
        luma = np.frombuffer(frame.planes[0], np.uint16).reshape(frame.height, -1)
    signal = luma[:, : frame.width].astype(float).mean(axis=0) / 1023
    raised = signal ** (1 / 78.84375)  # SMPTE ST 2084, as printed in ITU-R BT.2100-2, table 4
    linear = np.maximum(raised - 0.8359375, 0) / (18.8515625 - 18.6875 * raised)
    return 10_000 * linear ** (1 / 0.1593017578125)


def gain_map_nits(look: dict[str, Any], folder: Path) -> np.ndarray:
    """Luminance along the ramp, of a gain-map JPEG rebuilt by libultrahdr."""
    codes = chain_of(look, folder, "sRGB", 1.0).encode_rows(RAMP, 0)
    bright = chain_of(look, folder, "sRGB", PEAK_NITS / WHITE_NITS).linear_rows(RAMP, 0)
    eight = np.ascontiguousarray(np.moveaxis(np.rint(255 * codes).astype(np.uint8), 0, -1))
    data = encode_gain_map_jpeg(eight, bright, quality=100, peak_nits=PEAK_NITS)
    found = imagecodecs.ultrahdr_decode(data)[..., :3].astype(float)
    return WHITE_NITS * (found @ (0.2126, 0.7152, 0.0722)).mean(axis=0)


READ = {"avif": avif_nits, "gain-map jpeg": gain_map_nits}


@pytest.mark.parametrize("reading", READ)
@pytest.mark.parametrize("besides", BESIDES)
@pytest.mark.parametrize("curve", PROMISED)
def test_the_range_that_is_promised_is_used(
    curve: str, besides: str, reading: str, folder: Path
) -> None:
    nits = READ[reading]({"tone": curve, **BESIDES[besides]}, folder)
    assert nits.max() == pytest.approx(PROMISED[curve], rel=0.07)
    assert Look(tone=curve).ends_at_white is (PROMISED[curve] < 1.2 * WHITE_NITS)


@pytest.mark.parametrize("reading", READ)
@pytest.mark.parametrize("curve", ["evenfall", "aces2", "clip", "reinhard"])
def test_grain_leaves_the_light_as_it_is(curve: str, reading: str, folder: Path) -> None:
    """Grain of 64 rows has a mean near nothing: the ramp is the one without it."""
    plain = READ[reading]({"tone": curve}, folder)
    grainy = READ[reading]({"tone": curve, "grain": {"strength": 0.2}}, folder)
    seen = plain > 10
    np.testing.assert_allclose(grainy[seen], plain[seen], rtol=LOSSY)


@pytest.mark.parametrize("curve", ["evenfall", "clip"])
def test_light_rises_through_white(curve: str, folder: Path) -> None:
    """No step where grain and LUTs hand over to what lies above white."""
    for besides in BESIDES.values():
        chain = chain_of({"tone": curve, **besides}, folder, "sRGB", PEAK_NITS / WHITE_NITS)
        light = chain.linear_rows(RAMP, 0).mean(axis=(0, 1))
        near = (light > 0.7) & (light < 2)
        steps = np.diff(np.log2(light[near]))
        assert steps.min() > 0
        assert steps.max() < 0.05


def test_a_view_ends_at_white(folder: Path) -> None:
    view = {"config": "ocio://default", "display": "sRGB - Display", "view": "Un-tone-mapped"}
    assert Look(view=view).ends_at_white
    assert avif_nits({"view": view}, folder).max() == pytest.approx(WHITE_NITS, rel=LOSSY)
