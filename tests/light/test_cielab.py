"""CIE L*a*b* against published colours and colour-science."""

from __future__ import annotations

import warnings

import numpy as np
import pytest

from evenfall.light.cielab import rgb_to_lab
from evenfall.light.primaries import BT709, DISPLAY_P3

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import colour

SINGLE = 2e-3  # float32 in, cube roots of it out


@pytest.mark.parametrize(
    ("rgb", "lab"),
    [  # linear BT.709 primaries, white 0.3127, 0.3290; worked out with colour-science 0.4.7
        ((1, 0, 0), (53.2371, 80.0901, 67.2033)),
        ((0, 1, 0), (87.7355, -86.1816, 83.1866)),
        ((0, 0, 1), (32.3009, 79.1953, -107.8555)),
        ((1, 1, 1), (100, 0, 0)),  # by definition
        ((0, 0, 0), (0, 0, 0)),
        ((0.18, 0.18, 0.18), (49.496, 0, 0)),  # 116 x 0.18^(1/3) - 16
        ((0.001, 0.001, 0.001), (0.9033, 0, 0)),  # 24389/27 x 0.001, on the straight part
    ],
)
def test_known_colours(rgb: tuple[float, ...], lab: tuple[float, ...]) -> None:
    found = rgb_to_lab(np.array(rgb, np.float32), BT709)
    assert found.tolist() == pytest.approx(lab, abs=SINGLE)


def test_any_colour_is_what_colour_science_says() -> None:
    rgb = np.random.default_rng(5).random((3, 40, 30)).astype(np.float32)
    space = colour.RGB_COLOURSPACES["Display P3"]
    xyz = np.tensordot(rgb.T.astype(np.float64), space.matrix_RGB_to_XYZ.T, 1)
    expected = colour.XYZ_to_Lab(xyz, space.whitepoint)
    assert np.abs(rgb_to_lab(rgb, DISPLAY_P3).T - expected).max() < 0.02  # their matrix is rounded


def test_what_is_no_light_and_what_is_brighter_than_white() -> None:
    found = rgb_to_lab(np.array([[-1, 8], [-1, 8], [-1, 8]], np.float32), BT709)
    assert found[0].tolist() == pytest.approx([0, 216], abs=SINGLE)  # 116 x 2 - 16
