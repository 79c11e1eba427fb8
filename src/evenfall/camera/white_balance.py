"""White balance: a 3x3 matrix, in the passes' primaries, that makes a chosen light neutral."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from evenfall.light.colour import kelvin_to_xy
from evenfall.light.primaries import RgbSpace, Xy, adaptation_matrix, rgb_to_xyz
from evenfall.light.tint import rgb_to_xy
from evenfall.recipe.camera import WhiteBalance

__all__ = ["balancing_matrix", "white_balance_matrix"]

Matrix = npt.NDArray[np.float64]


def balancing_matrix(
    neutral_xy: Xy, space: RgbSpace, settings: WhiteBalance | None = None
) -> Matrix:
    """Matrix that brings a chromaticity to the white of the primaries; shape (3, 3).

    Light of that chromaticity keeps its luminance.

    Parameters
    ----------
    neutral_xy : tuple of float
        CIE 1931 chromaticity of the light that is to look neutral.
    space : RgbSpace
        The passes' primaries.
    settings : WhiteBalance or None
        Its `adaptation` names the transform, CAT16 (Li et al. 2017) or Bradford (ICC.1:2022).

    Examples
    --------
    >>> from evenfall.light.primaries import BT709
    >>> matrix = balancing_matrix((0.3127, 0.3290), BT709)
    >>> bool(np.allclose(matrix, np.eye(3)))
    True
    """
    method = (settings or WhiteBalance()).adaptation
    to_xyz = rgb_to_xyz(space)
    adapted = adaptation_matrix(neutral_xy, space.white, method) @ to_xyz
    return np.asarray(np.linalg.solve(to_xyz, adapted), dtype=np.float64)


def white_balance_matrix(
    settings: WhiteBalance | None, space: RgbSpace, neutral_rgb: npt.ArrayLike | None = None
) -> Matrix:
    """Matrix of a recipe's white balance; the identity when it asks for none.

    Parameters
    ----------
    settings : WhiteBalance or None
        By kelvin (and Duv), or by a neutral spot.
    space : RgbSpace
        The passes' primaries.
    neutral_rgb : array of shape (3,) or None
        Mean of the mix in the neutral spot, when the settings name one.

    Raises
    ------
    ValueError
        When the neutral spot holds no light to balance by. The message is for people.

    Examples
    --------
    >>> from evenfall.light.primaries import BT709
    >>> warm = white_balance_matrix(WhiteBalance(kelvin=3200), BT709)
    >>> lamp = np.array([1.67982, 0.86593, 0.32581])  # 3200 K in BT.709 at luminance 1
    >>> (warm @ lamp).round(4).tolist()
    [1.0, 1.0, 1.0]
    """
    if settings is None:
        return np.eye(3)
    if settings.kelvin is not None:
        return balancing_matrix(kelvin_to_xy(settings.kelvin, settings.duv), space, settings)
    if settings.neutral is None:
        return np.eye(3)
    if neutral_rgb is None:
        raise ValueError("the neutral spot has not been measured")
    neutral_xy = rgb_to_xy(neutral_rgb, space)
    if neutral_xy is None:
        raise ValueError("there is no light in the neutral spot; choose a brighter place")
    return balancing_matrix(neutral_xy, space, settings)
