"""Cosine transforms, against those of SciPy."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.fft import dctn

from evenfall.look import cosines
from evenfall.look.cosines import even_spectrum, from_spectrum, spectrum_of

SIZES = [(1, 1), (1, 2), (2, 1), (3, 4), (5, 7), (64, 48), (33, 100)]
ROUNDING = 1e-6  # of the largest number, in float32


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("chunk", [1, 300, 1 << 16])
def test_spectra_are_those_of_scipy(
    size: tuple[int, int], chunk: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cosines, "_CHUNK", chunk)
    plane = np.random.default_rng(3).random(size, np.float32)
    expected = dctn(plane.astype(float), type=2) / 4
    found = spectrum_of(plane)
    assert found.dtype == np.float32
    np.testing.assert_allclose(found.T, expected, atol=ROUNDING * expected.max())
    np.testing.assert_allclose(from_spectrum(found), plane, atol=ROUNDING)


@pytest.mark.parametrize("size", [(2, 2), (2, 3), (5, 8), (65, 49)])
def test_even_spectra_are_those_of_scipy(size: tuple[int, int]) -> None:
    plane = np.random.default_rng(4).random(size)
    expected = dctn(plane, type=1)
    np.testing.assert_allclose(even_spectrum(plane), expected, atol=1e-12 * np.abs(expected).max())
