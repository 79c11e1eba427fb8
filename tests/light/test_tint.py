"""Tints: factors relative to the rendered colour, luminance, gamut, assumptions."""

from __future__ import annotations

import warnings

import numpy as np
import pytest

from evenfall.light.colour import (
    daylight_xy,
    kelvin_to_xy,
    lamp_class_xy,
    mired,
    planckian_xy,
    xy_to_kelvin_duv,
)
from evenfall.light.primaries import (
    ACES2065_1,
    ACESCG,
    BT709,
    BT2020,
    RGB_SPACES,
    RgbSpace,
    luminance_weights,
    rgb_to_xyz,
)
from evenfall.light.tint import light_rgb, rgb_to_xy, tint_factors
from evenfall.recipe import LightSetting, Rendered

PRINTED_RGB = 2e-5  # the table of components gives five digits
EXACT = 1e-9

# Planckian (CIE 15:2018, Planck integrated) and CIE daylight chromaticities through the inverse
# BT.709 matrix (BT.709-6, SMPTE RP 177), luminance 1, no adaptation
BT709_COMPONENTS = {
    ("planckian", 1900): (2.63938, 0.61352, -0.00008),
    ("planckian", 2700): (1.93513, 0.80355, 0.19178),
    ("planckian", 3000): (1.77095, 0.84426, 0.27206),
    ("planckian", 3200): (1.67982, 0.86593, 0.32581),
    ("planckian", 4000): (1.41401, 0.92400, 0.53340),
    ("planckian", 5000): (1.21353, 0.96050, 0.76233),
    ("planckian", 6500): (1.04339, 0.98357, 1.03496),
    ("daylight", 5003): (1.17538, 0.97598, 0.72138),
    ("daylight", 6504): (0.99942, 1.00026, 0.99914),
    ("daylight", 10000): (0.82439, 1.01153, 1.40304),
    ("daylight", 20000): (0.69345, 1.00811, 1.82260),
}


def _setting(**values):
    return LightSetting(**values)


@pytest.mark.parametrize(("locus", "kelvin"), list(BT709_COMPONENTS))
def test_components_of_white_light_in_bt709(locus, kelvin):
    rgb, _ = light_rgb(kelvin_to_xy(kelvin, locus=locus), BT709)
    expected = np.maximum(BT709_COMPONENTS[locus, kelvin], 0)
    assert rgb == pytest.approx(expected, abs=PRINTED_RGB * 5)


def test_a_lamp_rendered_at_4000_and_asked_for_2700_gets_the_ratio_of_the_colours():
    tint = tint_factors(_setting(kelvin=2700), Rendered(kelvin=4000), BT709)
    warm, cool = BT709_COMPONENTS["planckian", 2700], BT709_COMPONENTS["planckian", 4000]
    assert tint.factors == pytest.approx(np.divide(warm, cool), abs=PRINTED_RGB * 5)
    assert tint.kelvin == pytest.approx(2700, abs=1e-3)
    assert tint.duv == pytest.approx(0, abs=1e-7)
    assert tint.notes == ()


def test_no_tint_leaves_the_pass_alone():
    tint = tint_factors(_setting(stops=2), Rendered(kelvin=3000), BT709)
    assert tint.factors == (1.0, 1.0, 1.0)
    assert tint.kelvin == pytest.approx(3000, abs=1e-3)
    assert tint_factors(_setting(), Rendered(), BT709).xy is None


@pytest.mark.parametrize("kelvin", [1500, 1900, 2700, 4500, 6500, 20000])
@pytest.mark.parametrize("space", list(RGB_SPACES))
def test_the_same_colour_again_changes_nothing(space, kelvin):
    tint = tint_factors(_setting(kelvin=kelvin), Rendered(kelvin=kelvin), RGB_SPACES[space])
    assert tint.factors == pytest.approx((1, 1, 1), abs=EXACT)


@pytest.mark.parametrize("space", [BT709, BT2020, ACESCG])
def test_light_from_a_neutral_surface_keeps_its_luminance(space):
    rendered = Rendered(kelvin=5600)
    pixel = 0.37 * light_rgb(kelvin_to_xy(5600), space)[0]
    tinted = pixel * tint_factors(_setting(kelvin=2700), rendered, space).factors
    weights = luminance_weights(space)
    assert weights @ tinted == pytest.approx(weights @ pixel, rel=EXACT)


