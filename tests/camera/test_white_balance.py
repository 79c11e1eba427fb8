"""White balance as a matrix, against colour-science's adaptation transforms."""

from __future__ import annotations

import warnings

import numpy as np
import pytest

from evenfall.camera.white_balance import balancing_matrix, white_balance_matrix
from evenfall.light.colour import kelvin_to_xy
from evenfall.light.primaries import ACESCG, BT709, luminance_weights, rgb_to_xyz
from evenfall.light.tint import light_rgb
from evenfall.recipe import WhiteBalance

EXACT = 1e-9


@pytest.mark.parametrize("space", [BT709, ACESCG])
@pytest.mark.parametrize("adaptation", ["CAT16", "Bradford"])
@pytest.mark.parametrize("kelvin", [2700, 3200, 4500, 6500, 10000])
def test_the_chosen_light_becomes_neutral_and_keeps_its_luminance(space, adaptation, kelvin):
    matrix = white_balance_matrix(WhiteBalance(kelvin=kelvin, adaptation=adaptation), space)
    lamp = light_rgb(kelvin_to_xy(kelvin), space)[0]
    assert matrix @ lamp == pytest.approx((1, 1, 1), abs=EXACT)


@pytest.mark.parametrize("adaptation", ["CAT16", "Bradford"])
def test_other_colours_move_as_the_reference_library_says(adaptation):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour

    xy = kelvin_to_xy(3200)
    source, target = (np.array([x / y, 1, (1 - x - y) / y]) for x, y in (xy, BT709.white))
    adapt = colour.adaptation.matrix_chromatic_adaptation_VonKries(
        source, target, transform="CAT16" if adaptation == "CAT16" else "Bradford"
    )
    to_xyz = rgb_to_xyz(BT709)
    expected = np.linalg.inv(to_xyz) @ adapt @ to_xyz
    matrix = balancing_matrix(xy, BT709, WhiteBalance(adaptation=adaptation))
    assert matrix == pytest.approx(expected, abs=1e-6)


def test_duv_moves_towards_magenta_for_a_green_lamp():
    """A lamp of that Duv comes out white; one on the locus lacks green, by much."""
    matrix = white_balance_matrix(WhiteBalance(kelvin=4000, duv=0.01), BT709)
    assert matrix @ light_rgb(kelvin_to_xy(4000, 0.01), BT709)[0] == pytest.approx(1, abs=EXACT)
    white = matrix @ light_rgb(kelvin_to_xy(4000, 0.0), BT709)[0]
    assert white[1] < 0.97 * white[0]
    assert white[1] < 0.97 * white[2]


@pytest.mark.parametrize("space", [BT709, ACESCG])
def test_a_neutral_spot_becomes_neutral(space):
    spot = np.array([0.31, 0.22, 0.11])
    matrix = white_balance_matrix(WhiteBalance(neutral=(0.4, 0.6)), space, spot)
    balanced = matrix @ spot
    assert np.ptp(balanced) == pytest.approx(0, abs=EXACT)
    assert balanced[0] == pytest.approx(luminance_weights(space) @ spot)


def test_no_white_balance_changes_nothing():
    assert (white_balance_matrix(None, BT709) == np.eye(3)).all()
    assert (white_balance_matrix(WhiteBalance(), BT709) == np.eye(3)).all()
    assert balancing_matrix(BT709.white, BT709) == pytest.approx(np.eye(3), abs=EXACT)


@pytest.mark.parametrize("spot", [(0, 0, 0), (-1, -1, -1)])
def test_a_dark_spot_is_refused(spot):
    with pytest.raises(ValueError, match="no light in the neutral spot"):
        white_balance_matrix(WhiteBalance(neutral=(0.5, 0.5)), BT709, spot)


def test_an_unmeasured_spot_is_refused():
    with pytest.raises(ValueError, match="not been measured"):
        white_balance_matrix(WhiteBalance(neutral=(0.5, 0.5)), BT709)
