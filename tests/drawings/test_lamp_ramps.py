"""Ramps of lamp light: colours of lamps, by colour-science, where the drawing says."""

from __future__ import annotations

import warnings

import numpy as np
import pytest

from evenfall.drawings.lamp_ramps import draw_lamp_ramps, lamp_ramp
from evenfall.recipe.look import Look

with warnings.catch_warnings():  # of optional packages that are not installed
    warnings.simplefilter("ignore")
    import colour

PLAIN = Look(tone="clip", gamut={"method": "clip"})


# CIE 1931 xy of Planckian light: CIE 15:2018, c2 = 1.4388e-2 m K, integrated from 360 to 830 nm.
PLANCKIAN = {2700.0: (0.45986, 0.41060), 4000.0: (0.38044, 0.37675), 6500.0: (0.31353, 0.32363)}


@pytest.mark.parametrize("kelvin", PLANCKIAN)
def test_lamps_have_the_chromaticity_of_planck(kelvin: float) -> None:
    """A dim wall through no curve: colour-science decodes its codes to the lamp's xy."""
    codes = lamp_ramp(PLAIN, np.array([-0.5]), kelvin)
    xy = colour.XYZ_to_xy(colour.sRGB_to_XYZ(codes[0] / 255))
    np.testing.assert_allclose(xy, PLANCKIAN[kelvin], atol=0.002)  # whole codes of 8 bits


def test_a_wall_at_grey_is_at_grey() -> None:
    """IEC 61966-2-1: 18 % is code 117.65."""
    assert lamp_ramp(PLAIN, np.array([0.0]), None).tolist() == [[118, 118, 118]]


def test_rows_lie_where_the_looks_are_named() -> None:
    drawn = draw_lamp_ramps({"one": Look(), "two": PLAIN}, kelvin=[2700.0], width=1280)
    left, stops = 64 + 250, np.linspace(-5, 7, 1280 - 250)
    for number, look in enumerate((Look(), PLAIN)):
        row = drawn[150 + number * 36 + 14, left : 64 + 1280]
        np.testing.assert_array_equal(row, lamp_ramp(look, stops, 2700.0))
