"""The lights of the view: what each is, how strong and how warm it was rendered, and other set-ups.

Radiance is in units of 100 cd/m2 (luminance = the Y row of BT.709 applied to R, G, B).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np

CD_PER_M2 = 100.0
SUN_AZIMUTH, SUN_ALTITUDE, SUN_RADIUS = 52.0, 29.0, 0.9
# The sun alone on its way down: azimuth and altitude in degrees; colour and lux as in LIGHTS.
SUN_PATH = {
    "sun_early": (60.0, 34.0),
    "sun_between": (SUN_AZIMUTH, SUN_ALTITUDE),
    "sun_late": (44.0, 24.0),
}
SUN_PATH_SAMPLES = 192
BT709_FROM_XYZ = np.array(
    [
        [3.2409699419, -1.5373831776, -0.4986107603],
        [-0.9692436363, 1.8759675015, 0.0415550574],
        [0.0556300797, -0.2039769589, 1.0569715142],
    ]
)


@dataclass(frozen=True)
class Light:
    """One pass: a light or a group of alike lights.

    Attributes
    ----------
    role : str
        ``key``, ``sky``, ``fill``, ``fixture`` or ``outdoor fixture``.
    kelvin : float
        Colour temperature as rendered.
    amount : float
        Total luminous flux in lumens for lamps and the fill, illuminance in lux on a plane that
        faces the sun for ``sun``, and on the ground for ``sky``.
    samples : int
        Paths per pixel that one turn of rendering adds (both halves together).
    text : str
        What a person would call it.
    """

    role: str
    kelvin: float
    amount: float
    samples: int
    text: str

    @property
    def unit(self) -> str:
        """Unit of ``amount``."""
        return "lux" if self.role in ("key", "sky") else "lumens"

    @property
    def locus(self) -> str:
        """Where the colour lies: ``daylight`` (CIE D series) or ``planckian``."""
        return "daylight" if self.kelvin >= 5000 else "planckian"


LIGHTS = {
    "sun": Light("key", 5200, 11000, 96, "low afternoon sun from ahead on the left"),
    "sky": Light("sky", 9000, 5200, 120, "clear sky, through the glazed gable and the left window"),
    "fill": Light(
        "fill",
        6000,
        9000,
        48,
        "large frosted window behind the camera, about 100 degrees from the sun",
    ),
    "pendants": Light("fixture", 3000, 2700, 64, "three opal globes above the dining table"),
    "floor_lamp": Light("fixture", 3000, 1300, 40, "fabric drum on a stand beside the sofa"),
    "shelf_strip": Light("fixture", 4000, 2200, 56, "LED strips under the shelves"),
    "table_lamp": Light("fixture", 2700, 650, 40, "small globe on the sideboard"),
    "terrace_lantern": Light(
        "outdoor fixture",
        2700,
        14000,
        64,
        "lanterns on the terrace, lights along the path and under trees, a cabin across the water",
    ),
}

# Independent renders of all lights at once: per light the gain in stops (None: off) and the kelvin.
TRUTHS: dict[str, dict[str, tuple[float | None, float]]] = {
    "truth_day": {
        "sun": (0.5, 5500),
        "sky": (0.25, 8000),
        "fill": (-0.5, 6000),
        "pendants": (-2.0, 3500),
        "floor_lamp": (None, 3000),
        "shelf_strip": (-1.0, 3000),
        "table_lamp": (-1.0, 2700),
        "terrace_lantern": (None, 2700),
    },
    "truth_dusk": {
        "sun": (None, 5200),
        "sky": (-2.5, 15000),
        "fill": (-4.0, 9000),
        "pendants": (0.0, 2700),
        "floor_lamp": (0.0, 2700),
        "shelf_strip": (-0.5, 3000),
        "table_lamp": (0.25, 2400),
        "terrace_lantern": (0.5, 2200),
    },
}
# Balances that suit the view; a light that a mood does not name is off.
SUGGESTED: dict[str, dict[str, tuple[float, float]]] = {
    "day": {
        "sun": (0.0, 5200),
        "sky": (0.0, 7500),
        "fill": (0.5, 6000),
        "pendants": (-2.0, 3000),
        "shelf_strip": (-1.5, 3500),
    },
    "dusk": {
        "sky": (-3.6, 18000),
        "fill": (-3.0, 8000),
        "pendants": (0.0, 2700),
        "floor_lamp": (0.5, 2700),
        "shelf_strip": (0.0, 3000),
        "table_lamp": (0.5, 2700),
        "terrace_lantern": (0.5, 2400),
    },
    "night": {
        "sky": (-8.0, 25000),
        "pendants": (-1.5, 2500),
        "floor_lamp": (0.5, 2700),
        "shelf_strip": (-0.5, 2700),
        "table_lamp": (0.75, 2400),
        "terrace_lantern": (1.0, 2200),
    },
}
TRUTH_SAMPLES = {"beauty": 32, "truth_day": 32, "truth_dusk": 32}


@cache
def rgb_of_kelvin(kelvin: float) -> tuple[float, float, float]:
    """Return linear BT.709 R, G, B of luminance 1 for a colour temperature.

    Planck's law with the CIE 1931 2 degree observer below 5000 K, the CIE D series from 5000 K
    (CIE 15:2018), as colour-science computes them. No lamp here lies between 4000 and 5000 K.
    """
    import colour

    if kelvin >= 5000:
        xy = colour.temperature.CCT_to_xy_CIE_D(kelvin)
    else:
        spectrum = colour.sd_blackbody(kelvin, colour.SpectralShape(360, 830, 1))
        observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
        xy = colour.XYZ_to_xy(colour.sd_to_XYZ(spectrum, observer, method="Integration"))
    x, y = float(xy[0]), float(xy[1])
    red, green, blue = BT709_FROM_XYZ @ np.array([x / y, 1.0, (1 - x - y) / y])
    return float(red), float(green), float(blue)


def factors(name: str, setup: str) -> np.ndarray:
    """Return the three factors that turn a pass into the light of a set-up, shape (3,)."""
    if setup not in TRUTHS:
        return np.ones(3)
    stops, kelvin = TRUTHS[setup][name]
    if stops is None:
        return np.zeros(3)
    ratio = np.array(rgb_of_kelvin(kelvin)) / np.array(rgb_of_kelvin(LIGHTS[name].kelvin))
    return 2.0**stops * ratio


def lights_of(render: str) -> dict[str, np.ndarray]:
    """Return which lights burn in a pass, the beauty or a truth, with their RGB factors."""
    if render in LIGHTS:
        return {render: np.ones(3)}
    burning = {name: factors(name, render) for name in LIGHTS}
    return {name: rgb for name, rgb in burning.items() if rgb.any()}


def at_kelvin(name: str, kelvin: float) -> dict[str, np.ndarray]:
    """Return one light burning at another colour temperature and the same luminous flux."""
    ratio = np.array(rgb_of_kelvin(kelvin)) / np.array(rgb_of_kelvin(LIGHTS[name].kelvin))
    return {name: ratio}


def to_sun(azimuth: float = SUN_AZIMUTH, altitude: float = SUN_ALTITUDE) -> list[float]:
    """Return the unit vector to the sun; azimuth counts from +y (the view) to the left."""
    across, up = np.radians([azimuth, altitude])
    flat = np.cos(up)
    return [-float(np.sin(across) * flat), float(np.cos(across) * flat), float(np.sin(up))]
