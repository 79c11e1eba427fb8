"""Where the sun stands, for a place and a time.

The low-accuracy theory of J. Meeus, Astronomical Algorithms (2nd ed. 1998), chapters 22, 25 and
28, with refraction after Saemundsson (chapter 16). Good to about 0.01 degrees from 1950 to 2050;
below 2 degrees of altitude, refraction in the real air varies by more than that.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

__all__ = ["SunPosition", "crossings", "refraction_degrees", "sun_position"]

_J2000 = datetime(2000, 1, 1, 12, tzinfo=UTC)
_TT_MINUS_UTC_DAYS = 69.0 / 86400.0  # within 10 s from 1990 to 2035; the sun moves 0.0001 degrees


@dataclass(frozen=True)
class SunPosition:
    """Direction of the sun's centre.

    Parameters
    ----------
    altitude_degrees : float
        Above the horizon, without refraction.
    apparent_altitude_degrees : float
        With the refraction of a standard atmosphere.
    azimuth_degrees : float
        From north over east, 0 to 360.
    """

    altitude_degrees: float
    apparent_altitude_degrees: float
    azimuth_degrees: float


def sun_position(latitude: float, longitude: float, time: datetime) -> SunPosition:
    """Direction of the sun.

    Parameters
    ----------
    latitude, longitude : float
        Degrees, north and east positive.
    time : datetime
        With a time zone.

    Raises
    ------
    ValueError
        When the time has no time zone.

    Examples
    --------
    >>> noon = datetime(2026, 6, 21, 12, 2, tzinfo=UTC)
    >>> round(sun_position(51.48, 0.0, noon).altitude_degrees, 1)
    62.0
    """
    if time.tzinfo is None:
        raise ValueError("expected a time with its offset, such as 2026-06-21T21:30:00+02:00")
    days = (time - _J2000) / timedelta(days=1)
    right_ascension, declination, equinox = _equatorial((days + _TT_MINUS_UTC_DAYS) / 36525)
    sidereal = math.radians(280.46061837 + 360.98564736629 * days) + equinox  # Greenwich, 12.4
    hour_angle = sidereal + math.radians(longitude) - right_ascension
    north = math.radians(latitude)
    altitude = math.asin(
        math.sin(north) * math.sin(declination)
        + math.cos(north) * math.cos(declination) * math.cos(hour_angle)
    )
    azimuth = math.atan2(
        math.sin(hour_angle),
        math.cos(hour_angle) * math.sin(north) - math.tan(declination) * math.cos(north),
    )
    degrees = math.degrees(altitude)
    return SunPosition(
        degrees, degrees + refraction_degrees(degrees), (math.degrees(azimuth) + 180) % 360
    )


def _equatorial(centuries: float) -> tuple[float, float, float]:
    """Apparent right ascension, declination, equation of the equinoxes; all in radians.

    Centuries of terrestrial time from J2000.
    """
    t = centuries
    mean_longitude = 280.46646 + (36000.76983 + 0.0003032 * t) * t
    anomaly = math.radians(357.52911 + (35999.05029 - 0.0001537 * t) * t)
    centre = (
        (1.914602 - (0.004817 + 0.000014 * t) * t) * math.sin(anomaly)
        + (0.019993 - 0.000101 * t) * math.sin(2 * anomaly)
        + 0.000289 * math.sin(3 * anomaly)
    )
    node = math.radians(125.04 - 1934.136 * t)
    nutation = -0.00478 * math.sin(node)
    longitude = math.radians(mean_longitude + centre - 0.00569 + nutation)
    obliquity = math.radians(
        23.4392911 - (0.0130042 + (1.64e-7 - 5.04e-7 * t) * t) * t + 0.00256 * math.cos(node)
    )
    right_ascension = math.atan2(math.cos(obliquity) * math.sin(longitude), math.cos(longitude))
    declination = math.asin(math.sin(obliquity) * math.sin(longitude))
    return right_ascension, declination, math.radians(nutation) * math.cos(obliquity)


def refraction_degrees(altitude_degrees: float) -> float:
    """How much the air lifts a body at this true altitude (Saemundsson 1986).

    Below the horizon it fades to nothing at -5 degrees, where nothing is seen of the sun.

    Examples
    --------
    >>> round(refraction_degrees(0) * 60, 1), round(refraction_degrees(90), 4)
    (29.0, 0.0)
    """
    h = max(altitude_degrees, -1.0)
    lifted = 1.02 / math.tan(math.radians(h + 10.3 / (h + 5.11))) / 60
    fade = min(1.0, max(0.0, (altitude_degrees + 5.0) / 4.0))
    return max(0.0, lifted) * fade


def crossings(
    latitude: float, longitude: float, day: datetime, altitude_degrees: float
) -> list[tuple[datetime, bool]]:
    """Find the times at which the sun's centre passes an altitude, and whether it rises then.

    Parameters
    ----------
    latitude, longitude : float
        Degrees, north and east positive.
    day : datetime
        Where the search starts, with a time zone; it covers the 24 hours from there.
    altitude_degrees : float
        Without refraction: -0.833 is sunrise and sunset, -6 the end of civil twilight.

    Examples
    --------
    >>> day = datetime(2026, 3, 20, tzinfo=UTC)
    >>> [(time.hour, rising) for time, rising in crossings(0.0, 0.0, day, -0.833)]
    [(6, True), (18, False)]
    """

    def above(time: datetime) -> float:
        return sun_position(latitude, longitude, time).altitude_degrees - altitude_degrees

    found: list[tuple[datetime, bool]] = []
    step = timedelta(minutes=10)
    for number in range(24 * 6):
        start, end = day + number * step, day + (number + 1) * step
        first, last = above(start), above(end)
        if (first < 0) == (last < 0):
            continue
        for _ in range(10):
            middle = start + (end - start) / 2
            start, end = (start, middle) if (above(middle) < 0) != (first < 0) else (middle, end)
        found.append((start, last > first))
    return found
