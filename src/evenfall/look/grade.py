"""The grade: adjustments in scene-linear working values, before the tone curve.

In this order: contrast, saturation, split tint; then a CDL and LUTs, which OpenColorIO computes.
"""

from __future__ import annotations

import numpy as np

from evenfall.light.primaries import ACESCG, BT709, conversion_matrix, luminance_weights
from evenfall.light.transfer import decode_srgb
from evenfall.light.units import MIDDLE_GREY
from evenfall.look.arrays import Matrix, Planes, luminance
from evenfall.recipe.look import SplitTint
from evenfall.system.scratch import buffer

__all__ = ["apply_contrast", "apply_split_tint", "saturation_matrix"]

_SMALLEST = np.float32(1e-12)


def apply_contrast(planes: Planes, contrast: float) -> None:
    """Change contrast around middle grey, in place.

    Each channel becomes ``0.18 (x / 0.18)^contrast``: a straight line of that slope over stops.
    Negative values are mirrored.

    Parameters
    ----------
    planes : ndarray of float32, shape (3, ...)
    contrast : float
        Above 0; 1 changes nothing.

    Examples
    --------
    >>> planes = np.array([[0.09], [0.18], [0.72]], np.float32)
    >>> apply_contrast(planes, 2.0)
    >>> planes.ravel().astype(float).round(3).tolist()
    [0.045, 0.18, 2.88]
    """
    size = np.abs(planes, out=buffer("contrast", planes.shape))
    np.power(size, np.float32(contrast), out=size)
    size *= np.float32(MIDDLE_GREY ** (1.0 - contrast))
    np.copysign(size, planes, out=planes)


def saturation_matrix(saturation: float) -> Matrix:
    """Matrix that scales the difference from grey of the same luminance; shape (3, 3).

    For values of the working space.

    Parameters
    ----------
    saturation : float
        0 gives grey, 1 changes nothing.

    Examples
    --------
    >>> saturation_matrix(0.0)[0].round(4).tolist()
    [0.2722, 0.6741, 0.0537]
    """
    weights = luminance_weights(ACESCG)
    matrix: Matrix = saturation * np.eye(3) + (1.0 - saturation) * np.tile(weights, (3, 1))
    return matrix


def apply_split_tint(planes: Planes, tint: SplitTint) -> None:
    """Tint shadows and highlights and keep the luminance of every pixel, in place.

    The share of the highlights' tint at luminance Y is ``Y / (Y + Yb)``, with Yb at
    `balance_stops` from grey; the rest is the shadows' tint. Each tint is a factor per channel of
    unit luminance; the product is brought back to the luminance the pixel had.

    Parameters
    ----------
    planes : ndarray of float32, shape (3, ...)
        Working values.
    tint : SplitTint

    Examples
    --------
    >>> planes = np.full((3, 1), 0.18, np.float32)
    >>> apply_split_tint(planes, SplitTint(highlights="#ffd2a0", strength=0.5))
    >>> bool(planes[0, 0] > planes[2, 0])
    True
    """
    weights = luminance_weights(ACESCG)
    before = luminance(weights, planes)
    bright = np.maximum(before, np.float32(0))
    bright /= bright + np.float32(MIDDLE_GREY * 2.0**tint.balance_stops)
    shadows = tint.strength * (_tint_factors(tint.shadows) - 1.0)
    highlights = tint.strength * (_tint_factors(tint.highlights) - 1.0)
    for channel in range(3):
        factor = bright * np.float32(highlights[channel] - shadows[channel])
        factor += np.float32(1.0 + shadows[channel])
        planes[channel] *= factor
    after = luminance(weights, planes)
    usable = np.abs(after) > _SMALLEST
    scale = np.divide(before, after, out=np.ones_like(before), where=usable)
    np.maximum(scale, np.float32(0), out=scale)
    planes *= scale


def _tint_factors(colour: str) -> Matrix:
    """Factors of unit luminance in the working space, of '#rrggbb'; black tints nothing."""
    encoded = np.array([int(colour[at : at + 2], 16) for at in (1, 3, 5)]) / 255.0
    working = conversion_matrix(BT709, ACESCG) @ decode_srgb(encoded)
    brightness = luminance_weights(ACESCG) @ working
    factors: Matrix = working / brightness if brightness > 0 else np.ones(3)
    return factors