def test_every_space_gives_a_neutral_surface_the_same_light():
    seen = []
    for space in (BT709, BT2020, ACESCG):
        tint = tint_factors(_setting(kelvin=3000), Rendered(kelvin=5000), space)
        pixel = light_rgb(kelvin_to_xy(5000), space)[0] * tint.factors
        seen.append(rgb_to_xyz(space) @ pixel)
    assert seen[1] == pytest.approx(seen[0], abs=EXACT)
    assert seen[2] == pytest.approx(seen[0], abs=EXACT)


def test_luminance_preserving_form_of_plain_factors():
    # definition t / (w . t), BT.709 weights (0.2126, 0.7152, 0.0722)
    tint = tint_factors(_setting(rgb=(1, 0.6, 0.3), hold_luminance=True), Rendered(), BT709)
    assert tint.factors == pytest.approx((1.5074316, 0.904459, 0.4522295), abs=1e-4)
    weights = luminance_weights(BT709)
    coloured = np.array([0.3, 0.2, 0.1])
    assert weights @ coloured == pytest.approx(0.214040, abs=1e-4)
    assert weights @ (coloured * tint.factors) == pytest.approx(0.228783, abs=1e-4)


def test_plain_factors_are_taken_as_they_are():
    tint = tint_factors(_setting(rgb=(1.0, 0.6, 0.3)), Rendered(kelvin=3000), BT709)
    assert tint.factors == (1.0, 0.6, 0.3)


@pytest.mark.parametrize("kelvin", [1800, 1200])
def test_candle_light_outside_the_primaries_is_cut_and_reported(kelvin):
    # linear BT.709 blue of Planckian light is negative below 1900.4 K
    tint = tint_factors(_setting(kelvin=kelvin), Rendered(kelvin=6504), BT709)
    assert tint.factors[2] == 0
    assert min(tint.factors) >= 0
    before = light_rgb(kelvin_to_xy(6504), BT709)[0]
    assert luminance_weights(BT709) @ (before * tint.factors) == pytest.approx(1, rel=EXACT)
    assert any("outside the passes' primaries" in note for note in tint.notes)


def test_planckian_light_enters_bt709_at_1900_kelvin():
    inside, outside = (
        tint_factors(_setting(kelvin=kelvin), Rendered(kelvin=6504), BT709)
        for kelvin in (1901.5, 1899.0)
    )
    assert inside.notes == ()
    assert outside.notes


def test_a_candle_rendered_outside_the_primaries_stays_within_sane_factors():
    tint = tint_factors(_setting(kelvin=5000), Rendered(kelvin=1800), BT709)
    assert max(tint.factors) < 1 / 0.002
    assert any("rendered colour lies outside" in note for note in tint.notes)


def test_unknown_rendered_colour_counts_as_the_passes_white_and_says_so():
    tint = tint_factors(_setting(kelvin=2700), Rendered(), BT709)
    assert tint.factors == pytest.approx(light_rgb(planckian_xy(2700), BT709)[0], abs=EXACT)
    assert tint.assumed
    assert not tint_factors(_setting(kelvin=2700), Rendered(kelvin=6504), BT709).assumed


def test_mired_shift_starts_from_the_rendered_colour():
    # 3200 -> 2256.2 K is +130.7 mired, the shift of a full conversion 5500 -> 3200 K
    shifted = tint_factors(_setting(mired_shift=130.6818), Rendered(kelvin=3200), BT709)
    asked = tint_factors(
        _setting(kelvin=1e6 / (mired(3200) + 130.6818)), Rendered(kelvin=3200), BT709
    )
    assert shifted.factors == pytest.approx(asked.factors, abs=1e-6)


def test_mired_shift_keeps_the_distance_from_the_locus():
    tint = tint_factors(_setting(mired_shift=50), Rendered(kelvin=6504), BT709)
    before = xy_to_kelvin_duv(daylight_xy(6504))
    assert tint.duv == pytest.approx(before[1], abs=1e-7)
    assert mired(tint.kelvin) == pytest.approx(mired(before[0]) + 50, abs=1e-4)


@pytest.mark.parametrize("shift", [900, -300])
def test_mired_shift_that_leaves_the_range_is_refused(shift):
    with pytest.raises(ValueError, match="leaves 1000 K to 25000 K"):
        tint_factors(_setting(mired_shift=shift), Rendered(kelvin=4000), BT709)


def test_mired_shift_of_a_colour_without_temperature_is_refused():
    with pytest.raises(ValueError, match="no colour temperature"):
        tint_factors(_setting(mired_shift=10), Rendered(xy=(0.15, 0.06)), BT709)


