"""OKLab against the pairs its author printed, and colour-science."""

from __future__ import annotations

import warnings

import numpy as np
import pytest

from evenfall.light.oklab import oklab_to_bt709

with warnings.catch_warnings():  # of optional packages that are not installed
    warnings.simplefilter("ignore")
    import colour

# Ottosson 2020, table of XYZ and OKLab pairs, printed to three digits: white, X, Y and Z alone.
PRINTED = {
    (0.950, 1.000, 1.089): (1.000, 0.000, 0.000),
    (1.000, 0.000, 0.000): (0.450, 1.236, -0.019),
    (0.000, 1.000, 0.000): (0.922, -0.671, 0.263),
    (0.000, 0.000, 1.000): (0.153, -1.415, -0.449),
}


@pytest.mark.parametrize("xyz", PRINTED)
def test_pairs_of_the_source(xyz: tuple[float, ...]) -> None:
    """Three printed digits, cubed and multiplied by up to 5: within 0.05."""
    matrix = colour.RGB_COLOURSPACES["ITU-R BT.709"].matrix_XYZ_to_RGB
    found = oklab_to_bt709(np.array(PRINTED[xyz]))
    np.testing.assert_allclose(found, matrix @ np.array(xyz), rtol=0, atol=0.05)


def test_colours_as_colour_science_has_them() -> None:
    """The source's matrices go to BT.709 by way of a white rounded to four digits."""
    rng = np.random.default_rng(3)
    lab = np.stack([rng.uniform(0, 1, 50), *rng.uniform(-0.2, 0.2, (2, 50))], axis=-1)
    matrix = colour.RGB_COLOURSPACES["ITU-R BT.709"].matrix_XYZ_to_RGB
    expected = colour.Oklab_to_XYZ(lab) @ matrix.T
    np.testing.assert_allclose(oklab_to_bt709(lab), expected, rtol=0, atol=2e-3)
