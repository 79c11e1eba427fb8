"""RGB colour spaces by their primaries and white, and the matrices between them.

The matrices follow SMPTE RP 177 (normalised primary matrix); adaptation between whites is
Bradford's (ICC.1:2022 annex E) or that of CIECAM16 (Li et al. 2017).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Literal

import numpy as np
import numpy.typing as npt

__all__ = [
    "ACES2065_1",
    "ACESCG",
    "ADOBE_RGB",
    "BT709",
    "BT2020",
    "DISPLAY_P3",
    "ICC_WHITE",
    "ICC_WHITE_XY",
    "RGB_SPACES",
    "RgbSpace",
    "adaptation_matrix",
    "colorants",
    "conversion_matrix",
    "luminance_weights",
    "rgb_to_xyz",
    "space_from_chromaticities",
    "xy_to_xyz",
]

Matrix = npt.NDArray[np.float64]
Xy = tuple[float, float]

_CHROMATICITY_TOLERANCE = 2e-5  # float32 storage in files, and 4 or 5 digits in documents

_CONE_MATRICES: dict[str, Matrix] = {
    "Bradford": np.array(
        [[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]]
    ),
    "CAT16": np.array(
        [
            [0.401288, 0.650173, -0.051461],
            [-0.250268, 1.204414, 0.045854],
            [-0.002079, 0.048952, 0.953127],
        ]
    ),
}


@dataclass(frozen=True)
class RgbSpace:
    """A linear RGB space: CIE 1931 xy of red, green, blue and white."""

    name: str
    red: Xy
    green: Xy
    blue: Xy
    white: Xy

    @property
    def chromaticities(self) -> tuple[float, ...]:
        """Eight numbers as in an OpenEXR `chromaticities` attribute."""
        return (*self.red, *self.green, *self.blue, *self.white)


ICC_WHITE = (0.9642, 1.0, 0.8249)
"""XYZ of the white of ICC's profile connection space (ICC.1:2022, 7.2.16)."""

ICC_WHITE_XY: Xy = (ICC_WHITE[0] / sum(ICC_WHITE), ICC_WHITE[1] / sum(ICC_WHITE))

_D65 = (0.3127, 0.3290)
_ACES_WHITE = (0.32168, 0.33767)

BT709 = RgbSpace("BT.709", (0.64, 0.33), (0.30, 0.60), (0.15, 0.06), _D65)
DISPLAY_P3 = RgbSpace("Display P3", (0.680, 0.320), (0.265, 0.690), (0.150, 0.060), _D65)
ADOBE_RGB = RgbSpace("Adobe RGB (1998)", (0.64, 0.33), (0.21, 0.71), (0.15, 0.06), _D65)
BT2020 = RgbSpace("BT.2020", (0.708, 0.292), (0.170, 0.797), (0.131, 0.046), _D65)
ACESCG = RgbSpace("ACEScg", (0.713, 0.293), (0.165, 0.830), (0.128, 0.044), _ACES_WHITE)
ACES2065_1 = RgbSpace("ACES2065-1", (0.7347, 0.2653), (0.0, 1.0), (0.0001, -0.0770), _ACES_WHITE)

RGB_SPACES = {
    space.name: space for space in (BT709, DISPLAY_P3, ADOBE_RGB, BT2020, ACESCG, ACES2065_1)
}


def xy_to_xyz(xy: Xy) -> Matrix:
    """XYZ of a chromaticity at Y = 1.

    Examples
    --------
    >>> xy_to_xyz((0.3127, 0.3290)).round(6).tolist()
    [0.950456, 1.0, 1.089058]
    """
    x, y = xy
    return np.array([x / y, 1.0, (1.0 - x - y) / y])


@cache
def rgb_to_xyz(space: RgbSpace) -> Matrix:
    """Matrix from linear RGB to XYZ, white at Y = 1; shape (3, 3), rows X, Y, Z.

    Source: SMPTE RP 177:1993.

    Examples
    --------
    >>> rgb_to_xyz(BT709)[1].round(6).tolist()
    [0.212639, 0.715169, 0.072192]
    """
    unscaled = np.column_stack([_xyz_of(xy) for xy in (space.red, space.green, space.blue)])
    scale = np.linalg.solve(unscaled, xy_to_xyz(space.white))
    matrix = unscaled * scale
    matrix.setflags(write=False)
    return matrix


def _xyz_of(xy: Xy) -> Matrix:
    x, y = xy
    return np.array([x, y, 1.0 - x - y])


def luminance_weights(space: RgbSpace) -> Matrix:
    """Weights w of R, G, B with w . rgb = Y; shape (3,)."""
    weights: Matrix = rgb_to_xyz(space)[1]
    return weights


def adaptation_matrix(
    source_white: Xy, target_white: Xy, method: Literal["Bradford", "CAT16"] = "Bradford"
) -> Matrix:
    """Chromatic adaptation in XYZ from one white to another; shape (3, 3).

    Parameters
    ----------
    source_white, target_white : tuple of float
        CIE 1931 xy.
    method : {"Bradford", "CAT16"}
        Whose cone responses are scaled.

    Examples
    --------
    >>> adaptation_matrix((0.3127, 0.3290), (0.34567, 0.35850))[0].round(4).tolist()
    [1.0479, 0.0229, -0.0502]
    """
    cone = _CONE_MATRICES[method]
    gains = (cone @ xy_to_xyz(target_white)) / (cone @ xy_to_xyz(source_white))
    adapted: Matrix = np.linalg.inv(cone) @ (gains[:, None] * cone)
    return adapted


def conversion_matrix(
    source: RgbSpace, target: RgbSpace, method: Literal["Bradford", "CAT16"] = "Bradford"
) -> Matrix:
    """Matrix from linear RGB of one space to another, white to white; shape (3, 3).

    Examples
    --------
    >>> conversion_matrix(BT709, DISPLAY_P3)[0, :2].round(6).tolist()
    [0.822462, 0.177538]
    """
    adapt = np.eye(3)
    if source.white != target.white:
        adapt = adaptation_matrix(source.white, target.white, method)
    converted: Matrix = np.linalg.inv(rgb_to_xyz(target)) @ adapt @ rgb_to_xyz(source)
    return converted


def colorants(space: RgbSpace) -> Matrix:
    """XYZ of red, green, blue as columns, adapted to ICC's D50 with Bradford's matrix; (3, 3).

    Source: ICC.1:2022, annex E.

    Examples
    --------
    >>> colorants(BT709)[0].round(3).tolist()
    [0.436, 0.385, 0.143]
    """
    adapted: Matrix = adaptation_matrix(space.white, ICC_WHITE_XY) @ rgb_to_xyz(space)
    return adapted


def space_from_chromaticities(chromaticities: tuple[float, ...] | None) -> RgbSpace:
    """Name the space of eight chromaticities; None is BT.709, as OpenEXR says.

    Parameters
    ----------
    chromaticities : tuple of 8 floats or None
        xy of red, green, blue, white.

    Examples
    --------
    >>> space_from_chromaticities(None).name
    'BT.709'
    """
    if chromaticities is None:
        return BT709
    for space in RGB_SPACES.values():
        if np.allclose(space.chromaticities, chromaticities, rtol=0, atol=_CHROMATICITY_TOLERANCE):
            return space
    pairs = [
        (float(x), float(y)) for x, y in zip(chromaticities[::2], chromaticities[1::2], strict=True)
    ]
    return RgbSpace("custom", *pairs)