def test_xy_and_lamp_class_are_other_words_for_the_same():
    rendered = Rendered(kelvin=5000)
    by_class = tint_factors(_setting(lamp_class="3000"), rendered, BT709)
    by_xy = tint_factors(_setting(xy=lamp_class_xy("3000")), rendered, BT709)
    by_kelvin = tint_factors(_setting(kelvin=3045, duv=0.0), rendered, BT709)
    assert by_class == by_xy
    assert by_class.factors == pytest.approx(by_kelvin.factors, abs=EXACT)


def test_hex_white_is_the_passes_white_in_any_primaries():
    for space in (BT709, ACESCG):
        tint = tint_factors(_setting(hex="#ffffff"), Rendered(xy=space.white), space)
        assert tint.factors == pytest.approx((1, 1, 1), abs=1e-6)


def test_hex_keeps_its_hue_and_its_brightness_only_when_asked():
    held = tint_factors(_setting(hex="#804020"), Rendered(xy=BT709.white), BT709)
    free = tint_factors(
        _setting(hex="#804020", hold_luminance=False), Rendered(xy=BT709.white), BT709
    )
    # IEC 61966-2-1 decoding of 0x80, 0x40, 0x20
    assert free.factors == pytest.approx((0.215861, 0.051269, 0.014444), abs=1e-5)
    assert luminance_weights(BT709) @ held.factors == pytest.approx(1, rel=EXACT)
    assert np.array(held.factors) / held.factors[0] == pytest.approx(
        np.array(free.factors) / free.factors[0], rel=1e-6
    )


def test_black_is_refused_as_a_colour_of_light():
    with pytest.raises(ValueError, match="switch the light off"):
        tint_factors(_setting(hex="#000000"), Rendered(), BT709)


def test_luminance_let_go_takes_colours_as_picked_beside_the_strength():
    tint = tint_factors(_setting(kelvin=2700, hold_luminance=False), Rendered(kelvin=6504), BT709)
    warm, cool = BT709_COMPONENTS["planckian", 2700], BT709_COMPONENTS["daylight", 6504]
    expected = np.divide(warm, max(warm)) / np.divide(cool, max(cool))
    assert tint.factors == pytest.approx(expected, abs=PRINTED_RGB * 5)
    assert max(tint.factors) == pytest.approx(1, abs=1e-3)


def test_a_start_colour_takes_the_place_of_no_tint_and_is_shifted_by_others():
    rendered, dusk = Rendered(kelvin=5000), planckian_xy(15000, 0.004)
    plain = tint_factors(_setting(), rendered, BT709, dusk)
    assert plain.xy == pytest.approx(dusk, abs=1e-6)
    warmer = tint_factors(_setting(mired_shift=20), rendered, BT709, dusk)
    assert mired(warmer.kelvin) == pytest.approx(mired(15000) + 20, abs=1e-3)
    own = tint_factors(_setting(kelvin=4000), rendered, BT709, dusk)
    assert own.factors == pytest.approx(
        tint_factors(_setting(kelvin=4000), rendered, BT709).factors, abs=EXACT
    )
    halved = tint_factors(_setting(rgb=(0.5, 0.5, 0.5)), rendered, BT709, dusk)
    assert halved.factors == pytest.approx(np.array(plain.factors) / 2, abs=EXACT)


def test_resulting_chromaticity_is_that_of_the_tinted_lamp():
    tint = tint_factors(_setting(rgb=(1.2, 1.0, 0.7)), Rendered(kelvin=4000), BT709)
    lamp = light_rgb(planckian_xy(4000), BT709)[0] * (1.2, 1.0, 0.7)
    assert tint.xy == pytest.approx(rgb_to_xy(lamp, BT709), abs=EXACT)
    assert rgb_to_xy((0, 0, 0), BT709) is None


# How exact three channels are for coloured surfaces: measured spectra of a 24-patch chart, as
# colour-science carries them, under Planckian light, against the tinted 4000 K rendering. For a
# renderer that works in the same three channels the tint is exact; this is the price of spectra.
LUMINANCE_ERROR = 0.09  # orange and orange-yellow patches; the greys are at 0.2 %
TYPICAL_ERROR = 0.03


