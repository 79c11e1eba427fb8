"""Kelvin, Duv, loci, lamp classes and hex against published values and colour-science."""

from __future__ import annotations

import warnings

import numpy as np
import pytest

from evenfall.light.colour import (
    LAMP_CLASSES,
    daylight_xy,
    hex_to_bt709,
    kelvin_to_xy,
    lamp_class_xy,
    mired,
    planckian_xy,
    uv_to_xy,
    xy_to_kelvin_duv,
    xy_to_uv,
)

PRINTED_XY = 1.1e-5  # the tables give five digits
SERIES_XY = 1e-6  # what the series for the locus promises, several times over
CCT_KELVIN, CCT_DUV = 0.5, 2e-5  # two published methods differ by 0.1 K; Duv is printed to 1e-5
CENTRE_XY = 2e-4  # bin centres are printed to four digits


@pytest.fixture(scope="module")
def colour():
    """colour-science, whose import warns about optional packages that are not there."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour
    return colour


@pytest.fixture(scope="module")
def integrated_planckian(colour):
    """Planck's law, c2 = 1.4388e-2 m K, with the CIE 1931 observer, 360-830 nm at 1 nm."""
    observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy()
    observer = observer.align(colour.SpectralShape(360, 830, 1))
    metres = observer.wavelengths * 1e-9

    def xy(kelvin):
        xyz = (metres**-5 / np.expm1(1.4388e-2 / (metres * kelvin))) @ observer.values
        return tuple(xyz[:2] / xyz.sum())

    return xy


# CIE 15:2018, Planck's law integrated with the 1931 observer, c2 = 1.4388e-2 m K
@pytest.mark.parametrize(
    ("kelvin", "xy"),
    [
        (1900, (0.537781, 0.411201)),
        (2700, (0.459863, 0.410600)),
        (2855.54, (0.447574, 0.407439)),
        (2856, (0.447539, 0.407429)),
        (3000, (0.436934, 0.404075)),
        (3200, (0.423363, 0.398953)),
        (4000, (0.380442, 0.376749)),
        (5000, (0.345103, 0.351610)),
        (6500, (0.313528, 0.323630)),
    ],
)
def test_planckian_locus_as_tabulated(kelvin, xy):
    assert planckian_xy(kelvin) == pytest.approx(xy, abs=SERIES_XY)


def test_planckian_locus_against_integration_over_its_whole_range(integrated_planckian):
    for kelvin in 1e6 / np.linspace(1000 / 25, 1000, 97):
        assert planckian_xy(kelvin) == pytest.approx(integrated_planckian(kelvin), abs=SERIES_XY)


def test_illuminant_a_is_2855_54_kelvin():
    # CIE 15:2018 / ISO 11664-2: A has T = 2848 K with c2 = 1.435e-2, 2855.54 K with 1.4388e-2
    assert planckian_xy(2855.54) == pytest.approx((0.44758, 0.40745), abs=PRINTED_XY)


# CIE 15:2018, daylight locus
@pytest.mark.parametrize(
    ("kelvin", "xy"),
    [
        (4000, (0.382344, 0.383766)),
        (5003, (0.345653, 0.358596)),
        (5503, (0.332430, 0.347545)),
        (6504, (0.312714, 0.329119)),
        (7504, (0.299045, 0.314976)),
        (10000, (0.278800, 0.291967)),
        (15000, (0.261397, 0.270224)),
        (25000, (0.249854, 0.254799)),
    ],
)
def test_daylight_locus_as_published(kelvin, xy):
    assert daylight_xy(kelvin) == pytest.approx(xy, abs=1e-6)


def test_daylight_locus_against_colour_science(colour):
    for kelvin in np.linspace(4000, 25000, 43):
        expected = colour.temperature.CCT_to_xy_CIE_D(kelvin)
        assert daylight_xy(kelvin) == pytest.approx(tuple(expected), abs=1e-9)


