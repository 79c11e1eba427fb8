"""Daylight by sun altitude against published models, handbook levels and exposure guides."""

from __future__ import annotations

import math

import numpy as np
import pytest

from evenfall.light.colour import mired, xy_to_kelvin_duv
from evenfall.light.daylight import (
    SKY_STATES,
    _by_day,
    air_mass,
    daylight_state,
    twilight_lux,
)
from evenfall.light.primaries import xy_to_xyz
from evenfall.light.sun import refraction_degrees
from evenfall.light.units import ev100_from_illuminance

MODEL = 0.03  # published runs of the same spectral model agree within 3 %
MODEL_KELVIN = 100


# Kasten and Young, Applied Optics 28 (1989)
@pytest.mark.parametrize(
    ("altitude", "mass"),
    [
        (90, 0.999712),
        (60, 1.153992),
        (45, 1.412595),
        (30, 1.994293),
        (20, 2.903147),
        (15, 3.812912),
        (10, 5.586036),
        (5, 10.305791),
        (3, 15.147735),
        (1, 26.310555),
        (0, 37.919608),
    ],
)
def test_air_mass(altitude, mass):
    assert air_mass(altitude) == pytest.approx(mass, abs=1e-6)


# Bird and Riordan (1984/86), AOD 0.1, water 1.42 cm, ozone 0.34 cm, albedo 0.2, day 80; weighted
# with the CIE 1931 observer: direct normal, sky, global klx; sun, sky K
@pytest.mark.parametrize(
    ("altitude", "direct", "sky", "total", "sun_kelvin", "sky_kelvin"),
    [
        (60, 104.7, 15.4, 106.1, 5335, 11758),
        (45, 99.1, 14.2, 84.2, 5214, 11502),
        (30, 87.4, 12.0, 55.7, 4965, 11100),
        (20, 72.0, 9.8, 34.4, 4627, 10724),
        (10, 41.1, 6.2, 13.3, 3873, 10413),
    ],
)
def test_clear_sky_by_day(altitude, direct, sky, total, sun_kelvin, sky_kelvin):
    day = daylight_state(altitude)
    assert day.sun_normal_lux == pytest.approx(direct * 1000, rel=MODEL)
    assert day.sky_lux == pytest.approx(sky * 1000, rel=MODEL)
    assert day.ground_lux == pytest.approx(total * 1000, rel=MODEL)
    assert day.sun_kelvin == pytest.approx(sun_kelvin, abs=MODEL_KELVIN)
    assert day.sky_kelvin == pytest.approx(sky_kelvin, abs=MODEL_KELVIN)


def test_a_low_sun_is_of_the_published_order():
    # the same model at 5 degrees, where its authors' plane air is at its limit
    day = daylight_state(5)
    assert day.sun_normal_lux == pytest.approx(16_000, rel=0.1)
    assert day.sky_lux == pytest.approx(3_400, rel=0.1)
    assert day.sun_kelvin == pytest.approx(3005, abs=MODEL_KELVIN)


# IES recommended practice (J. IES 13, 1984), total klx; its constants are from memory
@pytest.mark.parametrize(
    ("altitude", "total"), [(60, 102.88), (45, 81.6), (30, 54.13), (10, 13.94)]
)
def test_clear_sky_total_by_the_lighting_handbook(altitude, total):
    assert daylight_state(altitude).ground_lux == pytest.approx(total * 1000, rel=0.05)


def test_daylight_delivers_the_luminous_efficacy_that_is_measured():
    # Haurwitz (1945) clear-sky irradiance in W/m2; daylight gives 90 to 130 lm/W (common practice)
    for altitude, irradiance in ((60, 888.271), (45, 714.25), (30, 487.894), (10, 135.742)):
        assert 90 < daylight_state(altitude).ground_lux / irradiance < 130


# Glossary of Meteorology (American Meteorological Society) and general tables
@pytest.mark.parametrize(
    ("altitude", "low", "high"),
    [(-0.833, 400, 585), (-6, 2, 3.5), (-12, 0.0075, 0.0085)],
)
def test_twilight_on_the_ground(altitude, low, high):
    assert low <= daylight_state(altitude).ground_lux <= high


def test_end_of_astronomical_twilight():
    # 6e-4 lx from the sun (Glossary of Meteorology); 0.002 lx of a moonless sky with airglow
    assert twilight_lux(-18) == pytest.approx(6e-4, rel=0.1)
    assert daylight_state(-18).ground_lux == pytest.approx(0.002 + 6e-4, rel=0.05)
    assert daylight_state(-40).ground_lux == daylight_state(-18).ground_lux


# ANSI PH2.7-1973/1986 exposure guides, as EV at ISO 100 of an incident reading
def test_exposure_guides_for_daylight():
    assert ev100_from_illuminance(daylight_state(45).ground_lux) == pytest.approx(15, abs=0.5)
    overcast = ev100_from_illuminance(daylight_state(35, "overcast").ground_lux)
    assert overcast == pytest.approx(12, abs=0.5)


