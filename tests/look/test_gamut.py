"""Gamut compression against OpenColorIO's ACES reference gamut compression, and by its promises."""

from __future__ import annotations

import numpy as np
import PyOpenColorIO
import pytest

from evenfall.light.primaries import (
    ACESCG,
    ADOBE_RGB,
    BT709,
    DISPLAY_P3,
    RgbSpace,
    conversion_matrix,
    rgb_to_xyz,
)
from evenfall.look.gamut import GamutCompression, compress_distance, furthest_distances
from evenfall.look.rendering import RENDERING_SPACE

# Thresholds and limits for cyan, magenta, yellow, and the power, as published with ACES 1.3.
ACES_LIMITS = (1.147, 1.264, 1.312)
ACES_THRESHOLDS = (0.815, 0.803, 0.880)

# Oklab (Ottosson 2020): linear BT.709 to the cone-like responses, and those to L, a, b.
_XYZ_TO_LMS = np.array(
    [
        [0.8189330101, 0.3618667424, -0.1288597137],
        [0.0329845436, 0.9293118715, 0.0361456387],
        [0.0482003018, 0.2643662691, 0.6338517070],
    ]
)
_LMS_TO_LAB = np.array(
    [
        [0.2104542553, 0.7936177850, -0.0040720468],
        [1.9779984951, -2.4285922050, 0.4505937099],
        [0.0259040371, 0.7827717662, -0.8086757660],
    ]
)


def hue_degrees(rgb: np.ndarray, space: RgbSpace) -> np.ndarray:
    _, a, b = _LMS_TO_LAB @ np.cbrt(_XYZ_TO_LMS @ rgb_to_xyz(space) @ rgb)
    return np.degrees(np.arctan2(b, a))


def test_compression_is_that_of_opencolorio() -> None:
    random = np.random.default_rng(7)
    colours = random.uniform(-0.05, 1.0, (3, 500))
    reference = np.ascontiguousarray(colours.T, np.float32)
    transform = PyOpenColorIO.FixedFunctionTransform(
        PyOpenColorIO.FIXED_FUNCTION_ACES_GAMUT_COMP_13, [*ACES_LIMITS, *ACES_THRESHOLDS, 1.2]
    )
    config = PyOpenColorIO.Config.CreateRaw()
    config.getProcessor(transform).getDefaultCPUProcessor().applyRGB(reference)
    expected = reference.T
    largest = colours.max(axis=0)
    for channel, threshold, limit in zip(range(3), ACES_THRESHOLDS, ACES_LIMITS, strict=True):
        distance = ((largest - colours[channel]) / largest).astype(np.float32)
        found = largest - compress_distance(distance, threshold, limit) * largest
        np.testing.assert_allclose(found, expected[channel], rtol=0, atol=2e-5)


@pytest.mark.parametrize("limit", [1.001, 1.09, 1.6])
@pytest.mark.parametrize("threshold", [0.0, 0.5, 0.8, 0.95])
def test_distance_grows_and_the_limit_lands_on_the_edge(threshold: float, limit: float) -> None:
    distance = np.linspace(0, 3, 3001, dtype=np.float32)
    found = compress_distance(distance, threshold, limit)
    assert (np.diff(found) > 0).all()
    np.testing.assert_array_equal(found[distance <= threshold], distance[distance <= threshold])
    at_limit = compress_distance(np.array([limit], np.float32), threshold, limit)
    assert at_limit[0] == pytest.approx(1.0, abs=1e-5)


def inside_and_untouched(space: RgbSpace) -> np.ndarray:
    """Colours below the threshold on every side, up to display white."""
    random = np.random.default_rng(3)
    largest = random.uniform(0, 0.8, 4000)
    return (largest * (1 - random.uniform(0, 0.8, (3, 4000)))).astype(np.float32)


@pytest.mark.parametrize("output", [BT709, DISPLAY_P3, ADOBE_RGB], ids=lambda space: space.name)
def test_colours_below_the_threshold_and_all_greys_stay_to_the_bit(output: RgbSpace) -> None:
    colours = inside_and_untouched(output)
    greys = np.tile(np.linspace(0, 1, 1001, dtype=np.float32), (3, 1))
    for kept in (colours, greys):
        compressed = kept.copy()
        GamutCompression(RENDERING_SPACE, output, 0.8)(compressed)
        np.testing.assert_array_equal(compressed, kept)


