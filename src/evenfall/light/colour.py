"""Colour of light: kelvin and Duv, the loci they lie on, nominal lamp classes, sRGB hex.

The Planckian locus is a Chebyshev series in mired, fitted to Planck's law (c2 = 1.4388e-2 m K)
weighted with the CIE 1931 2-degree observer from 360 to 830 nm at 1 nm (CIE 15:2018); it agrees
with that integration within 1e-7 in CIE 1960 uv. It stands here so that a recipe in kelvin starts
without loading a colour library.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import numpy.typing as npt
from numpy.polynomial import chebyshev

from evenfall.light.primaries import Xy
from evenfall.light.transfer import decode_srgb
from evenfall.recipe.tints import Locus

__all__ = [
    "LAMP_CLASSES",
    "MEANINGFUL_DUV",
    "daylight_xy",
    "hex_to_bt709",
    "kelvin_to_xy",
    "lamp_class_xy",
    "mired",
    "planckian_xy",
    "uv_to_xy",
    "xy_to_kelvin_duv",
    "xy_to_uv",
]

Vector = npt.NDArray[np.float64]

MEANINGFUL_DUV = 0.05
"""Beyond this distance from the locus a colour temperature means nothing (CIE 15:2018)."""

LAMP_CLASSES: dict[str, tuple[float, float]] = {
    "2700": (2725.0, 0.000),
    "3000": (3045.0, 0.000),
    "3500": (3465.0, 0.000),
    "4000": (3985.0, 0.001),
    "4500": (4503.0, 0.001),
    "5000": (5028.0, 0.002),
    "5700": (5665.0, 0.002),
    "6500": (6530.0, 0.003),
}
"""Target colour temperature in kelvin and target Duv of the nominal classes of ANSI C78.377-2008,
table 1."""

_PLANCKIAN_BELOW = 4000.0
_DAYLIGHT_ABOVE = 5000.0
_DAYLIGHT_RANGE = (4000.0, 25000.0)

_HALF_RANGE_MIRED = 550.0  # the series runs from 0 mired (infinitely hot) to 1100 mired
_HOTTEST_MIRED, _COLDEST_MIRED = 0.0, 2 * _HALF_RANGE_MIRED
_LOCUS_UV = np.array(
    [
        [0.3205448748, 0.33402085887],
        [0.15414035041, 0.03805293681],
        [0.00206947349, -0.02705400875],
        [-0.00871827899, 0.00849476848],
        [0.00278493415, -3.006751e-05],
        [-0.00046788636, -0.00158212899],
        [-0.00010507673, 0.00106542267],
        [0.00014918267, -0.00044578224],
        [-8.78344e-05, 0.00011832605],
        [3.723686e-05, 2.43725e-06],
        [-1.051498e-05, -3.014992e-05],
        [-5.5974e-07, 2.602731e-05],
        [3.53406e-06, -1.529048e-05],
        [-3.06093e-06, 6.54323e-06],
        [1.7078e-06, -1.53334e-06],
        [-6.1085e-07, -5.1649e-07],
        [3.266e-08, 9.1302e-07],
        [1.526e-07, -6.7001e-07],
        [-1.4425e-07, 3.3545e-07],
        [8.224e-08, -1.0643e-07],
        [-3.027e-08, -1.34e-09],
    ]
)
_LOCUS_DERIVATIVES = [
    chebyshev.chebder(_LOCUS_UV, order) / _HALF_RANGE_MIRED**order for order in (0, 1, 2)
]
_LOCUS = np.stack(
    [np.pad(part, ((0, len(_LOCUS_UV) - len(part)), (0, 0))) for part in _LOCUS_DERIVATIVES],
    axis=1,
)


def _locus(reciprocal: float | Vector) -> Vector:
    """Point of the locus at these mired, its slope and its bend a mired; shape (3, 2, ...)."""
    place = reciprocal / _HALF_RANGE_MIRED - 1
    return np.asarray(chebyshev.chebval(place, _LOCUS), dtype=np.float64)


_GRID_MIRED = np.linspace(_HOTTEST_MIRED, _COLDEST_MIRED, 111)
_GRID_UV = _locus(_GRID_MIRED)[0].T
_SETTLED_MIRED = 1e-8


def mired(kelvin: float) -> float:
    """Reciprocal colour temperature, 10^6 / T.

    Examples
    --------
    >>> round(mired(3200) - mired(5500), 3)
    130.682
    """
    return 1e6 / kelvin


def xy_to_uv(xy: Xy) -> Xy:
    """CIE 1931 xy to CIE 1960 uv.

    Examples
    --------
    >>> tuple(round(c, 4) for c in xy_to_uv((0.3127, 0.3290)))
    (0.1978, 0.3122)
    """
    x, y = xy
    below = -2 * x + 12 * y + 3
    return 4 * x / below, 6 * y / below


def uv_to_xy(uv: Xy) -> Xy:
    """CIE 1960 uv to CIE 1931 xy.

    Examples
    --------
    >>> tuple(round(c, 4) for c in uv_to_xy((0.19783, 0.31221)))
    (0.3127, 0.329)
    """
    u, v = uv
    below = 2 * u - 8 * v + 4
    return 3 * u / below, 2 * v / below


def planckian_xy(kelvin: float, duv: float = 0.0) -> Xy:
    """Chromaticity at a distance from the Planckian locus.

    Parameters
    ----------
    kelvin : float
        Temperature, 910 K or more.
    duv : float
        Distance from the locus in CIE 1960 uv; positive is the green side (ANSI C78.377).

    Raises
    ------
    ValueError
        When the temperature lies outside the locus as tabulated.

    Examples
    --------
    >>> tuple(round(c, 5) for c in planckian_xy(2856))
    (0.44754, 0.40743)
    """
    if not kelvin > 0 or mired(kelvin) > _COLDEST_MIRED:
        raise ValueError(f"a colour temperature of {kelvin:g} K is below 910 K")
    (u, v), (slope_u, slope_v), _ = _locus(mired(kelvin))
    length = float(np.hypot(slope_u, slope_v))
    return uv_to_xy((float(u - duv * slope_v / length), float(v + duv * slope_u / length)))


def daylight_xy(kelvin: float) -> Xy:
    """Chromaticity of a phase of daylight (CIE 15:2018, equations of the D illuminants).

    Raises
    ------
    ValueError
        Outside 4000 K to 25000 K, where the locus is defined.

    Examples
    --------
    >>> tuple(round(c, 6) for c in daylight_xy(6504))
    (0.312714, 0.329119)
    """
    low, high = _DAYLIGHT_RANGE
    if not low <= kelvin <= high:
        raise ValueError(f"the CIE daylight locus runs from {low:g} K to {high:g} K")
    t = 1e3 / kelvin
    if kelvin <= 7000:
        x = ((-4.6070 * t + 2.9678) * t + 0.09911) * t + 0.244063
    else:
        x = ((-2.0064 * t + 1.9018) * t + 0.24748) * t + 0.237040
    return x, (-3.000 * x + 2.870) * x - 0.275


def kelvin_to_xy(kelvin: float, duv: float | None = None, locus: Locus = "auto") -> Xy:
    """Chromaticity of a light of this colour temperature.

    Parameters
    ----------
    kelvin : float
        Correlated colour temperature.
    duv : float or None
        Distance from the Planckian locus in CIE 1960 uv, + is green. A Duv is by definition
        measured from the Planckian locus, so giving one (0 too) puts `locus` aside.
    locus : {"auto", "planckian", "daylight"}
        auto: Planckian up to 4000 K, CIE daylight from 5000 K, and between them the mean of both
        in CIE 1960 uv, weighted s^2 (3 - 2 s) with s = (T - 4000 K) / 1000 K.

    Raises
    ------
    ValueError
        Outside the locus: daylight is defined from 4000 K to 25000 K.

    Examples
    --------
    >>> tuple(round(c, 4) for c in kelvin_to_xy(2700))
    (0.4599, 0.4106)
    >>> kelvin_to_xy(6504) == daylight_xy(6504)
    True
    """
    if duv is not None:
        return planckian_xy(kelvin, duv)
    if locus == "planckian" or (locus == "auto" and kelvin <= _PLANCKIAN_BELOW):
        return planckian_xy(kelvin)
    if locus == "daylight" or kelvin >= _DAYLIGHT_ABOVE:
        return daylight_xy(kelvin)
    s = (kelvin - _PLANCKIAN_BELOW) / (_DAYLIGHT_ABOVE - _PLANCKIAN_BELOW)
    share = s * s * (3 - 2 * s)
    warm, cool = xy_to_uv(planckian_xy(kelvin)), xy_to_uv(daylight_xy(kelvin))
    u, v = (low + share * (high - low) for low, high in zip(warm, cool, strict=True))
    return uv_to_xy((u, v))


@lru_cache(maxsize=1024)
def xy_to_kelvin_duv(xy: Xy) -> tuple[float, float] | None:
    """Correlated colour temperature and Duv: the nearest point of the Planckian locus.

    Parameters
    ----------
    xy : tuple of float
        CIE 1931 chromaticity.

    Returns
    -------
    tuple of float or None
        Kelvin, and the distance in CIE 1960 uv with + for the green side. None when the colour
        lies more than 0.05 away or beyond the ends of the locus, where a colour temperature has
        no meaning (CIE 15:2018).

    Examples
    --------
    >>> kelvin, duv = xy_to_kelvin_duv((0.3127, 0.3290))
    >>> round(kelvin), round(duv, 4)
    (6504, 0.0032)
    """
    target = np.array(xy_to_uv(xy))
    nearest = int(np.argmin(((_GRID_UV - target) ** 2).sum(axis=1)))
    reciprocal = float(_GRID_MIRED[nearest])
    for _ in range(20):
        point, slope, bend = _locus(reciprocal)
        away = point - target
        step = float(away @ slope) / float(slope @ slope + away @ bend)
        reciprocal = min(max(reciprocal - step, _HOTTEST_MIRED), _COLDEST_MIRED)
        if abs(step) < _SETTLED_MIRED:
            break
    if not _HOTTEST_MIRED < reciprocal < _COLDEST_MIRED:
        return None
    point, slope, _ = _locus(reciprocal)
    away = target - point
    duv = float(slope[0] * away[1] - slope[1] * away[0]) / float(np.hypot(*slope))
    return (1e6 / reciprocal, duv) if abs(duv) <= MEANINGFUL_DUV else None


def lamp_class_xy(name: str) -> Xy:
    """Centre of a nominal lamp class (ANSI C78.377-2008, table 1).

    Examples
    --------
    >>> tuple(round(c, 4) for c in lamp_class_xy("3000"))
    (0.4338, 0.403)
    """
    return planckian_xy(*LAMP_CLASSES[name])


def hex_to_bt709(text: str) -> tuple[float, float, float]:
    """Linear BT.709 of a colour written '#rrggbb' in sRGB (IEC 61966-2-1:1999).

    Examples
    --------
    >>> round(hex_to_bt709("#808080")[0], 6)
    0.215861
    """
    codes = np.array([int(text[i : i + 2], 16) for i in (1, 3, 5)])
    red, green, blue = decode_srgb(codes / 255).tolist()
    return red, green, blue