def test_levels_of_general_tables():
    # direct sun 32 to 100 klx; daylight without sun 10 to 25 klx (after P. Schlyter)
    assert 32e3 < daylight_state(20).sun_normal_lux < 100e3
    assert 10e3 < daylight_state(45).sky_lux < 25e3
    assert 10e3 < daylight_state(45, "overcast").sky_lux < 25e3


def test_whole_daylight_has_the_typical_colour():
    # 5700 K best typifies 2600 measured spectra of daylight (Hernandez-Andres et al. 2001)
    from evenfall.light.colour import xy_to_kelvin_duv
    from evenfall.light.primaries import xy_to_xyz

    day = daylight_state(45)
    sun = day.sun_normal_lux * math.sin(math.radians(45)) * xy_to_xyz(day.sun_xy)
    total = sun + day.sky_lux * xy_to_xyz(day.sky_xy)
    kelvin, _ = xy_to_kelvin_duv((total[0] / total.sum(), total[1] / total.sum()))
    assert kelvin == pytest.approx(5798, abs=MODEL_KELVIN)  # the model's global value
    assert kelvin == pytest.approx(5700, abs=200)


@pytest.mark.parametrize("sky", SKY_STATES)
def test_no_jumps_from_noon_to_night(sky):
    altitudes = np.arange(-20.0, 90.0, 0.05)
    states = [daylight_state(h, sky) for h in altitudes]
    levels = np.log2([state.sky_lux for state in states])
    assert np.abs(np.diff(levels)).max() < 0.12  # stops in 0.05 degrees; dusk falls 1.9 a degree
    suns = np.array([state.sun_normal_lux for state in states])
    assert np.abs(np.diff(suns)).max() < 0.01 * suns.max() + 1
    for name in ("sun_xy", "sky_xy"):
        xy = np.array([getattr(state, name) for state in states])
        assert np.abs(np.diff(xy, axis=0)).max() < 0.002


@pytest.mark.parametrize("sky", SKY_STATES)
def test_a_higher_sun_gives_more_light_to_the_ground(sky):
    levels = [daylight_state(h, sky).ground_lux for h in np.arange(-17.0, 89.0, 0.5)]
    # the twilight's published pieces meet within 1 %
    assert (np.diff(levels) > -0.01 * np.array(levels[:-1])).all()


def test_the_sun_is_gone_at_sunset_and_never_under_an_overcast_sky():
    assert daylight_state(-0.3).sun_normal_lux > daylight_state(-0.7).sun_normal_lux > 0
    assert daylight_state(-0.834).sun_normal_lux == 0
    assert daylight_state(60, "overcast").sun_normal_lux == 0


def test_haze_takes_from_the_sun_and_gives_to_the_sky():
    clear, hazy = daylight_state(40), daylight_state(40, "hazy")
    assert hazy.sun_normal_lux < clear.sun_normal_lux
    assert hazy.sky_lux > clear.sky_lux
    assert hazy.ground_lux < clear.ground_lux
    assert hazy.sun_kelvin < clear.sun_kelvin
    assert hazy.sky_kelvin < clear.sky_kelvin


def test_the_sky_of_dusk_is_bluer_than_that_of_the_day():
    assert daylight_state(-6).sky_kelvin > daylight_state(5).sky_kelvin + 3000


@pytest.mark.parametrize(
    ("altitude", "phase"),
    [
        (30, "day"),
        (3, "low sun"),
        (-3, "civil twilight"),
        (-9, "nautical twilight"),
        (-15, "astronomical twilight"),
        (-30, "night"),
    ],
)
def test_phases_by_the_usual_limits(altitude, phase):
    assert daylight_state(altitude).phase == phase


ROWS = (90, 60, 45, 35, 25, 18, 13, 10, 7, 5, 4, 3, 2)
"""Apparent altitudes that the spectral model is tabulated for, as far as it is good for."""


def spectral(sky: str, apparent: float) -> dict[str, np.ndarray]:
    """XYZ in lux of direct normal and of diffuse light, by pvlib's SPCTRL2 and colour-science."""
    import warnings

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour
        import pvlib

    observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy()
    observer = observer.align(colour.SpectralShape(360, 830, 1))
    model = pvlib.spectrum.spectrl2(
        apparent_zenith=90 - apparent, aoi=90 - apparent, surface_tilt=0, ground_albedo=0.2,
        surface_pressure=101325, relative_airmass=air_mass(apparent), precipitable_water=1.42,
        ozone=0.34, aerosol_turbidity_500nm={"clear": 0.1, "hazy": 0.4}[sky], dayofyear=80,
    )  # fmt: skip
    found = {}
    for name in ("dni", "dhi"):
        power = np.interp(observer.wavelengths, model["wavelength"], np.ravel(model[name]))
        found[name] = 683 * power @ observer.values
    return found


def true_altitude(apparent: float) -> float:
    """Altitude that refraction lifts to an apparent one."""
    h = float(apparent)
    for _ in range(50):
        h = apparent - refraction_degrees(h)
    return h


