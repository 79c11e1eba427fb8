"""Noise headroom, against what two independent seeds show through the same look.

The truth is the difference of two pictures that differ by their noise alone, block by block; it is
scanned upwards for its first crossing, in steps and then within one, for raised far enough every
picture is white and calm.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest

from evenfall.advice.headroom import Headroom, predict_noise
from evenfall.advice.noise import BLOCK_PIXELS, noise_grid
from evenfall.light.cielab import cie_lightness
from evenfall.light.output_spaces import output_space
from evenfall.light.primaries import BT709, luminance_weights
from evenfall.look.chain import build_chain
from evenfall.recipe.look import Look

Array = npt.NDArray[np.float32]

STOPS = np.arange(0.0, 8.01, 0.1)
# Noise is known to a fifth from one picture; where it rises as slowly as with the root of the gain,
# a fifth is half a stop and more.
TOLERANCE_STOPS = 0.75
MEAN_TOLERANCE_STOPS = 0.5  # over the limits of a curve


def _lightness(tone: str, size: tuple[int, int]) -> Callable[[Array], Array]:
    chain = build_chain(
        Look(tone=tone),
        source=BT709,
        camera_matrix=np.eye(3),
        output=output_space("sRGB"),
        size=size,
        recipe_folder=Path(),
    )
    weights = luminance_weights(chain.output.rgb).astype(np.float32)

    def lightness(mix: Array) -> Array:
        display = chain.linear_rows(np.ascontiguousarray(mix, np.float32), 0)
        return cie_lightness(np.einsum("c,chw->hw", weights, display))

    return lightness


def _between_seeds(first: Array, second: Array, lightness: Callable[[Array], Array]) -> float:
    """Noise in L* that the worst 5 % of the blocks exceed, from two seeds."""
    apart = (lightness(first) - lightness(second)) / np.sqrt(2)
    rows, columns = (side // BLOCK_PIXELS for side in apart.shape)
    cells = apart[: rows * BLOCK_PIXELS, : columns * BLOCK_PIXELS]
    blocks = cells.reshape(rows, BLOCK_PIXELS, columns, BLOCK_PIXELS)
    return float(np.percentile(np.sqrt(np.mean(blocks**2, axis=(1, 3))), 95))


Noise = Callable[[float], float]
"""Between two seeds, by the stops by which their light is raised."""


def _noise(first: Array, second: Array, tone: str) -> Noise:
    lightness = _lightness(tone, (first.shape[2], first.shape[1]))

    def noise(stops: float) -> float:
        gain = np.float32(2.0**stops)
        return _between_seeds(first * gain, second * gain, lightness)

    return cache(noise)


def _reached(noise: Noise, limit: float) -> float | None:
    """Stops at which noise first reaches the limit; None if it never does."""
    loud = (place for place in range(0, STOPS.size, 4) if noise(float(STOPS[place])) >= limit)
    coarse = next(loud, None)
    if coarse is None:
        return None
    steps = map(float, STOPS[max(0, coarse - 3) : coarse + 1])
    return next(stops for stops in steps if noise(stops) >= limit)


def _predicted(first: Array, tone: str, limit: float) -> Headroom:
    grid = noise_grid(first)
    rows, columns = grid.mean.shape[1:]
    lightness = _lightness(tone, (columns, rows))
    return predict_noise({"sky": grid}, {"sky": (1, 1, 1)}, lightness, limit).headroom["sky"]


@pytest.fixture(scope="module")
def seeds(relit: Callable[[str], Array]) -> Callable[[str, float], tuple[Array, Noise]]:
    """A seed of the sky, so much darker, and the noise between it and the other; each once."""

    @cache
    def make(tone: str, darker: float) -> tuple[Array, Noise]:
        first, second = (np.moveaxis(relit(f"sky_seed_{n}"), -1, 0) / darker for n in (1, 2))
        return first, _noise(first, second, tone)

    return make


@pytest.mark.parametrize("tone", ["evenfall", "hable", "reinhard", "aces2"])
def test_headroom_is_what_two_seeds_show(
    tone: str, seeds: Callable[[str, float], tuple[Array, Noise]]
) -> None:
    errors = []
    for limit, darker in ((2.0, 256), (3.0, 256), (4.0, 256), (4.5, 16)):
        first, noise = seeds(tone, darker)
        measured = _reached(noise, limit)
        predicted = _predicted(first, tone, limit)
        assert measured is not None
        assert not predicted.burns_out
        errors.append(predicted.stops - measured)
    assert np.abs(errors).max() < TOLERANCE_STOPS
    assert abs(float(np.mean(errors))) < MEAN_TOLERANCE_STOPS


def _pair(relative: float, lowest: float) -> tuple[Array, Array]:
    """Two pictures of a grey ramp with white noise of this share of the light."""
    ramp = np.geomspace(lowest, 20 * lowest, 320, dtype=np.float32) * np.ones((160, 1), np.float32)
    first, second = (
        np.stack([ramp * (1 + relative * noise)] * 3).astype(np.float32)
        for noise in np.random.default_rng(9).standard_normal((2, *ramp.shape))
    )
    return first, second


@pytest.mark.parametrize("relative", [0.055, 0.06, 0.07, 0.08])
def test_headroom_is_what_a_pair_of_known_noise_shows(relative: float) -> None:
    first, second = _pair(relative, 0.001)
    measured = _reached(_noise(first, second, "evenfall"), 1.0)
    predicted = _predicted(first, "evenfall", 1.0)
    assert measured is not None
    assert predicted.stops == pytest.approx(measured, abs=TOLERANCE_STOPS)


@pytest.mark.parametrize("relative", [0.005, 0.02])
def test_a_light_whose_noise_shows_at_no_gain_burns_out(relative: float) -> None:
    first, second = _pair(relative, 0.2)
    assert _reached(_noise(first, second, "evenfall"), 1.0) is None
    predicted = _predicted(first, "evenfall", 1.0)
    assert predicted.burns_out
    white = _lightness("evenfall", (320, 160))(first * np.float32(2.0**predicted.stops))
    assert float(white.min()) > 95
