"""CIEDE2000 against the published pairs and colour-science."""

from __future__ import annotations

import warnings

import numpy as np
import pytest

from evenfall.light.ciede2000 import ciede2000

with warnings.catch_warnings():  # of optional packages that are not there
    warnings.simplefilter("ignore")
    import colour

FOUR_DECIMALS = 6e-5
SINGLE_PRECISION = 2e-4  # of differences up to a hundred, worked out from colours up to a hundred

# Sharma, Wu and Dalal, "The CIEDE2000 color-difference formula: implementation notes,
# supplementary test data, and mathematical observations" (2005), table 1, by number of the pair.
PAIRS = {
    1: ((50, 2.6772, -79.7751), (50, 0, -82.7485), 2.0425),
    4: ((50, -1.3802, -84.2814), (50, 0, -82.7485), 1.0000),
    7: ((50, 0, 0), (50, -1, 2), 2.3669),
    9: ((50, 2.49, -0.001), (50, -2.49, 0.0009), 7.1792),
    11: ((50, 2.49, -0.001), (50, -2.49, 0.0011), 7.2195),
    13: ((50, -0.001, 2.49), (50, 0.0009, -2.49), 4.8045),
    15: ((50, -0.001, 2.49), (50, 0.0011, -2.49), 4.7461),
    17: ((50, 2.5, 0), (73, 25, -18), 27.1492),
    25: ((60.2574, -34.0099, 36.2677), (60.4626, -34.1751, 39.4387), 1.2644),
    29: ((22.7233, 20.0904, -46.694), (23.0331, 14.973, -42.5619), 2.0373),
    33: ((6.7747, -0.2908, -2.4247), (5.8714, -0.0985, -2.2286), 0.6377),
}


@pytest.mark.parametrize("pair", PAIRS)
def test_published_pairs(pair: int) -> None:
    one, other, difference = PAIRS[pair]
    for some in ((one, other), (other, one)):
        found = ciede2000(*(np.array(lab, np.float32) for lab in some))
        assert float(found) == pytest.approx(difference, abs=FOUR_DECIMALS)


@pytest.mark.parametrize("spread", [0.3, 3.0, 60.0])
def test_any_colours_are_as_far_apart_as_colour_science_has_it(spread: float) -> None:
    """Near and far, of all hues, whites beyond paper and greys among them."""
    rng = np.random.default_rng(2000)
    one = rng.uniform([0, -100, -100], [120, 100, 100], (4000, 3)).astype(np.float32)
    other = (one + rng.normal(0, spread, one.shape)).astype(np.float32)
    one[:500, 1:] = 0
    other[250:750, 1:] = 0
    expected = colour.delta_E(one.astype(np.float64), other.astype(np.float64), method="CIE 2000")
    np.testing.assert_allclose(ciede2000(one.T, other.T), expected, atol=SINGLE_PRECISION)