@pytest.mark.parametrize("sky", ["clear", "hazy"])
def test_every_row_of_the_spectral_table_is_what_an_outside_implementation_gives(sky):
    """Lux are rounded to whole ones, uv to four digits."""
    pytest.importorskip("pvlib")
    for row in ROWS:
        expected = spectral(sky, row)
        sun_lux, sky_lux, sun_xy, sky_xy = _by_day(row, sky)
        for lux, xy, xyz, reddest in (
            (sun_lux, sun_xy, expected["dni"], {"clear": 2, "hazy": 4}[sky]),
            (sky_lux, sky_xy, expected["dhi"], 4),
        ):
            assert lux == pytest.approx(xyz[1], rel=2e-4, abs=0.51), row
            if row >= reddest:  # below, colours are held by choice
                assert xy == pytest.approx(xyz[:2] / xyz.sum(), abs=3e-4), row


@pytest.mark.parametrize(("sky", "reddest"), [("clear", 2), ("hazy", 4)])
def test_the_sun_is_no_redder_than_what_is_left_of_it_can_be_seen(sky, reddest):
    held = daylight_state(true_altitude(reddest), sky).sun_xy
    assert daylight_state(true_altitude(reddest - 1), sky).sun_xy == pytest.approx(held, abs=1e-4)
    higher = daylight_state(true_altitude(reddest + 0.5), sky).sun_xy
    assert higher[0] < held[0] - 0.01


@pytest.mark.parametrize("altitude", [70, 27, 12])
@pytest.mark.parametrize("sky", ["clear", "hazy"])
def test_between_the_rows_the_spectral_model_is_followed(sky, altitude):
    pytest.importorskip("pvlib")
    expected = spectral(sky, altitude + refraction_degrees(altitude))
    state = daylight_state(altitude, sky)
    for lux, xy, xyz in (
        (state.sun_normal_lux, state.sun_xy, expected["dni"]),
        (state.sky_lux, state.sky_xy, expected["dhi"]),
    ):
        assert lux == pytest.approx(xyz[1], rel=0.01)
        assert lux * xy_to_xyz(xy) == pytest.approx(xyz, rel=0.01)


@pytest.mark.parametrize("altitude", [90, 60, 30, 10, 6])
def test_an_overcast_sky_is_the_handbooks(altitude):
    """IES recommended practice (J. IES 13, 1984), overcast sky: 0.3 + 21 sin h klx."""
    sine = math.sin(math.radians(altitude + refraction_degrees(altitude)))
    state = daylight_state(altitude, "overcast")
    assert state.sky_lux == pytest.approx(300 + 21_000 * min(sine, 1.0), rel=1e-9)
    assert state.ground_lux == state.sky_lux


# Janiczek and DeYoung, USNO Circular 171 (1987), in each of its four pieces; log10 of lux worked
# out by hand from the printed coefficients, x = h / 90.
@pytest.mark.parametrize(
    ("altitude", "log_lux"),
    [
        (-15.0, 13.84 - 262.72 / 6 + 1447.42 / 36 - 2797.93 / 216),
        (-9.0, 2.70 - 1.217 - 4.3169 + 1.89983),
        (-1.8, 2.88 - 0.4362 - 0.103244 + 0.00686688),
        (4.5, 2.88 + 1.113 - 0.5191 + 0.1292875),
    ],
)
def test_twilight_by_its_published_polynomial(altitude, log_lux):
    assert twilight_lux(altitude) == pytest.approx(10**log_lux, rel=1e-9)


def test_a_moonless_sky_is_left_when_the_twilight_has_gone():
    """0.002 lx with airglow (general tables of illuminance)."""
    night = daylight_state(-18).ground_lux - twilight_lux(-18)
    assert night == pytest.approx(0.002, rel=1e-9)
    assert daylight_state(-12).ground_lux == pytest.approx(twilight_lux(-12), rel=1e-9)


def test_sunset_is_when_the_upper_limb_goes():
    """34' of refraction and 16' of radius: the centre at -50' (USNO), the lower limb at -18'."""
    assert daylight_state(-50 / 60 + 0.002).sun_normal_lux > 0
    assert daylight_state(-50 / 60 - 0.002).sun_normal_lux == 0


def test_the_sky_turns_bluer_by_what_is_said():
    """25 mired at the end of civil twilight and after, none at 4 degrees; by choice."""
    _, _, _, day = _by_day(4, "clear")
    before, _ = xy_to_kelvin_duv(day)
    for altitude in (-6, -12):
        assert mired(daylight_state(altitude).sky_kelvin) == pytest.approx(mired(before) - 25)
    halfway = daylight_state(-1).sky_kelvin
    assert mired(halfway) == pytest.approx(mired(before) - 12.5)


def test_an_overcast_sky_is_as_neutral_as_d65():
    """CIE 15:2018, table of illuminants: D65 is x = 0.31272, y = 0.32903."""
    assert daylight_state(30, "overcast").sky_xy == pytest.approx((0.31272, 0.32903), abs=5e-6)
