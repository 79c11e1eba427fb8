"""Sun and sky by the altitude of the sun: strength and colour from published models.

By day. Direct and diffuse illuminance and chromaticity from the clear-sky spectral model of Bird
and Riordan (1984/86, "SPCTRL2"), weighted with the CIE 1931 observer and 683 lm/W: water 1.42 cm,
ozone 0.34 cm, albedo 0.2, day 80, sea level; aerosol optical depth at 500 nm 0.1 for a clear sky
and 0.4 for a hazy one. `_SPECTRAL` holds its results; between its rows values run linearly over the
relative air mass of Kasten and Young (1989), which the direct beam follows closely (errors below
1 %). An overcast sky has no sun and gives 0.3 + 21 sin h klx (IES recommended practice 1984).

Through twilight. Clear-sky total after Janiczek and DeYoung (1987), with the fixed share of it that
hazy and overcast skies have at 4 degrees; the day model passes into it between 2 and 5 degrees.
From 12 to 18 degrees below the horizon the light of a moonless sky, 0.002 lx, comes in and stays.

The sun is full down to -0.3 degrees and gone at -0.833 degrees (34' of refraction, 16' of radius).
Its colour is held at about 2000 K, from 2 degrees down (4 in haze), where the spectral model leaves
what is seen.
Below 4 degrees the sky turns bluer, by 25 mired at the end of civil twilight, and keeps that: this
is a choice in the direction of what is measured, where measurements differ widely.

Handbook values of clear-sky illuminance differ among themselves by 10 % at high sun and by a third
below 5 degrees. These figures set starting gains; they are no daylight calculation for a building.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np

from evenfall.light.colour import mired, planckian_xy, uv_to_xy, xy_to_kelvin_duv
from evenfall.light.primaries import Xy
from evenfall.light.sun import refraction_degrees

__all__ = ["SKY_STATES", "DaylightState", "SkyState", "air_mass", "daylight_state", "twilight_lux"]

SkyState = Literal["clear", "hazy", "overcast"]
SKY_STATES: tuple[SkyState, ...] = ("clear", "hazy", "overcast")

MOONLESS_LUX = 0.002

# apparent altitude; direct normal and diffuse horizontal lux; CIE 1960 u, v of sun, of sky
_SPECTRAL: dict[str, tuple[tuple[float, ...], ...]] = {
    "clear": (
        (90, 108289, 16337, 0.2063, 0.3203, 0.1849, 0.2892),
        (60, 104734, 15426, 0.2069, 0.3212, 0.1850, 0.2896),
        (45, 99046, 14161, 0.2078, 0.3225, 0.1852, 0.2903),
        (35, 92305, 12875, 0.2089, 0.3242, 0.1854, 0.2910),
        (25, 80881, 11040, 0.2112, 0.3272, 0.1857, 0.2920),
        (18, 67472, 9229, 0.2145, 0.3311, 0.1861, 0.2928),
        (13, 52852, 7496, 0.2193, 0.3358, 0.1864, 0.2934),
        (10, 41028, 6189, 0.2247, 0.3403, 0.1865, 0.2934),
        (7, 26559, 4612, 0.2350, 0.3468, 0.1865, 0.2930),
        (5, 16018, 3391, 0.2483, 0.3527, 0.1862, 0.2922),
        (4, 10967, 2736, 0.2592, 0.3561, 0.1858, 0.2918),
        (3, 6503, 2059, 0.2752, 0.3594, 0.1853, 0.2916),
        (2, 3057, 1369, 0.2996, 0.3621, 0.1848, 0.2920),
        (1, 967, 676, 0.3375, 0.3626, 0.1848, 0.2932),
        (0, 156, 1, 0.3941, 0.3595, 0.1859, 0.2954),
    ),
    "hazy": (
        (90, 83043, 37206, 0.2094, 0.3234, 0.1921, 0.3033),
        (60, 77106, 34421, 0.2104, 0.3246, 0.1926, 0.3041),
        (45, 68105, 30455, 0.2121, 0.3266, 0.1932, 0.3054),
        (35, 58223, 26386, 0.2144, 0.3290, 0.1940, 0.3067),
        (25, 43393, 20693, 0.2189, 0.3333, 0.1954, 0.3084),
        (18, 28977, 15430, 0.2254, 0.3384, 0.1968, 0.3096),
        (13, 16798, 10938, 0.2347, 0.3443, 0.1979, 0.3095),
        (10, 9525, 8009, 0.2451, 0.3492, 0.1982, 0.3081),
        (7, 3574, 5067, 0.2644, 0.3554, 0.1972, 0.3043),
        (5, 1130, 3243, 0.2886, 0.3596, 0.1947, 0.3000),
        (4, 473, 2418, 0.3075, 0.3611, 0.1926, 0.2977),
        (3, 141, 1669, 0.3342, 0.3617, 0.1900, 0.2958),
        (2, 24, 1004, 0.3723, 0.3605, 0.1875, 0.2951),
        (1, 2, 434, 0.4258, 0.3567, 0.1861, 0.2964),
        (0, 0.05, 1, 0.4930, 0.3506, 0.1869, 0.2994),
    ),
}
_OVERCAST_XY = (0.31272, 0.32903)  # D65, CIE 15:2018

# upper end in degrees, and l0 to l3 of log10 E = l0 + l1 x + l2 x^2 + l3 x^3 with x = h / 90
_TWILIGHT = (
    (-12.0, (13.84, 262.72, 1447.42, 2797.93)),
    (-5.0, (2.70, 12.17, -431.69, -1899.83)),
    (-0.8, (2.88, 21.81, -258.11, -858.36)),
    (5.0, (2.88, 22.26, -207.64, 1034.30)),
)

_TWILIGHT_BELOW, _DAY_ABOVE = 2.0, 5.0
_DISC_CENTRE, _DISC_HALF = -0.567, 0.267
_REDDEST_ALTITUDE = {"clear": 2.0, "hazy": 4.0, "overcast": 4.0}
_BLUE_FROM, _BLUE_UNTIL, _BLUE_MIRED = 4.0, -6.0, -25.0


@dataclass(frozen=True)
class DaylightState:
    """Strength and colour of sun and sky at one altitude of the sun.

    Parameters
    ----------
    sun_altitude_degrees : float
        Of the sun's centre, without refraction.
    sky : {"clear", "hazy", "overcast"}
        State of the sky.
    sun_normal_lux : float
        On a surface that faces the sun.
    sky_lux : float
        On the ground, from the sky alone.
    sun_xy, sky_xy : tuple of float
        CIE 1931 chromaticities.
    """

    sun_altitude_degrees: float
    sky: SkyState
    sun_normal_lux: float
    sky_lux: float
    sun_xy: Xy
    sky_xy: Xy

    @property
    def ground_lux(self) -> float:
        """On the ground, from sun and sky."""
        return self.sky_lux + self.sun_normal_lux * _sine(self.sun_altitude_degrees)

    @property
    def sun_kelvin(self) -> float | None:
        """Correlated colour temperature of the sun."""
        found = xy_to_kelvin_duv(self.sun_xy)
        return found[0] if found else None

    @property
    def sky_kelvin(self) -> float | None:
        """Correlated colour temperature of the sky."""
        found = xy_to_kelvin_duv(self.sky_xy)
        return found[0] if found else None

    @property
    def phase(self) -> str:
        """Name of the time of day by the sun's altitude."""
        h = self.sun_altitude_degrees
        limits = (
            (-18.0, "night"),
            (-12.0, "astronomical twilight"),
            (-6.0, "nautical twilight"),
            (-0.833, "civil twilight"),
            (6.0, "low sun"),
        )
        return next((name for limit, name in limits if h < limit), "day")