def test_relit_chart_of_measured_spectra_is_close_to_the_tinted_one():
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour

        chart = colour.SDS_COLOURCHECKERS["BabelColor Average"]
        shape = colour.SpectralShape(380, 730, 10)
        observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(shape)
        patches = np.array([patch.copy().align(shape).values for patch in chart.values()])
    metres = observer.wavelengths * 1e-9

    def chart_under(kelvin):
        power = metres**-5 / np.expm1(1.4388e-2 / (metres * kelvin))
        white = (power * observer.values[:, 1].T).sum()
        xyz = (patches * power / white) @ observer.values
        return xyz @ np.linalg.inv(rgb_to_xyz(ACESCG)).T

    tint = tint_factors(_setting(kelvin=2700), Rendered(kelvin=4000), ACESCG)
    relit, tinted = chart_under(2700), chart_under(4000) * tint.factors
    weights = luminance_weights(ACESCG)
    assert tinted @ weights == pytest.approx(relit @ weights, rel=LUMINANCE_ERROR)
    assert np.median(np.abs(tinted / relit - 1)) < TYPICAL_ERROR
    assert tinted[18:] == pytest.approx(relit[18:], rel=0.02)  # the six greys


def test_a_channel_that_was_rendered_without_light_counts_as_two_thousandths():
    """Blue of 1,800 K lies below 0 in BT.709 and is cut; by choice it is divided by 0.002."""
    asked = light_rgb(kelvin_to_xy(5000), BT709)[0]
    before = light_rgb(kelvin_to_xy(1800), BT709)[0]
    red, _, blue = tint_factors(_setting(kelvin=5000), Rendered(kelvin=1800), BT709).factors
    assert before[2] == 0
    assert blue / red == pytest.approx((asked[2] / 0.002) / (asked[0] / before[0]), rel=EXACT)


# 1,000 K are 1,000 mired and 25,000 K are 40: a shift from 5,000 K (200 mired) may go so far.
@pytest.mark.parametrize(
    ("shift", "beyond", "kelvin"), [(799.95, 800.05, 1000), (-159.95, -160.05, 25000)]
)
def test_shifts_go_to_the_ends_of_the_range_and_no_further(shift, beyond, kelvin):
    rendered = Rendered(kelvin=5000, locus="planckian")
    found = tint_factors(_setting(mired_shift=shift), rendered, ACES2065_1)
    assert found.kelvin == pytest.approx(kelvin, rel=0.01)
    with pytest.raises(ValueError, match="leaves 1000 K to 25000 K"):
        tint_factors(_setting(mired_shift=beyond), rendered, ACES2065_1)


@pytest.mark.parametrize("rgb", [(0, 0, 0), (0.0, 0.0, 0.0)])
def test_factors_without_light_cannot_hold_luminance(rgb):
    with pytest.raises(ValueError, match="leave no light cannot hold luminance"):
        tint_factors(_setting(rgb=rgb, hold_luminance=True), Rendered(kelvin=3000), BT709)
    assert tint_factors(_setting(rgb=rgb), Rendered(kelvin=3000), BT709).factors == (0, 0, 0)


def test_a_colour_on_the_screen_that_the_passes_cannot_hold_is_told_of():
    """Pure red of BT.709 lies outside a space whose red is less pure."""
    narrow = RgbSpace("narrow", (0.60, 0.33), (0.30, 0.60), (0.15, 0.06), (0.3127, 0.3290))
    inside = tint_factors(_setting(hex="#ff8040"), Rendered(kelvin=6504), BT709)
    outside = tint_factors(_setting(hex="#ff0000"), Rendered(kelvin=6504), narrow)
    assert inside.notes == ()
    assert outside.notes == ("the colour lies outside the passes' primaries (narrow) and was cut",)


def test_what_is_said_is_the_colour_that_comes_out_not_the_one_asked_for():
    """1,700 K asked of BT.709 are cut to a colour that correlates to 1,713 K, 0.8 % away."""
    tint = tint_factors(_setting(kelvin=1700), Rendered(kelvin=6504), BT709)
    assert tint.kelvin == pytest.approx(xy_to_kelvin_duv(tint.xy)[0], rel=EXACT)
    assert tint.kelvin > 1705
    daylight = tint_factors(_setting(kelvin=15000), Rendered(kelvin=6504), ACESCG)
    assert daylight.kelvin == 15000  # asked as daylight, which correlates to 14,976 K


@pytest.mark.parametrize(("locus", "xy"), [("planckian", planckian_xy), ("daylight", daylight_xy)])
def test_the_locus_that_is_asked_for_is_taken(locus, xy):
    """At 4,500 K the two lie 0.003 apart in CIE 1960 uv, and "auto" between them."""
    tint = tint_factors(_setting(kelvin=4500, locus=locus), Rendered(kelvin=6504), ACESCG)
    assert tint.xy == pytest.approx(xy(4500), abs=1e-9)
