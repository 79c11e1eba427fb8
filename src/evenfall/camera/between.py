"""The camera of a frame between two moods: exposure in stops, white balance in mired."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from evenfall.camera.state import CameraState
from evenfall.camera.white_balance import balancing_matrix
from evenfall.light.colour import kelvin_to_xy, mired, xy_to_kelvin_duv
from evenfall.light.primaries import RgbSpace
from evenfall.recipe.camera import Camera, WhiteBalance

__all__ = ["camera_between"]

Matrix = npt.NDArray[np.float64]


def camera_between(
    first: CameraState,
    second: CameraState,
    asked: Camera,
    other: Camera,
    share: float,
    space: RgbSpace,
) -> CameraState:
    """Set the camera for a frame.

    Parameters
    ----------
    first, second : CameraState
        Of the moods, as measured.
    asked, other : Camera
        What the recipe says of them.
    share : float
        How far from the first to the second.
    space : RgbSpace
        The passes' primaries.
    """
    factor = _stops_between(first.exposure_factor, second.exposure_factor, share)
    matrix = _balance(first, second, asked.white_balance, other.white_balance, share, space)
    ev100 = None
    if first.ev100 is not None and second.ev100 is not None:
        ev100 = (1 - share) * first.ev100 + share * second.ev100
    notes = tuple(dict.fromkeys((*first.notes, *second.notes)))
    return CameraState(factor, factor * matrix, first.reading, ev100, notes)


def _stops_between(first: float, second: float, share: float) -> float:
    if first == second:
        return first
    return math.exp2((1 - share) * math.log2(first) + share * math.log2(second))


def _balance(
    first: CameraState,
    second: CameraState,
    asked: WhiteBalance | None,
    other: WhiteBalance | None,
    share: float,
    space: RgbSpace,
) -> Matrix:
    """White balance alone; in mired where both are by kelvin or the passes' own white."""
    matrices = [state.matrix / state.exposure_factor for state in (first, second)]
    if asked == other:
        return matrices[0]
    ends = [_kelvin(each, space) for each in (asked, other)]
    if ends[0] is None or ends[1] is None:  # a spot of the picture
        return (1 - share) * matrices[0] + share * matrices[1]
    (kelvin, duv), (other_kelvin, other_duv) = ends[0], ends[1]
    between = (1 - share) * mired(kelvin) + share * mired(other_kelvin)
    xy = kelvin_to_xy(1e6 / between, (1 - share) * duv + share * other_duv)
    return balancing_matrix(xy, space, asked or other)


def _kelvin(asked: WhiteBalance | None, space: RgbSpace) -> tuple[float, float] | None:
    """Colour temperature and Duv that look neutral; None for a spot of the picture."""
    if asked is None or (asked.kelvin is None and asked.neutral is None):
        return xy_to_kelvin_duv(space.white)
    if asked.kelvin is None:
        return None
    return xy_to_kelvin_duv(kelvin_to_xy(asked.kelvin, asked.duv))
