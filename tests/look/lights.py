"""Light of lamps on the surfaces of rooms, and the hue that eyes see, judged by colour-science.

Sources: Planck's law with the CIE 1931 2-degree observer; spectral reflectances of skin and foliage
from the chart of ISO 17321-1 as colour-science holds them; wood, brick and denim by Munsell
notations through the Munsell renotation data (Newhall, Nickerson and Judd 1943). Which notation
stands for which material is common practice of colour charts, not a measurement.
"""

from __future__ import annotations

import warnings
from functools import cache

import numpy as np

with warnings.catch_warnings():  # of optional packages that are not installed
    warnings.simplefilter("ignore")
    import colour

from evenfall.light.primaries import BT709, DISPLAY_P3, RgbSpace, rgb_to_xyz, xy_to_xyz

D65 = (0.3127, 0.3290)
KELVIN = (1900, 2200, 2700, 3000, 3500, 4000, 5000, 6500)
MUNSELL = {
    "oak": "10YR 6/4",
    "cherry": "5YR 4/6",
    "walnut": "5YR 3/2",
    "brick": "10R 4/6",
    "denim": "5PB 3/4",
}
CHART = {"light skin": "light skin", "dark skin": "dark skin", "foliage": "foliage"}
LEDS = {
    "red": (1.0, 0.0, 0.0),
    "green": (0.0, 1.0, 0.0),
    "blue": (0.0, 0.0, 1.0),
    "cyan": (0.0, 1.0, 1.0),
    "magenta": (1.0, 0.0, 1.0),
    "yellow": (1.0, 1.0, 0.0),
}
VISIBLE = 0.03  # chroma in OKLab

_SHAPE = colour.SpectralShape(380, 780, 5)


def _observer() -> np.ndarray:
    observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    return observer.copy().align(_SHAPE).values


def _planck(kelvin: float) -> np.ndarray:
    metres = np.arange(380, 781, 5) * 1e-9
    spectrum = metres**-5 / np.expm1(1.4388e-2 / (metres * kelvin))
    return spectrum / spectrum.max()


def _reflectance(patch: str) -> np.ndarray:
    spectrum = colour.SDS_COLOURCHECKERS["ISO 17321-1"][patch]
    return spectrum.copy().align(_SHAPE).values


def _lit(reflectance: np.ndarray, light: np.ndarray) -> np.ndarray:
    """XYZ of a surface, 1 for the luminance of a perfect white in that light."""
    observer = _observer()
    return (reflectance * light) @ observer / (light @ observer[:, 1])


@cache
def _munsell_bt709(notation: str) -> tuple[float, ...]:
    """Linear BT.709 of a surface under D65; renotations are for illuminant C."""
    xyz = colour.xyY_to_XYZ(colour.munsell_colour_to_xyY(notation))
    white_c = colour.xy_to_XYZ(colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["C"])
    adapted = colour.chromatic_adaptation(xyz, white_c, xy_to_xyz(D65))
    return tuple(np.linalg.solve(rgb_to_xyz(BT709), adapted))


def lamp_light() -> dict[tuple[str, str], np.ndarray]:
    """XYZ of white and coloured surfaces in the light of lamps, by light and surface."""
    found = {}
    for kelvin in KELVIN:
        light = _planck(kelvin)
        white = _lit(np.ones_like(light), light)
        found[f"{kelvin} K", "white"] = 0.9 * white
        found[f"{kelvin} K", "grey"] = 0.18 * white
        for surface, patch in CHART.items():
            found[f"{kelvin} K", surface] = _lit(_reflectance(patch), light)
        rgb = np.linalg.solve(rgb_to_xyz(BT709), white)
        for surface, notation in MUNSELL.items():
            found[f"{kelvin} K", surface] = rgb_to_xyz(BT709) @ (rgb * _munsell_bt709(notation))
    return found


def led_light() -> dict[tuple[str, str], np.ndarray]:
    """The same for primaries and secondaries of BT.709 and Display P3, as a renderer multiplies."""
    d65 = colour.SDS_ILLUMINANTS["D65"].copy().align(_SHAPE).values
    surfaces = {"white": np.full(3, 0.9)}
    for surface, patch in CHART.items():
        surfaces[surface] = np.linalg.solve(rgb_to_xyz(BT709), _lit(_reflectance(patch), d65))
    surfaces |= {name: np.array(_munsell_bt709(notation)) for name, notation in MUNSELL.items()}
    found = {}
    for space in (BT709, DISPLAY_P3):
        inwards = np.linalg.solve(rgb_to_xyz(space), rgb_to_xyz(BT709))
        for led, rgb in LEDS.items():
            for surface, bt709 in surfaces.items():
                lit = np.array(rgb) * (inwards @ bt709)
                if lit.max() > 0.02:  # otherwise there is nothing to see
                    found[f"{space.name} {led}", surface] = rgb_to_xyz(space) @ lit
    return found


def oklab(xyz: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Lightness, chroma, hue in degrees; white is Y = 1."""
    lab = colour.XYZ_to_Oklab(xyz)
    hue = np.degrees(np.arctan2(lab[..., 2], lab[..., 1]))
    return lab[..., 0], np.hypot(lab[..., 1], lab[..., 2]), hue


def cam16(xyz: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """J', colourfulness M' and hue in CAM16-UCS of a viewer who has adapted to the display's white.

    Background and adapting luminance are those of a display in an average room (the values that
    colour-science takes for sRGB, IEC 61966-2-1). With incomplete adaptation even the display's
    white has a hue, and colours near white are judged by it.
    """
    seen = colour.XYZ_to_CAM16(
        100 * np.asarray(xyz),
        100 * xy_to_xyz(D65),
        L_A=64 / np.pi * 0.2,
        Y_b=20,
        discount_illuminant=True,
    )
    ucs = colour.JMh_CAM16_to_CAM16UCS(np.stack([seen.J, seen.M, seen.h], axis=-1))
    hue = np.degrees(np.arctan2(ucs[..., 2], ucs[..., 1]))
    return ucs[..., 0], np.hypot(ucs[..., 1], ucs[..., 2]), hue


def turns(hue: np.ndarray, own: np.ndarray) -> np.ndarray:
    """Size of the smaller angle between hues in degrees."""
    return np.abs((hue - own + 180) % 360 - 180)


def to_space(xyz: np.ndarray, space: RgbSpace) -> np.ndarray:
    return np.linalg.solve(rgb_to_xyz(space), np.moveaxis(xyz, -1, 0).reshape(3, -1))