# Ohno, LEUKOS 10 (2014): nearest Planckian point in CIE 1960 uv; whites of CIE 15:2018
@pytest.mark.parametrize(
    ("name", "xy", "kelvin", "duv"),
    [
        ("A", (0.44758, 0.40745), 2855.5, 0.00000),
        ("D50", (0.34567, 0.35850), 5001.8, 0.00321),
        ("D55", (0.33243, 0.34744), 5502.4, 0.00325),
        ("ACES", (0.32168, 0.33767), 6000.1, 0.00324),
        ("D65", (0.31272, 0.32903), 6503.0, 0.00321),
        ("D75", (0.29903, 0.31488), 7505.1, 0.00314),
        ("E", (1 / 3, 1 / 3), 5455.5, -0.00442),
        ("C", (0.31006, 0.31616), 6774.2, -0.00215),
        ("FL2", (0.37210, 0.37510), 4223.4, 0.00177),
        ("FL11", (0.38050, 0.37690), 3999.5, 0.00005),
        ("DCI", (0.31400, 0.35100), 6302.8, 0.01344),
    ],
)
def test_colour_temperature_of_known_whites(name, xy, kelvin, duv):
    found = xy_to_kelvin_duv(xy)
    assert found is not None, name
    assert found[0] == pytest.approx(kelvin, abs=CCT_KELVIN)
    assert found[1] == pytest.approx(duv, abs=CCT_DUV)


def test_colour_temperature_of_the_worked_example_in_uv():
    # worked example of colour-science's documentation for Ohno's method
    kelvin, duv = xy_to_kelvin_duv(uv_to_xy((0.1978, 0.3122)))
    assert kelvin == pytest.approx(6507.5, abs=CCT_KELVIN)
    assert duv == pytest.approx(0.00322, abs=CCT_DUV)


def test_colour_temperature_against_ohno_for_many_colours(colour):
    rng = np.random.default_rng(3)
    for reciprocal, duv in zip(rng.uniform(60, 900, 60), rng.uniform(-0.02, 0.02, 60), strict=True):
        xy = planckian_xy(1e6 / reciprocal, duv)
        kelvin, distance = colour.temperature.uv_to_CCT_Ohno2013(np.array(xy_to_uv(xy)))
        found = xy_to_kelvin_duv(xy)
        assert found[0] == pytest.approx(kelvin, abs=1.0)  # Ohno's own error
        assert found[1] == pytest.approx(distance, abs=CCT_DUV)


@pytest.mark.parametrize("duv", [-0.03, -0.006, 0.0, 0.003, 0.006, 0.03])
@pytest.mark.parametrize("kelvin", [1000, 1900, 2700, 4000, 5500, 6500, 10000, 20000, 25000])
def test_kelvin_and_duv_survive_the_round_trip(kelvin, duv):
    found = xy_to_kelvin_duv(planckian_xy(kelvin, duv))
    assert found[0] == pytest.approx(kelvin, abs=1e-3)
    assert found[1] == pytest.approx(duv, abs=1e-8)


def test_positive_duv_is_green():
    on, above = xy_to_uv(planckian_xy(4000)), xy_to_uv(planckian_xy(4000, 0.01))
    assert above[1] > on[1]
    assert np.hypot(above[0] - on[0], above[1] - on[1]) == pytest.approx(0.01)


@pytest.mark.parametrize("xy", [(0.15, 0.06), (0.30, 0.60), (0.70, 0.29), (0.2, 0.7)])
def test_strong_colours_have_no_colour_temperature(xy):
    assert xy_to_kelvin_duv(xy) is None


# definition, 10^6 / T
@pytest.mark.parametrize(
    ("start", "end", "shift"),
    [
        (6500, 3200, 158.6538),
        (5500, 3200, 130.6818),
        (3200, 5600, -133.9286),
        (6500, 2700, 216.5242),
        (3000, 4000, -83.3333),
        (6500, 10000, -53.8462),
    ],
)
def test_mired_shifts(start, end, shift):
    assert mired(end) - mired(start) == pytest.approx(shift, abs=1e-4)


def test_auto_locus_is_planckian_when_warm_and_daylight_when_cool():
    assert kelvin_to_xy(3999.9) == planckian_xy(3999.9)
    assert kelvin_to_xy(5000.1) == daylight_xy(5000.1)
    assert kelvin_to_xy(4500, locus="planckian") == planckian_xy(4500)
    assert kelvin_to_xy(4500, locus="daylight") == daylight_xy(4500)