@pytest.mark.parametrize("output", [BT709, DISPLAY_P3, ADOBE_RGB], ids=lambda space: space.name)
def test_everything_that_can_be_shown_ends_inside(output: RgbSpace) -> None:
    random = np.random.default_rng(5)
    shown = random.uniform(0, 1, (3, 20_000)) ** 3
    display = (conversion_matrix(RENDERING_SPACE, output) @ shown).astype(np.float32)
    assert display.min() < -0.01  # or there would be nothing to do
    assert display.max() > 1.01
    GamutCompression(RENDERING_SPACE, output, 0.8)(display)
    assert display.min() >= -1e-6
    assert display.max() <= 1 + 1e-6


def test_hues_shift_less_than_by_clipping() -> None:
    """Of colours that a Display P3 screen can show, brought into BT.709."""
    random = np.random.default_rng(11)
    shown = random.uniform(0, 1, (3, 20_000)) ** 3
    display = conversion_matrix(DISPLAY_P3, BT709) @ shown
    outside = (display.min(axis=0) < -0.005) | (display.max(axis=0) > 1.005)
    display = display[:, outside].astype(np.float32)
    before = hue_degrees(display, BT709)

    def shift(changed: np.ndarray) -> np.ndarray:
        turned = hue_degrees(changed, BT709) - before
        return np.abs((turned + 180) % 360 - 180)

    compressed = display.copy()
    GamutCompression(RENDERING_SPACE, BT709, 0.8)(compressed)
    clipped = np.clip(display, 0, 1)
    assert np.median(shift(compressed)) < 1.5
    assert np.median(shift(compressed)) < 0.6 * np.median(shift(clipped))
    assert np.percentile(shift(compressed), 95) < 8  # blues, which bend on their way to white


def test_a_ramp_stays_smooth() -> None:
    """Saturated red from black to far over white, as a hue-preserving curve may give it."""
    level = np.linspace(0.01, 1.6, 2000)
    ramp = (level * np.array([[1.0], [0.05], [-0.05]])).astype(np.float32)
    GamutCompression(RENDERING_SPACE, BT709, 0.8)(ramp)
    assert (np.diff(ramp[0]) > -1e-6).all()
    slopes = np.diff(ramp, axis=1) / np.diff(level)
    assert np.abs(np.diff(slopes, axis=1)).max() < 0.05


def test_furthest_distances_are_those_of_the_corners_and_edges() -> None:
    """Brute force over the whole cube of the other space finds nothing further out."""
    grid = np.linspace(0, 1, 41)
    cube = np.stack(np.meshgrid(grid, grid, grid, indexing="ij")).reshape(3, -1)[:, 1:]
    colours = conversion_matrix(ACESCG, BT709) @ cube
    largest = colours.max(axis=0)
    found = ((largest - colours) / largest).max(axis=1)
    limits = furthest_distances(ACESCG, BT709)
    assert (found <= limits + 1e-6).all()
    np.testing.assert_allclose(found, limits, rtol=0, atol=2e-3)


def test_a_pixel_does_not_depend_on_its_neighbours() -> None:
    """Bytes are promised to be the same however a picture is cut into strips."""
    threshold = 0.85
    rng = np.random.default_rng(2)
    colours = np.full((3, 20_000), 0.3)
    colours[0] *= 1 - threshold * rng.uniform(1 - 2.0**-8, 1.0, 20_000)  # just below the threshold
    colours[1] *= 1 - threshold * rng.uniform(1.0, 1 + 2.0**-8, 20_000)  # just above
    alone = colours.astype(np.float32)
    far_out = np.array([[-0.1], [1.0], [1.0]], np.float32)
    beside = np.concatenate([alone, far_out], axis=1)
    compress = GamutCompression(ACESCG, BT709, threshold)
    compress(alone)
    compress(beside)
    np.testing.assert_array_equal(beside[:, :-1], alone)


def test_light_beyond_white_turns_half_into_whiteness() -> None:
    """Scaled down until its largest channel fits, a colour gets half of what it lost as white:
    c s + (1 - s) / 2 (h - c s) for a largest channel that is held at h, s of what it was."""
    colour = np.array([4.0, 2.0, 1.5], np.float32).reshape(3, 1)  # below the threshold of 0.8
    shown = colour.copy()
    GamutCompression(BT709, BT709, 0.8)(shown)
    held = float(shown[0, 0])
    assert 0.9 < held <= 1
    scale = held / 4
    for channel, before in ((1, 2.0), (2, 1.5)):
        lost = (1 - scale) * (held - before * scale)
        assert (shown[channel, 0] - before * scale) / lost == pytest.approx(0.5, abs=1e-4)