def air_mass(altitude_degrees: float) -> float:
    """Relative optical air mass (Kasten and Young 1989) at an apparent altitude of 0 to 90.

    Examples
    --------
    >>> [round(air_mass(h), 5) for h in (90, 30, 0)]
    [0.99971, 1.99429, 37.91961]
    """
    h = altitude_degrees
    return 1.0 / (math.sin(math.radians(h)) + 0.50572 * math.pow(h + 6.07995, -1.6364))


def twilight_lux(altitude_degrees: float) -> float:
    """Clear-sky horizontal illuminance around sunset and through twilight.

    Source: Janiczek and DeYoung, US Naval Observatory Circular 171 (1987), for altitudes of -18 to
    5 degrees; held beyond these.

    Examples
    --------
    >>> round(twilight_lux(-6), 1)
    3.4
    """
    h = min(max(altitude_degrees, -18.0), 5.0)
    terms = next(terms for limit, terms in _TWILIGHT if h <= limit)
    return float(10.0 ** sum(term * (h / 90.0) ** power for power, term in enumerate(terms)))


@lru_cache(maxsize=1024)
def daylight_state(sun_altitude_degrees: float, sky: SkyState = "clear") -> DaylightState:
    """Strength and colour of sun and sky.

    Parameters
    ----------
    sun_altitude_degrees : float
        Of the sun's centre, without refraction; -90 to 90.
    sky : {"clear", "hazy", "overcast"}
        State of the sky.

    Examples
    --------
    >>> noon = daylight_state(60)
    >>> round(noon.sun_normal_lux, -3), round(noon.sky_lux, -3), round(noon.sun_kelvin, -2)
    (105000.0, 15000.0, 5300.0)
    >>> dusk = daylight_state(-6)
    >>> dusk.sun_normal_lux, round(dusk.sky_lux, 1), dusk.phase
    (0.0, 3.4, 'civil twilight')
    """
    h = sun_altitude_degrees
    apparent = min(90.0, max(0.0, h + refraction_degrees(h)))
    sun_lux, day_sky_lux, sun_xy, day_sky_xy = _by_day(apparent, sky)
    sun_lux *= _visible_disc(h)
    day_total = day_sky_lux + sun_lux * _sine(h)
    total = _blend_logs(_twilight_total(h, sky), day_total, _ramp(h, _TWILIGHT_BELOW, _DAY_ABOVE))
    sky_lux = total - sun_lux * _sine(h)
    return DaylightState(h, sky, sun_lux, sky_lux, sun_xy, _bluer(day_sky_xy, h))