def test_auto_locus_is_smooth_and_keeps_its_temperature():
    kelvins = np.arange(3900.0, 5100.1, 5.0)
    uv = np.array([xy_to_uv(kelvin_to_xy(kelvin)) for kelvin in kelvins])
    steps = np.diff(uv, axis=0)
    assert np.abs(np.diff(steps, axis=0)).max() < 0.02 * np.abs(steps).max()
    found = [xy_to_kelvin_duv(uv_to_xy(tuple(point))) for point in uv]
    assert [kelvin for kelvin, _ in found] == pytest.approx(list(kelvins), abs=10)
    assert (np.diff([duv for _, duv in found]) > -1e-6).all()


def test_a_given_duv_is_measured_from_the_planckian_locus():
    assert kelvin_to_xy(6500, 0.0) == planckian_xy(6500)
    assert kelvin_to_xy(6500, 0.0, "daylight") == planckian_xy(6500)
    assert kelvin_to_xy(6500) == daylight_xy(6500)


# ANSI C78.377-2008 table 1. Centres from target CCT and Duv; the targets of 2700 and 3000 K are
# quoted by the EPA's criteria for solid-state lighting, the others are from memory, and all Duv
# targets agree with the standard's equation (from memory too) to three decimals.
@pytest.mark.parametrize(
    ("name", "centre"),
    [
        ("2700", (0.4578, 0.4101)),
        ("3000", (0.4338, 0.4030)),
        ("3500", (0.4073, 0.3917)),
        ("4000", (0.3818, 0.3797)),
        ("4500", (0.3611, 0.3658)),
        ("5000", (0.3447, 0.3553)),
        ("5700", (0.3287, 0.3417)),
        ("6500", (0.3123, 0.3282)),
    ],
)
def test_lamp_class_centres(name, centre):
    assert lamp_class_xy(name) == pytest.approx(centre, abs=CENTRE_XY)


def test_lamp_classes_follow_the_standards_equation():
    for kelvin, duv in LAMP_CLASSES.values():
        by_equation = 57700 / kelvin**2 - 44.6 / kelvin + 0.0085 if kelvin >= 2870 else 0.0
        assert duv == pytest.approx(by_equation, abs=5.1e-4)


# IEC 61966-2-1:1999
@pytest.mark.parametrize(
    ("text", "linear"), [("#767676", 0.181164244), ("#7f7f7f", 0.212230757), ("#808080", 0.2158605)]
)
def test_hex_is_decoded_as_srgb(text, linear):
    assert hex_to_bt709(text) == pytest.approx((linear,) * 3, abs=1e-8)


@pytest.mark.parametrize(("kelvin", "message"), [(900, "900 K is below"), (0, "0 K is below")])
def test_temperatures_below_the_locus_are_refused(kelvin, message):
    with pytest.raises(ValueError, match=message):
        planckian_xy(kelvin)


@pytest.mark.parametrize("kelvin", [3999, 25001])
def test_daylight_outside_its_range_is_refused(kelvin):
    with pytest.raises(ValueError, match="4000 K to 25000 K"):
        daylight_xy(kelvin)


@pytest.mark.parametrize(
    ("kelvin", "share"), [(4000, 0.0), (4250, 0.15625), (4500, 0.5), (4900, 0.972), (5000, 1.0)]
)
def test_between_the_loci_the_blend_is_the_one_that_is_said(kelvin, share):
    """s^2 (3 - 2 s) with s = (T - 4000 K) / 1000 K, in CIE 1960 uv: by hand."""
    planck, day = xy_to_uv(planckian_xy(kelvin)), xy_to_uv(daylight_xy(kelvin))
    expected = [low + share * (high - low) for low, high in zip(planck, day, strict=True)]
    assert xy_to_uv(kelvin_to_xy(kelvin)) == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize("side", [-1, 1])
def test_a_colour_temperature_means_nothing_far_from_the_locus(side):
    """CIE 15:2018, 9.5: beyond 0.05 in CIE 1960 uv it should not be used."""
    assert xy_to_kelvin_duv(planckian_xy(4000, side * 0.0499)) is not None
    assert xy_to_kelvin_duv(planckian_xy(4000, side * 0.0501)) is None
