"""RGB spaces and adaptations against colour-science, which has them from their standards."""

from __future__ import annotations

import warnings

import numpy as np
import pytest

from evenfall.light.code_points import PRIMARIES, primaries_code
from evenfall.light.primaries import (
    ACESCG,
    ADOBE_RGB,
    BT709,
    BT2020,
    DISPLAY_P3,
    RGB_SPACES,
    adaptation_matrix,
    conversion_matrix,
    luminance_weights,
    rgb_to_xyz,
    space_from_chromaticities,
)

with warnings.catch_warnings():  # of optional packages that are not installed
    warnings.simplefilter("ignore")
    import colour

# ITU-R BT.709-6 and BT.2020-2, SMPTE EG 432-1 with D65, Adobe RGB (1998) 2005-05, SMPTE ST 2065-1,
# Academy S-2014-004: by the names that colour-science gives them.
OUTSIDE = {
    "BT.709": "ITU-R BT.709",
    "Display P3": "Display P3",
    "Adobe RGB (1998)": "Adobe RGB (1998)",
    "BT.2020": "ITU-R BT.2020",
    "ACEScg": "ACEScg",
    "ACES2065-1": "ACES2065-1",
}


def test_every_space_has_an_outside_counterpart() -> None:
    assert set(OUTSIDE) == set(RGB_SPACES)


@pytest.mark.parametrize("name", OUTSIDE)
def test_primaries_and_white_to_the_last_digit(name: str) -> None:
    space, theirs = RGB_SPACES[name], colour.RGB_COLOURSPACES[OUTSIDE[name]]
    np.testing.assert_array_equal([space.red, space.green, space.blue], theirs.primaries)
    np.testing.assert_array_equal(space.white, theirs.whitepoint)


@pytest.mark.parametrize("name", OUTSIDE)
def test_matrices_by_the_normalised_primary_matrix(name: str) -> None:
    """SMPTE RP 177, as colour-science computes it from the same primaries."""
    space, theirs = RGB_SPACES[name], colour.RGB_COLOURSPACES[OUTSIDE[name]]
    expected = colour.normalised_primary_matrix(theirs.primaries, theirs.whitepoint)
    np.testing.assert_allclose(rgb_to_xyz(space), expected, rtol=0, atol=1e-12)


# ITU-R BT.709-6, 3.2, and BT.2020-2, table 4: luminance, to the digits that are printed.
@pytest.mark.parametrize(
    ("space", "weights"),
    [(BT709, (0.2126, 0.7152, 0.0722)), (BT2020, (0.2627, 0.6780, 0.0593))],
)
def test_luminance_weights_of_the_standards(space, weights) -> None:
    np.testing.assert_allclose(luminance_weights(space), weights, rtol=0, atol=5e-5)


WHITES = [((0.3127, 0.3290), (0.34567, 0.35850)), ((0.32168, 0.33767), (0.3127, 0.3290))]


@pytest.mark.parametrize("method", ["Bradford", "CAT16"])
@pytest.mark.parametrize(("source", "target"), WHITES)
def test_adaptation_between_whites(method, source, target) -> None:
    """Bradford: ICC.1:2022, annex E. CAT16: Li et al. 2017."""
    expected = colour.adaptation.matrix_chromatic_adaptation_VonKries(
        colour.xy_to_XYZ(source), colour.xy_to_XYZ(target), transform=method
    )
    found = adaptation_matrix(source, target, method)
    np.testing.assert_allclose(found, expected, rtol=0, atol=1e-10)


@pytest.mark.parametrize("target", [DISPLAY_P3, ADOBE_RGB, BT2020, ACESCG])
def test_conversion_between_spaces(target) -> None:
    source, other = (colour.RGB_COLOURSPACES[OUTSIDE[each.name]] for each in (BT709, target))
    xyz = colour.normalised_primary_matrix(source.primaries, source.whitepoint)
    back = np.linalg.inv(colour.normalised_primary_matrix(other.primaries, other.whitepoint))
    adapt = colour.adaptation.matrix_chromatic_adaptation_VonKries(
        colour.xy_to_XYZ(source.whitepoint), colour.xy_to_XYZ(other.whitepoint), "Bradford"
    )
    np.testing.assert_allclose(conversion_matrix(BT709, target), back @ adapt @ xyz, atol=1e-10)


@pytest.mark.parametrize("space", RGB_SPACES.values(), ids=lambda space: space.name)
def test_a_space_is_known_by_the_floats_of_a_file(space) -> None:
    stored = tuple(float(np.float32(value)) for value in space.chromaticities)
    assert space_from_chromaticities(stored) == space


@pytest.mark.parametrize("place", range(8))
def test_a_space_that_is_off_by_a_thousandth_is_another(place: int) -> None:
    near = list(BT709.chromaticities)
    near[place] += 0.001
    found = space_from_chromaticities(tuple(near))
    assert found.name == "custom"
    assert found.chromaticities == tuple(near)


# ITU-T H.273 (07/2024), table 2, colour primaries.
@pytest.mark.parametrize(("code", "name"), [(1, "BT.709"), (9, "BT.2020"), (12, "Display P3")])
def test_codes_of_primaries(code: int, name: str) -> None:
    assert PRIMARIES[code].name == name
    assert primaries_code(RGB_SPACES[name]) == code
    assert primaries_code(ADOBE_RGB) is None