def _by_day(apparent: float, sky: SkyState) -> tuple[float, float, Xy, Xy]:
    """Direct normal and diffuse lux, and the colours of sun and sky, by the day models."""
    table = np.array(_SPECTRAL["hazy" if sky == "overcast" else sky]).T
    masses = np.array([air_mass(altitude) for altitude in table[0]])
    mass = air_mass(apparent)
    sun_lux = math.exp(float(np.interp(mass, masses, np.log(table[1]))))
    sky_lux = math.exp(float(np.interp(math.log(mass), np.log(masses), np.log(table[2]))))

    def colour(column: int, lowest: float) -> Xy:
        place = math.log(min(mass, air_mass(lowest)))
        u, v = (float(np.interp(place, np.log(masses), table[c])) for c in (column, column + 1))
        return uv_to_xy((u, v))

    sun_xy = colour(3, _REDDEST_ALTITUDE[sky])
    if sky == "overcast":
        return 0.0, 300.0 + 21000.0 * _sine(apparent), sun_xy, _OVERCAST_XY
    return sun_lux, sky_lux, sun_xy, colour(5, _BLUE_FROM)


def _twilight_total(h: float, sky: SkyState) -> float:
    night = MOONLESS_LUX * _ramp(-h, 12.0, 18.0)
    return (twilight_lux(h) + night) * _twilight_share(sky)


def _twilight_share(sky: SkyState) -> float:
    """Share of the clear sky's twilight: that which the day models give at 4 degrees."""
    if sky == "clear":
        return 1.0
    totals = []
    for state in (sky, "clear"):
        sun_lux, sky_lux, _, _ = _by_day(_BLUE_FROM, state)
        totals.append(sky_lux + sun_lux * _sine(_BLUE_FROM))
    return totals[0] / totals[1]


def _visible_disc(h: float) -> float:
    """Share of the sun's disc above the horizon."""
    s = min(1.0, max(-1.0, (h - _DISC_CENTRE) / _DISC_HALF))
    return 0.5 + (s * math.sqrt(1.0 - s * s) + math.asin(s)) / math.pi


def _bluer(xy: Xy, h: float) -> Xy:
    found = xy_to_kelvin_duv(xy)
    share = _ramp(-h, -_BLUE_FROM, -_BLUE_UNTIL)
    if found is None or share == 0:
        return xy
    kelvin, duv = found
    return planckian_xy(1e6 / (mired(kelvin) + share * _BLUE_MIRED), duv)


def _ramp(value: float, start: float, end: float) -> float:
    s = min(1.0, max(0.0, (value - start) / (end - start)))
    return s * s * (3.0 - 2.0 * s)


def _blend_logs(low: float, high: float, share: float) -> float:
    return math.exp(math.log(low) * (1.0 - share) + math.log(high) * share)


def _sine(degrees: float) -> float:
    return max(0.0, math.sin(math.radians(degrees)))
