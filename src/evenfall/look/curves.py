"""Tone curves from published formulae.

Every curve takes scene-linear values from 0 and gives display-linear values; what a formula lets
rise above display white is cut off by the chain, not here.
"""

from __future__ import annotations

import numpy as np

from evenfall.look.arrays import Matrix, Planes

__all__ = ["hable", "neutral", "reinhard"]

# J. Hable, talk on HDR lighting, Game Developers Conference 2010: shoulder strength, linear
# strength, linear angle, toe strength, toe numerator, toe denominator.
_HABLE_A, _HABLE_B, _HABLE_C, _HABLE_D, _HABLE_E, _HABLE_F = 0.22, 0.30, 0.10, 0.20, 0.01, 0.30

# Khronos PBR Neutral tone mapper, specification of 2024: Fresnel reflectance at normal incidence,
# start of compression, speed of desaturation.
_NEUTRAL_F90, _NEUTRAL_START, _NEUTRAL_DESATURATION = 0.04, 0.8 - 0.04, 0.15


def reinhard(scene_linear: Matrix, white: float) -> Matrix:
    """Return the extended curve, ``L (1 + L / white^2) / (1 + L)``.

    Source: Reinhard, Stark, Shirley, Ferwerda 2002, "Photographic tone reproduction for digital
    images", ACM Trans. Graph. 21(3), equation 4.

    Parameters
    ----------
    scene_linear : ndarray of float
        Values from 0.
    white : float
        The value that becomes 1.

    Examples
    --------
    >>> reinhard(np.array([0.0, 1.0, 4.0]), white=4.0).tolist()
    [0.0, 0.53125, 1.0]
    """
    mapped: Matrix = scene_linear * (1.0 + scene_linear / white**2) / (1.0 + scene_linear)
    return mapped


def hable(scene_linear: Matrix, white: float) -> Matrix:
    """Return the curve of Hable 2010, constants of the talk, scaled so that `white` becomes 1.

    Parameters
    ----------
    scene_linear : ndarray of float
        Values from 0.
    white : float
        The value that becomes 1.

    Examples
    --------
    >>> hable(np.array([0.0, 0.18, 11.2]), white=11.2).round(7).tolist()
    [0.0, 0.0998568, 1.0]
    """
    mapped: Matrix = _hable_partial(scene_linear) / _hable_partial(np.asarray(white))
    return mapped


def _hable_partial(x: Matrix) -> Matrix:
    top = x * (_HABLE_A * x + _HABLE_C * _HABLE_B) + _HABLE_D * _HABLE_E
    bottom = x * (_HABLE_A * x + _HABLE_B) + _HABLE_D * _HABLE_F
    partial: Matrix = top / bottom - _HABLE_E / _HABLE_F
    return partial


def neutral(bt709_linear: Planes) -> Planes:
    """Khronos neutral curve: base colours kept, highlights compressed and bleached.

    Source: Khronos PBR Neutral tone mapper specification. Defined on linear BT.709; negative values
    are treated as 0.

    Parameters
    ----------
    bt709_linear : ndarray of float32, shape (3, ...)

    Returns
    -------
    ndarray of float32, shape (3, ...)
        Display-linear BT.709, 0 to 1.

    Examples
    --------
    >>> display = neutral(np.full((3, 1), 0.18, np.float32))
    >>> display.ravel().astype(float).round(4).tolist()
    [0.14, 0.14, 0.14]
    """
    colour = np.maximum(bt709_linear, np.float32(0))
    smallest = np.minimum(np.minimum(colour[0], colour[1]), colour[2])
    # x - x^2 / (4 F90) up to its top at 2 F90, where it is F90; F90 above.
    dark = np.minimum(smallest, np.float32(2 * _NEUTRAL_F90))
    lift = dark - dark * dark * np.float32(1 / (4 * _NEUTRAL_F90))
    colour -= lift
    peak = np.maximum(np.maximum(colour[0], colour[1]), colour[2])
    room = np.float32(1 - _NEUTRAL_START)
    over = np.maximum(peak - np.float32(_NEUTRAL_START), np.float32(0))
    new_peak = np.where(over > 0, 1 - room * room / (over + room), peak)
    colour *= new_peak / np.maximum(peak, np.float32(1e-30))
    bleach = 1 / (np.float32(_NEUTRAL_DESATURATION) * (peak - new_peak) + 1)
    colour *= bleach
    colour += new_peak * (1 - bleach)
    return colour
