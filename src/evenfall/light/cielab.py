"""CIE 1976 L*a*b* of linear light (CIE 15:2018, 8.2.1)."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from evenfall.light.primaries import RgbSpace, rgb_to_xyz, xy_to_xyz

__all__ = ["cie_lightness", "rgb_to_lab"]

Floats = npt.NDArray[np.float32]

_EDGE = (6 / 29) ** 3
_SLOPE = (29 / 6) ** 2 / 3


def rgb_to_lab(planes: Floats, space: RgbSpace) -> Floats:
    """L*, a* and b* of linear R, G, B, relative to the white of their space.

    Parameters
    ----------
    planes : ndarray of float32, shape (3, ...)
        Linear; 1 is white. Negative light counts as none, and what is brighter than white has L*
        above 100.
    space : RgbSpace
        Its primaries and white.

    Returns
    -------
    ndarray of float32, shape (3, ...)

    Examples
    --------
    >>> from evenfall.light.primaries import BT709
    >>> rgb_to_lab(np.array([0.18, 0.18, 0.18], np.float32), BT709).round(2).tolist()
    [49.5, 0.0, 0.0]
    """
    to_relative = rgb_to_xyz(space) / xy_to_xyz(space.white)[:, None]
    relative = np.tensordot(to_relative.astype(np.float32), planes, axes=1)
    np.maximum(relative, np.float32(0), out=relative)
    curved = np.where(
        relative > _EDGE, np.cbrt(relative), np.float32(_SLOPE) * relative + np.float32(4 / 29)
    )
    x, y, z = curved
    return np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)]).astype(np.float32, copy=False)


def cie_lightness(relative_luminance: Floats) -> Floats:
    """CIE 1976 L* of luminance relative to white (CIE 15:2018).

    Examples
    --------
    >>> round(float(cie_lightness(np.array([0.18], np.float32))[0]), 3)
    49.496
    """
    luminance = np.clip(relative_luminance, 0.0, None)
    cube = 116.0 * np.cbrt(luminance) - 16.0
    line = luminance * np.float32((29.0 / 3.0) ** 3)
    lightness: Floats = np.where(luminance > (6.0 / 29.0) ** 3, cube, line).astype(np.float32)
    return lightness
