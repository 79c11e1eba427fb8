"""Changes in one area of the picture: exposure, white balance, saturation.

The gain of lights in an area belongs to the mix; here is what acts on the exposed picture.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from evenfall.look.arrays import Matrix, Plane, Planes, apply_matrix
from evenfall.look.grade import saturation_matrix

__all__ = ["RegionChange", "apply_region"]


@dataclass(frozen=True, eq=False)
class RegionChange:
    """What changes in an area, and how much of it where.

    Attributes
    ----------
    weights : ndarray of float32, shape (H, W)
        0 leaves a pixel alone, 1 changes it in full.
    exposure_stops : float
        In between, this share of the stops.
    balance : ndarray of float, shape (3, 3), or None
        White balance in working primaries; in between, a mixture with the picture as it was.
    saturation : float
        1 changes nothing; in between, this share of the change.
    """

    weights: Plane
    exposure_stops: float = 0.0
    balance: Matrix | None = None
    saturation: float = 1.0


def apply_region(planes: Planes, change: RegionChange) -> None:
    """Change an area of exposed working values, in place.

    Parameters
    ----------
    planes : ndarray of float32, shape (3, H, W)
    change : RegionChange
        Weights of the shape (H, W).

    Examples
    --------
    >>> planes = np.full((3, 1, 2), 0.18, np.float32)
    >>> apply_region(planes, RegionChange(np.array([[0, 1]], np.float32), exposure_stops=1.0))
    >>> planes[0].round(2).tolist() == np.array([[0.18, 0.36]], np.float32).tolist()
    True
    """
    weights = change.weights
    matrix = saturation_matrix(change.saturation)
    if change.balance is not None:
        matrix = matrix @ change.balance
    if change.balance is not None or change.saturation != 1:
        changed = apply_matrix(matrix, planes)
        changed -= planes
        changed *= weights
        planes += changed
    if change.exposure_stops:
        planes *= np.exp2(weights * np.float32(change.exposure_stops))
