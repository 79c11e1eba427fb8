"""Means of blocks, against sums in float64."""

from __future__ import annotations

import numpy as np
import pytest

from evenfall.mix.averaging import area_mean


@pytest.mark.parametrize("size", [(8, 6), (7, 5)])
def test_the_mean_of_huge_values_is_finite(size: tuple[int, int]) -> None:
    """3e38 is near the end of IEEE 754 binary32: two of them have no sum in it."""
    plane = np.full((18, 24), 3e38, np.float32)
    np.testing.assert_allclose(area_mean(plane, size), 3e38, rtol=1e-6)


def test_blocks_that_fit_are_averaged_exactly() -> None:
    plane = np.random.default_rng(3).uniform(0, 9, (12, 20)).astype(np.float32)
    expected = plane.astype(np.float64).reshape(4, 3, 5, 4).mean(axis=(1, 3))
    np.testing.assert_allclose(area_mean(plane, (5, 4)), expected, rtol=1e-6)
