"""Broken pixels: found by the stated tests, and mended only where asked."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from evenfall.passes.header import PassHeader
from evenfall.passes.image import PassImage, PixelCensus
from evenfall.passes.mending import clean
from evenfall.passes.mending.clean import find_fireflies, find_flaws, repair
from evenfall.prove.measure import flat_top
from evenfall.recipe.model import Repair

HEADER = PassHeader(
    path=Path("sky.exr"),
    layer="",
    part="",
    view="",
    width=64,
    height=48,
    display_window=(0, 0, 63, 47),
    data_window=(0, 0, 63, 47),
    channels=("R", "G", "B"),
    pixel_type="half",
    compression="zip",
    has_alpha=False,
    chromaticities=None,
    white_luminance=None,
    colour_interop_id=None,
    pixel_aspect=1.0,
    kind="exr",
)


def planes_of(rgb: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    red, green, blue = (np.ascontiguousarray(rgb[..., channel]) for channel in range(3))
    return red, green, blue


def image_of(rgb: np.ndarray) -> PassImage:
    header = replace(HEADER, width=rgb.shape[1], height=rgb.shape[0])
    return PassImage(header, planes_of(rgb), None, PixelCensus(nan=1, replaced=1))


def grainy(seed: int = 1, shape: tuple[int, int] = (48, 64)) -> np.ndarray:
    rng = np.random.default_rng(seed)
    ramp = np.linspace(0.05, 1, shape[1])[None, :, None]
    return (ramp * rng.gamma(20, 1 / 20, (*shape, 3))).astype(np.float32)


PLACES = [(0, 0), (0, 30), (10, 20), (24, 63), (47, 63), (40, 2)]


@pytest.mark.parametrize("dtype", [np.float16, np.float32])
def test_planted_fireflies_are_found_and_nothing_else(dtype: type) -> None:
    rgb = grainy()
    for row, column in PLACES:
        rgb[row, column, row % 3] = 30
    found = find_fireflies(planes_of(rgb.astype(dtype)))
    assert sorted(map(tuple, np.argwhere(found).tolist())) == sorted(PLACES)


def test_a_pixel_filter_gives_a_firefly_a_halo() -> None:
    rgb = grainy()
    rgb[20:23, 30:33] += np.array([[0.5, 4, 0.5], [4, 60, 4], [0.5, 4, 0.5]])[..., None]
    found = find_fireflies(planes_of(rgb))
    assert found[21, 31]
    assert found[[20, 21, 21, 22], [31, 30, 32, 31]].all()
    assert np.count_nonzero(found) <= 9


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_plain_noise_edges_and_lamps_are_no_fireflies(seed: int) -> None:
    rgb = grainy(seed, (120, 160))
    rgb[30:60, 40:90] *= 40  # a patch of sun, corners included
    rgb[80:82, 20:22] = 400  # a lamp of 2 x 2 pixels
    rgb[100:, 60:61] = 200  # a strip one pixel wide
    down, across = np.mgrid[0:120, 0:160]
    rgb[(across - 100 > 2 * (down - 90)) & (down > 90) & (across < 140)] *= 30  # a sharp corner
    assert not find_fireflies(planes_of(rgb)).any()


def test_strips_make_no_difference(monkeypatch: pytest.MonkeyPatch) -> None:
    rgb = grainy(5, (90, 70))
    rng = np.random.default_rng(3)
    for row, column in zip(rng.integers(0, 90, 40), rng.integers(0, 70, 40), strict=True):
        rgb[row, column] *= 200
    whole = find_fireflies(planes_of(rgb))
    monkeypatch.setattr(clean, "_STRIP_ROWS", 7)
    assert np.array_equal(find_fireflies(planes_of(rgb)), whole)
    assert whole.any()


@pytest.mark.parametrize("shape", [(1, 1), (1, 9), (2, 3), (5, 4)])
def test_tiny_pictures_are_looked_at_without_harm(shape: tuple[int, int]) -> None:
    assert not find_flaws(planes_of(np.ones((*shape, 3), np.float32))).fireflies.any()


def test_flaws_are_counted_apart() -> None:
    rgb = grainy()
    rgb[3, 4] = -0.5
    rgb[5, 6] = 65504
    rgb[10, 20] = 50
    counts = find_flaws(planes_of(rgb)).counts
    assert counts["negative"] == 1
    assert counts["overflow"] == 1
    assert counts["fireflies"] == 2  # the overflow is an outlier as well
    assert counts["flat top"] == 0


def test_flat_top_of_clipped_light() -> None:
    clipped = np.minimum(grainy(2, (100, 100)), 0.7)
    flaws = find_flaws(planes_of(clipped))
    assert flaws.top == pytest.approx(0.7)
    assert flaws.counts["flat top"] == np.count_nonzero((clipped >= 0.7 * 0.995).any(-1))
    assert flat_top(grainy(2, (100, 100))[..., 0]) is None


def test_black_is_not_negative() -> None:
    """Nor is minus nothing, which equals nothing (IEEE 754-2019, 5.11)."""
    black = grainy(2, (40, 40))
    black[:10], black[10:20] = 0, -0.0
    assert find_flaws(planes_of(black)).counts["negative"] == 0


@pytest.mark.parametrize(("pixels", "told"), [(15, None), (16, 3.0)])
def test_a_few_pixels_that_are_alike_are_no_flat_top(pixels: int, told: float | None) -> None:
    plane = np.full((64, 64), 0.5, np.float32)
    plane.flat[:pixels] = 3
    assert flat_top(plane) == told


def test_a_lamp_shade_and_a_bright_wall_are_no_flat_top() -> None:
    """Light that falls off evenly, over a few per cent or down to black, was not cut off."""
    shade = np.full((64, 64), 0.3, np.float32)
    shade.flat[:1000] = np.linspace(0.955, 1, 1000)
    wall = np.linspace(0, 1, 64 * 64, dtype=np.float32).reshape(64, 64)
    assert flat_top(shade) is None
    assert flat_top(wall) is None


def test_nothing_is_mended_unless_asked() -> None:
    image = image_of(grainy())
    assert not Repair().goes_further
    assert repair(image, Repair()) is image


def test_fireflies_become_the_median_of_their_neighbours() -> None:
    rgb = grainy()
    sound = rgb.copy()
    rgb[10, 20] = 80
    mended = repair(image_of(rgb), Repair(fireflies=True))
    around = sound[9:12, 19:22].reshape(9, 3)
    expected = np.median(np.delete(around, 4, axis=0), axis=0)
    assert np.allclose(mended.rgb()[10, 20], expected, rtol=1e-5)
    untouched = np.ones(rgb.shape[:2], bool)
    untouched[10, 20] = False
    assert np.array_equal(mended.rgb()[untouched], sound[untouched])
    assert mended.census.replaced == 2  # one NaN while reading, one firefly here
    assert rgb[10, 20, 0] == 80  # the picture that was given is left alone


def test_negatives_are_lifted_only_where_asked() -> None:
    rgb = grainy()
    rgb[1, 1] = -2
    assert repair(image_of(rgb), Repair(fireflies=True)).rgb()[1, 1, 0] == -2
    assert repair(image_of(rgb), Repair(negatives=True)).rgb()[1, 1].tolist() == [0, 0, 0]


def test_rendered_fireflies(studio: Any) -> None:
    """Most strikes of a noisy rendering are found; hardly anything else is."""
    bright = type(studio)(studio.clean, samples=256, fireflies=3e-4)
    without = type(studio)(studio.clean, samples=256, fireflies=0.0)
    struck, calm = bright.passes(3)["fill"], without.passes(3)["fill"]
    assert np.count_nonzero(find_fireflies(planes_of(calm))) == 0
    strikes = struck > 4 * np.maximum(studio.clean["fill"], 0.05)
    found = find_fireflies(planes_of(struck))
    caught = np.count_nonzero(found & strikes.any(-1)) / np.count_nonzero(strikes.any(-1))
    assert caught > 0.9
