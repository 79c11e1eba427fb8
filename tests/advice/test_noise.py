"""Noise of a pass and headroom of a mood, against noise that was put in."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from evenfall.advice.headroom import (
    MAX_HEADROOM_STOPS,
    Headroom,
    predict_noise,
    predicted_sigma,
)
from evenfall.advice.noise import NoiseGrid, noise_grid

# The estimator's own scatter on 196 differences a block, averaged over hundreds of blocks.
SIGMA_TOLERANCE = 0.03
# Texture of the pass that is no noise, and edges; stays within a fifth.
TEXTURE_TOLERANCE = 0.2


def _noisy(scene: np.ndarray, relative_sigma: float, seed: int) -> np.ndarray:
    rng = np.random.default_rng(seed)
    return (scene * (1 + relative_sigma * rng.standard_normal(scene.shape))).astype(np.float32)


@pytest.mark.parametrize("sigma", [0.001, 0.01, 0.1])
@pytest.mark.parametrize("dtype", [np.float32, np.float64])
def test_white_noise_on_smooth_shading_is_found(sigma: float, dtype: type) -> None:
    ramp = np.linspace(0.5, 1.5, 320, dtype=dtype) * np.linspace(1, 2, 240, dtype=dtype)[:, None]
    rng = np.random.default_rng(3)
    planes = np.stack([ramp + sigma * rng.standard_normal(ramp.shape)] * 3).astype(dtype)
    found = float(noise_grid(planes).sigma.mean())
    assert found == pytest.approx(sigma, rel=SIGMA_TOLERANCE)


def test_texture_and_edges_are_not_taken_for_noise() -> None:
    y, x = np.mgrid[0:480, 0:640]
    planks = 0.4 + 0.2 * ((x // 41 + y // 97) % 2) + 0.05 * np.sin(x / 9.0)
    found = noise_grid(_noisy(np.stack([planks] * 3), 0.03, seed=5))
    relative = float(np.median(found.sigma / found.mean))
    assert relative == pytest.approx(0.03, rel=TEXTURE_TOLERANCE)


@cache
def _leaves(smallest: float, largest: float, number: int, shape: tuple[int, int]) -> np.ndarray:
    """Discs that cover one another, as many of each size as natural pictures have.

    The "dead leaves" of Lee, Mumford and Huang (2001, "Occlusion models for natural images",
    International Journal of Computer Vision 41): radii by the inverse cube.
    """
    rng = np.random.default_rng(17)
    picture = np.full(shape, 0.5)
    y, x = np.mgrid[: shape[0], : shape[1]]
    for _ in range(number):
        part = rng.random()
        radius = (smallest**-2 - part * (smallest**-2 - largest**-2)) ** -0.5
        down, across = rng.random(2) * shape
        rows = slice(max(0, int(down - radius)), int(down + radius) + 2)
        columns = slice(max(0, int(across - radius)), int(across + radius) + 2)
        disc = (y[rows, columns] - down) ** 2 + (x[rows, columns] - across) ** 2 < radius**2
        picture[rows, columns][disc] = rng.uniform(0.1, 0.9)
    return picture


@pytest.mark.parametrize("filter_pixels", [0.3, 0.5])
@pytest.mark.parametrize("relative", [0.0, 0.01, 0.03, 0.1])
@pytest.mark.parametrize("smallest", [1.0, 2.0, 5.0])
def test_leaves_beside_a_wall_are_as_noisy_as_the_wall(
    smallest: float, relative: float, filter_pixels: float
) -> None:
    from scipy.ndimage import gaussian_filter

    wall = np.tile(np.linspace(0.2, 0.8, 480), (160, 1))
    scene = np.concatenate([wall, _leaves(smallest, 40, 20_000, (160, 480))])
    filtered = gaussian_filter(scene, filter_pixels)
    found = noise_grid(_noisy(np.stack([filtered] * 3), relative, seed=19))
    among_leaves = (found.sigma / found.mean)[:, found.sigma.shape[1] // 2 + 1 :]
    assert float(np.median(among_leaves)) == pytest.approx(relative, rel=0.1, abs=0.002)


def test_nothing_but_leaves_adds_little_to_noise() -> None:
    """Where no wall tells, texture adds to the noise that is found, less than what is seen."""
    leaves = _leaves(3, 60, 20_000, (320, 480))
    for relative, most in ((0.0, 0.05), (0.1, 0.135)):
        found = noise_grid(_noisy(np.stack([leaves] * 3), relative, seed=23))
        assert relative <= float(np.median(found.sigma / found.mean)) < most


def test_a_noiseless_pass_has_none() -> None:
    ramp = np.broadcast_to(np.linspace(0, 1, 256, dtype=np.float32), (3, 128, 256))
    assert float(noise_grid(ramp).sigma.max()) < 1e-6


def test_half_float_pass_reads_like_float() -> None:
    planes = _noisy(np.full((3, 160, 160), 0.5), 0.05, seed=7)
    half = noise_grid(planes.astype(np.float16)).sigma
    np.testing.assert_allclose(half, noise_grid(planes).sigma, rtol=0.02)


def test_picture_smaller_than_a_block_is_one_block() -> None:
    assert noise_grid(np.ones((3, 7, 9), np.float32)).mean.shape == (3, 1, 1)


def test_picture_too_small_to_tell_has_no_noise() -> None:
    grid = noise_grid(np.full((3, 3, 40), 0.5, np.float32))
    assert float(grid.mean[0, 0, 0]) == 0.5
    assert not grid.sigma.any()


@pytest.mark.parametrize(("filter_pixels", "least"), [(0.3, 0.95), (0.5, 0.9), (0.7, 0.75)])
def test_pixel_filters_of_renderers_hide_little(filter_pixels: float, least: float) -> None:
    from scipy.ndimage import gaussian_filter

    white = np.random.default_rng(11).standard_normal((320, 320))
    filtered = gaussian_filter(white, filter_pixels)
    plane = 5.0 + 0.05 * filtered / filtered.std()
    found = float(noise_grid(np.stack([plane] * 3).astype(np.float32)).sigma.mean())
    assert least * 0.05 < found < 1.03 * 0.05


def test_predicted_noise_of_a_mix_equals_that_of_mixed_renders() -> None:
    """Var(sum g X) = sum g^2 Var(X) for independent X: any text on probability."""
    first = np.stack([_noisy(np.full((256, 256), 0.2), 0.04, seed=i) for i in (1, 2, 3)])
    second = np.stack([_noisy(np.full((256, 256), 0.6), 0.02, seed=i) for i in (4, 5, 6)])
    factors = {"a": (2.0, 2.0, 2.0), "b": (0.5, 0.5, 0.5)}
    grids = {"a": noise_grid(first), "b": noise_grid(second)}
    predicted = float(predicted_sigma(grids, factors).mean())
    mixed = first * 2.0 + second * 0.5
    assert predicted == pytest.approx(float(mixed.std(axis=(1, 2)).mean()), rel=SIGMA_TOLERANCE)


def _grid(mean: float, sigma: float) -> NoiseGrid:
    return NoiseGrid(np.full((3, 4, 4), mean, np.float32), np.full((3, 4, 4), sigma, np.float32))


def _hundredfold(planes: np.ndarray) -> np.ndarray:
    return 100.0 * planes.mean(axis=0)


def test_headroom_of_a_single_light_is_the_stops_to_the_limit() -> None:
    """Display 100 times the mix: noise 0.25 reaches the limit 1 after exactly two stops."""
    prediction = predict_noise({"lamp": _grid(0.1, 0.0025)}, {"lamp": (1, 1, 1)}, _hundredfold, 1.0)
    assert prediction.noise_lightness == pytest.approx(0.25, rel=1e-4)
    assert prediction.headroom["lamp"].stops == pytest.approx(2.0, abs=0.01)
    assert prediction.noise_share["lamp"] == pytest.approx(1.0)


def test_clean_light_has_all_the_headroom_and_a_passed_mood_has_none() -> None:
    grids = {"clean": _grid(0.1, 0.0), "noisy": _grid(0.1, 0.05)}
    clean = predict_noise({"clean": grids["clean"]}, {"clean": (1, 1, 1)}, _hundredfold, 1.0)
    assert clean.headroom["clean"] == Headroom(MAX_HEADROOM_STOPS)
    both = predict_noise(grids, {"clean": (1, 1, 1), "noisy": (1, 1, 1)}, _hundredfold, 1.0)
    assert both.noise_lightness == pytest.approx(5.0, rel=1e-4)
    assert set(both.headroom.values()) == {Headroom(0.0)}
    assert both.noise_share["noisy"] == pytest.approx(1.0)


def _lightness(planes: np.ndarray) -> np.ndarray:
    """L* of a display that burns white at 1 (CIE 15:2018, the cube root part)."""
    return 116 * np.cbrt(np.clip(planes.mean(axis=0), 0, 1)) - 16


def test_headroom_ends_where_noise_first_reaches_the_limit() -> None:
    """dL* = 116/3 Y^(1/3) s for a relative noise s: 1 at Y = (3 / 116 s)^3; at +8 all is white."""
    relative = 0.05
    level = 0.02
    reached = (3 / (116 * relative)) ** 3  # below 1: it is seen before white calms it
    grids = {"lamp": _grid(level, relative * level)}
    prediction = predict_noise(grids, {"lamp": (1, 1, 1)}, _lightness, 1.0)
    assert prediction.headroom["lamp"].stops == pytest.approx(np.log2(reached / level), abs=0.02)
    assert not prediction.headroom["lamp"].burns_out


def test_a_light_that_burns_white_before_its_noise_shows_is_told_so() -> None:
    """0.1 is at white after log2 10 = 3.3 stops; another stop adds nothing from there on."""
    prediction = predict_noise({"lamp": _grid(0.1, 0.0005)}, {"lamp": (1, 1, 1)}, _lightness, 1.0)
    assert prediction.headroom["lamp"] == Headroom(3.5, burns_out=True)


def test_a_light_that_is_black_all_the_way_has_all_the_headroom() -> None:
    faint = {"lamp": _grid(1e-9, 1e-12)}
    prediction = predict_noise(faint, {"lamp": (1, 1, 1)}, _lightness, 1.0)
    assert prediction.headroom["lamp"] == Headroom(MAX_HEADROOM_STOPS)
