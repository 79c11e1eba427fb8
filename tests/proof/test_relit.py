"""A mix of passes equals a new render with those lamps, within the noise of the renders.

The truths are path-traced by an independent renderer library with other seeds, all lights at once;
`sample_passes/README.md` says how. Every picture was rendered twice, so that the noise of a block's
mean is known (`sample_passes/scene/noise.json`) and a difference can be said in units of it.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest

import evenfall

Array = npt.NDArray[np.float32]
Floats = npt.NDArray[np.float64]

# The pictures' pixel filter is a box widened by 1 6 1 down and across: it lowers a pixel's variance
# by the square of (1 + 36 + 1) / 64, and leaves that of a large mean as it is.
FILTER_VARIANCE = (38 / 64) ** 2

# Mean square of differences in units of their noise is 1 when only noise differs. The 144 blocks
# (their channels move together) give it a scatter of sqrt(2 / 144), or 0.12; noise is itself
# measured, and rare bright samples make it scatter more.
CHI_LIMIT = 1.7

SET_UPS = {"beauty": "beauty", "day": "truth_day", "dusk": "truth_dusk"}


def _block_means(picture: Array, rows: int, columns: int) -> Floats:
    return np.array(
        [
            [cell.mean(axis=(0, 1), dtype=np.float64) for cell in np.array_split(band, columns, 1)]
            for band in np.array_split(picture, rows, 0)
        ]
    )


def _block_noise(
    noise: dict[str, Any], factors: dict[str, Floats], truth_name: str, block_pixels: float
) -> Floats:
    """Standard deviation of the difference of block means, shape (9, 16, 3)."""
    variance: Any = np.square(np.array(noise[truth_name]["grid_std"]))[..., None] * np.ones(3)
    for name, factor in factors.items():
        variance = variance + np.square(np.array(noise[name]["grid_std"]))[..., None] * factor**2
    return np.asarray(np.sqrt(variance / FILTER_VARIANCE / block_pixels))


def misfit(
    mix: Array, truth: Array, noise: dict[str, Any], factors: dict[str, Floats], truth_name: str
) -> float:
    """Mean square of the differences of block means, in units of their noise; 1 if all is noise."""
    rows, columns = np.array(noise[truth_name]["grid_std"]).shape
    block_pixels = mix.shape[0] * mix.shape[1] / rows / columns
    sigma = _block_noise(noise, factors, truth_name, block_pixels)
    difference = _block_means(mix, rows, columns) - _block_means(truth, rows, columns)
    return float(np.mean((difference / sigma) ** 2))


def _factors(set_ups: dict[str, Any], mood: str) -> dict[str, Floats]:
    if mood == "beauty":
        return {name: np.ones(3) for name in set_ups["passes"]}
    lights = set_ups["truths"][SET_UPS[mood]]
    return {name: np.array(light["factors_rgb"]) for name, light in lights.items()}


@pytest.mark.parametrize("mood", SET_UPS)
def test_mix_equals_an_independent_render(
    mood: str,
    mix_of: Callable[[str], Array],
    truth: Callable[[str], Array],
    noise: dict[str, Any],
    set_ups: dict[str, Any],
) -> None:
    mix = mix_of(mood)
    factors = _factors(set_ups, mood)
    assert misfit(mix, truth(mood), noise, factors, SET_UPS[mood]) < CHI_LIMIT
    np.testing.assert_allclose(
        mix.mean(axis=(0, 1), dtype=np.float64),
        truth(mood).mean(axis=(0, 1), dtype=np.float64),
        rtol=0.003,  # the noise of the whole picture's mean is a tenth of a per cent or less
    )


@pytest.mark.parametrize(
    ("mood", "light"), [("day", "sun"), ("day", "sky"), ("dusk", "pendants"), ("dusk", "sky")]
)
def test_a_balance_that_is_wrong_by_two_per_cent_is_rejected(
    mood: str,
    light: str,
    mix_of: Callable[[str], Array],
    proof_recipe: Callable[..., evenfall.Recipe],
    truth: Callable[[str], Array],
    noise: dict[str, Any],
    set_ups: dict[str, Any],
) -> None:
    stops = set_ups["truths"][SET_UPS[mood]][light]["gain_stops"] + float(np.log2(1.02))
    right = mix_of(mood)
    wrong = evenfall.open(proof_recipe((f"moods.{mood}.lights.{light}.stops={stops}",))).mix(mood)
    factors = _factors(set_ups, mood)
    sound = misfit(right, truth(mood), noise, factors, SET_UPS[mood])
    found = misfit(wrong, truth(mood), noise, factors, SET_UPS[mood])
    assert found > CHI_LIMIT
    assert found > 1.5 * sound


def test_a_balance_that_is_wrong_by_two_per_cent_all_over_is_rejected(
    mix_of: Callable[[str], Array],
    truth: Callable[[str], Array],
    noise: dict[str, Any],
    set_ups: dict[str, Any],
) -> None:
    for mood, name in SET_UPS.items():
        mix = np.float32(1.02) * mix_of(mood)
        assert misfit(mix, truth(mood), noise, _factors(set_ups, mood), name) > 5 * CHI_LIMIT


def test_nan_is_not_taken_for_agreement(
    truth: Callable[[str], Array], noise: dict[str, Any], set_ups: dict[str, Any]
) -> None:
    broken = truth("day").copy()
    broken[5, 5] = np.nan
    factors = _factors(set_ups, "day")
    assert not misfit(broken, truth("day"), noise, factors, "truth_day") < CHI_LIMIT


def test_lamp_rendered_at_another_colour_equals_the_tinted_pass(
    relit: Callable[[str], Array],
) -> None:
    """Pendants rendered at 3000 K and asked for 2200 K, against a render at 2200 K."""
    from evenfall.light.primaries import BT709
    from evenfall.light.tint import tint_factors
    from evenfall.recipe import LightSetting, Rendered

    tint = tint_factors(LightSetting(kelvin=2200), Rendered(kelvin=3000), BT709)
    tinted = relit("pendants_3000K") * np.asarray(tint.factors, np.float32)
    rendered = relit("pendants_2200K")
    means = tinted.mean(axis=(0, 1)) / rendered.mean(axis=(0, 1))
    np.testing.assert_allclose(means, 1.0, atol=0.01)
    ratio = _block_means(tinted, 6, 8) / _block_means(rendered, 6, 8)
    assert float(np.median(np.abs(ratio - 1))) < 0.02
    untinted = relit("pendants_3000K").mean(axis=(0, 1)) / rendered.mean(axis=(0, 1))
    assert untinted[2] > 1.5  # blue: the tint is what makes them equal


def test_noise_read_from_one_render_is_what_a_second_one_shows(
    relit: Callable[[str], Array],
) -> None:
    from evenfall.advice.noise import noise_grid

    first, second = (np.moveaxis(relit(f"sky_seed_{n}"), -1, 0) for n in (1, 2))
    grid = noise_grid(first)
    rows, columns = grid.sigma.shape[1:]
    apart = (first - second)[:, : rows * 16, : columns * 16] / np.sqrt(2)
    measured = apart.reshape(3, rows, 16, columns, 16).std(axis=(2, 4))
    ratio = grid.sigma[measured > 0] / measured[measured > 0]
    assert 0.75 < float(np.median(ratio)) < 1.25
    assert 0.6 < float(grid.sigma.mean() / measured.mean()) < 1.4


def test_predicted_noise_of_a_mix_is_what_a_second_mix_shows(
    relit: Callable[[str], Array],
) -> None:
    """A light three stops up: eight times the noise, in the prediction and between two seeds."""
    from evenfall.advice.headroom import predicted_sigma
    from evenfall.advice.noise import noise_grid

    first, second = (np.moveaxis(relit(f"sky_seed_{n}"), -1, 0) for n in (1, 2))
    grids = {"sky": noise_grid(first)}
    predicted = predicted_sigma(grids, {"sky": (8.0, 4.0, 2.0)})
    factors = np.array([8.0, 4.0, 2.0], np.float32)[:, None, None]
    rows, columns = predicted.shape[1:]
    apart = ((first - second) * factors)[:, : rows * 16, : columns * 16] / np.sqrt(2)
    measured = apart.reshape(3, rows, 16, columns, 16).std(axis=(2, 4))
    by_channel = predicted.mean(axis=(1, 2)) / measured.mean(axis=(1, 2))
    assert np.all((by_channel > 0.6) & (by_channel < 1.4))


def test_foliage_and_carpet_of_the_sample_are_not_taken_for_noise(
    sample: Callable[[str], Array], truth: Callable[[str], Array], noise: dict[str, Any]
) -> None:
    """The beauty has random numbers of its own: it differs from the sum by the noise of both.

    How much of the difference is the sum's is told by the half renders of `noise.json`. The
    noisiest places in proportion to their light are held to, as advice does.
    """
    from evenfall.advice.headroom import predicted_sigma
    from evenfall.advice.noise import noise_grid

    lights = [name for name in noise if name != "beauty" and not name.startswith("truth")]
    passes = {name: np.moveaxis(sample(name), -1, 0) for name in lights}
    grids = {name: noise_grid(planes) for name, planes in passes.items()}
    whole = np.sum(list(passes.values()), axis=0, dtype=np.float32)
    of_sum = sum(np.square(noise[name]["grid_std"]) for name in lights)
    share = np.sqrt(of_sum / (of_sum + np.square(noise["beauty"]["grid_std"])))
    cells = (np.moveaxis(truth("beauty"), -1, 0) - whole)[1].reshape(45, 16, 80, 16)
    true = cells.std(axis=(1, 3)) * np.kron(share, np.ones((5, 5)))
    light = sum(grid.mean[1] for grid in grids.values())
    predicted = predicted_sigma(grids, dict.fromkeys(lights, (1.0, 1.0, 1.0)))[1]
    for percentile in (50, 75, 95):
        found, expected = (np.percentile(each / light, percentile) for each in (predicted, true))
        assert found == pytest.approx(expected, rel=0.25)
