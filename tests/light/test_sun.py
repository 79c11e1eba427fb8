"""Position of the sun against published examples and definitions."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta, timezone

import pytest

from evenfall.light.sun import _equatorial, crossings, refraction_degrees, sun_position

POSITION = 0.015  # degrees: the theory's 0.01, and the parallax it leaves out
MINUTES = 2.0  # almanacs round to a minute; 0.015 degrees is less than that below 60 degrees


def test_the_published_example_of_the_spa():
    # Reda and Andreas, NREL/TP-560-34302 (2008), table A5.1: topocentric zenith with refraction
    time = datetime(2003, 10, 17, 12, 30, 30, tzinfo=timezone(timedelta(hours=-7)))
    sun = sun_position(39.742476, -105.1786, time)
    assert 90 - sun.apparent_altitude_degrees == pytest.approx(50.11162, abs=POSITION)
    assert sun.azimuth_degrees == pytest.approx(194.34024, abs=POSITION)


def test_an_outside_implementation_agrees_all_over_the_world():
    pvlib = pytest.importorskip("pvlib")
    import pandas as pd

    times = pd.DatetimeIndex(
        pd.date_range("2001-01-03 00:00", "2049-12-20 00:00", periods=40, tz="UTC").round("s")
    )
    for latitude, longitude in ((-66, -150), (-33, 18), (0, 0), (41, -74), (60, 25)):
        spa = pvlib.solarposition.get_solarposition(times, latitude, longitude)
        for time, expected in zip(times, spa.itertuples(), strict=True):
            sun = sun_position(latitude, longitude, time.to_pydatetime())
            assert sun.altitude_degrees == pytest.approx(expected.elevation, abs=POSITION)


def test_solstices_reach_the_tropics():
    # obliquity of the ecliptic, 23.44 degrees (IAU): at noon on the tropic the sun is overhead
    june = datetime(2026, 6, 21, 12, 2, tzinfo=UTC)
    assert sun_position(23.436, 0.0, june).altitude_degrees == pytest.approx(90, abs=0.1)
    assert sun_position(90.0, 0.0, june).altitude_degrees == pytest.approx(23.436, abs=POSITION)


@pytest.mark.parametrize(("hour", "azimuth"), [(6, 90), (18, 270)])
def test_the_sun_of_an_equinox_rises_in_the_east_and_sets_in_the_west(hour, azimuth):
    sun = sun_position(0.0, 0.0, datetime(2026, 3, 20, hour, 7, tzinfo=UTC))
    assert sun.azimuth_degrees == pytest.approx(azimuth, abs=0.3)
    assert abs(sun.altitude_degrees) < 1


def test_refraction_lifts_the_setting_sun_by_its_own_width():
    # USNO convention: 34 arc minutes at the horizon, for the centre at -0.567 degrees
    assert refraction_degrees(-34 / 60) * 60 == pytest.approx(34, abs=1.5)
    assert refraction_degrees(45) * 60 == pytest.approx(1.0, abs=0.05)


def test_day_length_at_the_equator_of_an_equinox():
    # 12 h and twice (50' of altitude at 15 degrees an hour): 12 h 6.7 min
    (rise, up), (fall, down) = crossings(0.0, 0.0, datetime(2026, 3, 20, tzinfo=UTC), -50 / 60)
    assert (up, down) == (True, False)
    minutes = (fall - rise) / timedelta(minutes=1)
    assert minutes == pytest.approx(12 * 60 + 6.7, abs=MINUTES)


# Saemundsson's formula (Meeus 1998, 16.4), 1.02 / tan(h + 10.3 / (h + 5.11)) minutes, by hand:
# tan 2.01566 deg is 0.035195, tan 10.68167 deg 0.188620, tan 1.50608 deg 0.026292.
@pytest.mark.parametrize(("altitude", "minutes"), [(0, 28.982), (10, 5.4077), (-1, 38.795)])
def test_refraction_by_its_published_formula(altitude, minutes):
    assert refraction_degrees(altitude) * 60 == pytest.approx(minutes, rel=2e-4)


def test_refraction_fades_where_nothing_is_seen_of_the_sun():
    """Evenly from -1 to -5 degrees, by choice; at -3 half of what it is at -1."""
    assert refraction_degrees(-3) == pytest.approx(refraction_degrees(-1) / 2, rel=1e-12)
    assert refraction_degrees(-4.96) > 0
    assert refraction_degrees(-5) == refraction_degrees(-20) == 0


def test_the_published_example_of_the_theory():
    """Meeus (1998), example 25.a: 1992 October 13, 0h TD; to the digits that he prints.

    Right ascension 198.38083, declination -7.78507 degrees (quoted from memory).
    """
    right_ascension, declination, _ = _equatorial((2448908.5 - 2451545.0) / 36525)
    assert math.degrees(right_ascension) % 360 == pytest.approx(198.38083, abs=1.1e-5)
    assert math.degrees(declination) == pytest.approx(-7.78507, abs=1.1e-5)


def test_the_midnight_sun_has_no_sunset():
    assert crossings(70.0, 20.0, datetime(2026, 6, 21, tzinfo=UTC), -0.833) == []


def test_time_zones_are_honoured_and_needed():
    utc = datetime(2026, 6, 21, 10, 0, tzinfo=UTC)
    local = utc.astimezone(timezone(timedelta(hours=9)))
    assert sun_position(35, 135, utc) == sun_position(35, 135, local)
    with pytest.raises(ValueError, match="with its offset"):
        sun_position(35, 135, datetime(2026, 6, 21, 10, 0))
