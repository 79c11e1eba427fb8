"""The noise of real renders: how it is tied, and how much nearer to the truth a denoised mix is.

Two renders of one light with other seeds differ by noise alone. With one of them denoised, what is
left of the difference is the noise of the other and the error of the first: no clean render is
needed to know it.
"""

from __future__ import annotations

from collections.abc import Callable
from importlib.util import find_spec

import numpy as np
import pytest

from evenfall.look.mix_noise import denoise_mix, measure_noise, share_of_noise_left
from evenfall.passes.mending.denoise import Guides, denoise

needs_library = pytest.mark.skipif(
    find_spec("pyoidn") is None, reason="install it with: pip install 'evenfall[denoise]'"
)


@pytest.fixture(scope="module")
def seeds(relit: Callable[[str], np.ndarray]) -> tuple[np.ndarray, np.ndarray]:
    """The sky of the sample view with two seeds, (3, H, W); rendered with a filter of its own."""
    one, two = (
        np.ascontiguousarray(np.moveaxis(relit(f"sky_seed_{seed}"), -1, 0)) for seed in (1, 2)
    )
    return one, two


def lightness(planes: np.ndarray, scale: float) -> np.ndarray:
    """L* of CIE 15 but for its dark end: even steps for the eye, so that lamps do not decide."""
    return 116 * np.cbrt(np.clip(planes * scale, 0, 1)) - 16


def mean_square(one: np.ndarray, two: np.ndarray, scale: float) -> float:
    return float(np.mean((lightness(one, scale) - lightness(two, scale)) ** 2))


def test_correlation_is_that_of_the_difference_of_two_seeds(
    seeds: tuple[np.ndarray, np.ndarray],
) -> None:
    """The difference is noise and nothing else: its correlation needs no estimate."""
    one, two = (planes.mean(axis=0) for planes in seeds)
    noise = (one - two) / np.maximum(one + two, 0.2 * np.median(one + two))
    noise = np.clip(noise, *np.percentile(noise, [1, 99]))
    found = np.corrcoef(noise[:, 1:].ravel(), noise[:, :-1].ravel())[0, 1]
    measured = measure_noise(seeds[0])
    assert measured is not None
    assert measured.is_tied
    assert measured.correlation == pytest.approx(found, abs=0.12)


@needs_library
def test_the_error_to_the_truth_falls(seeds: tuple[np.ndarray, np.ndarray]) -> None:
    one, two = seeds
    scale = float(0.18 / np.median(one))
    noise = mean_square(one, two, scale) / 2  # of one seed
    clean = denoise_mix(one, Guides(), 1.0, measure_noise(one))
    alone = np.stack(denoise(list(one)))
    errors = [
        np.sqrt(max(mean_square(planes, two, scale) - noise, 0) / noise)
        for planes in (clean, alone)
    ]
    assert errors[0] < 0.65  # of the error of the noisy render
    assert errors[1] > 0.9  # what the denoiser makes of tied noise
    left = share_of_noise_left(one, clean)
    assert left is not None
    assert left < 0.4


@needs_library
def test_light_stays_as_it_is(seeds: tuple[np.ndarray, np.ndarray]) -> None:
    one = seeds[0]
    clean = denoise_mix(one, Guides(), 1.0, measure_noise(one))
    np.testing.assert_allclose(clean.mean(axis=(1, 2)), one.mean(axis=(1, 2)), rtol=0.01)
    half = denoise_mix(one, Guides(), 0.5, measure_noise(one))
    np.testing.assert_allclose(half, (one + clean) / 2, rtol=1e-4, atol=1e-6)
