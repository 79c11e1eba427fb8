"""Subsampled channels to full size, and luminance-chroma pictures to R, G, B."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from evenfall.light.primaries import luminance_weights, space_from_chromaticities
from evenfall.passes.image import Array

__all__ = ["luminance_chroma_to_rgb", "upsample"]

Plane = npt.NDArray[np.float32]


def upsample(samples: Array, x_step: int, y_step: int, width: int, height: int) -> Array:
    """Bring a subsampled channel to full size by linear interpolation.

    Sample (i, j) belongs to pixel (i * y_step, j * x_step), as in OpenEXR; pixels behind the last
    sample repeat it. Linear interpolation cannot overshoot, so it makes no negative light.

    Returns
    -------
    ndarray, shape (height, width)
        float32; `samples` itself where both steps are 1.

    Examples
    --------
    >>> upsample(np.array([[0.0, 2.0]], np.float32), 2, 1, 4, 1).tolist()
    [[0.0, 1.0, 2.0, 2.0]]
    """
    if x_step == y_step == 1:
        return samples
    rows = _along_first(samples.astype(np.float32), y_step, height)
    return np.ascontiguousarray(_along_first(rows.T, x_step, width).T)


def _along_first(samples: Plane, step: int, size: int) -> Plane:
    if step == 1:
        return samples
    place = np.arange(size)
    before = np.minimum(place // step, len(samples) - 1)
    after = np.minimum(before + 1, len(samples) - 1)
    share = ((place % step) / step).astype(np.float32)[:, None]
    with np.errstate(all="ignore"):  # NaN and Inf are counted and replaced later
        mixed: Plane = samples[before] * (1 - share) + samples[after] * share
    stored = place % step == 0
    mixed[stored] = samples[before[stored]]  # not Inf * 0 from its neighbour
    return mixed


def luminance_chroma_to_rgb(
    luminance: Array,
    red_chroma: Array,
    blue_chroma: Array,
    chromaticities: tuple[float, ...] | None,
) -> tuple[Plane, Plane, Plane]:
    """Convert Y, RY = (R - Y) / Y, BY = (B - Y) / Y to R, G, B.

    Parameters
    ----------
    luminance, red_chroma, blue_chroma : ndarray, shape (H, W)
    chromaticities : tuple of 8 float or None
        Primaries of R, G, B, whose luminance weights make Y; None is BT.709.

    Returns
    -------
    tuple of 3 ndarray, float32, shape (H, W)

    Notes
    -----
    Source: "Technical Introduction to OpenEXR", Luminance/Chroma Images.

    Examples
    --------
    >>> one = np.ones((1, 1), np.float32)
    >>> [float(plane[0, 0]) for plane in luminance_chroma_to_rgb(one, 0 * one, 0 * one, None)]
    [1.0, 1.0, 1.0]
    """
    red_weight, green_weight, blue_weight = (
        float(weight) for weight in luminance_weights(space_from_chromaticities(chromaticities))
    )
    y = luminance.astype(np.float32)
    ry, by = red_chroma.astype(np.float32), blue_chroma.astype(np.float32)
    with np.errstate(all="ignore"):  # NaN and Inf are counted and replaced later
        # The weights add up to 1: Y - wr R - wb B = Y (wg - wr RY - wb BY), so grey stays grey.
        green = y * (1 - (red_weight * ry + blue_weight * by) / green_weight)
        return (ry + 1) * y, green.astype(np.float32, copy=False), (by + 1) * y
