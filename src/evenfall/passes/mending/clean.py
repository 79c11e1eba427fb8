"""Broken pixels of a pass: found by stated tests, counted, and mended only where asked.

- Firefly: the largest channel of a pixel is above 4 times the third brightest of its eight
  neighbours, and above the median of the ring around them (7 x 7 less 3 x 3 pixels) by 8 robust
  standard deviations (1.4826 times the median absolute deviation; Rousseeuw and Croux 1993), and at
  most one pixel of the ring is a quarter as bright: corners of lit areas stay. A neighbour belongs
  to it if it is above that median by as much and twice as bright as it. A lamp of 2 x 2 pixels or
  more is no firefly; a glint of one pixel is one, and only a person can tell.
- Flat top: at least 16 pixels and 0.01 % of the picture share the largest value of a channel, five
  times as many as the bands below let expect: a surface of a lamp seen directly, or light cut off.
- Negative, NaN, Inf and overflow (at the largest half, 65,504) are what the words say; they are
  counted when the file is read.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from evenfall.passes.finite import count_and_replace
from evenfall.passes.flat_top import flat_top
from evenfall.passes.image import Array, PassImage

if TYPE_CHECKING:
    from evenfall.passes.mending.denoise import Guides
    from evenfall.recipe.model import Repair

__all__ = ["Flaws", "find_fireflies", "find_flaws", "repair"]

Mask = npt.NDArray[np.bool_]

_STRIP_ROWS = 256
_REACH = 3  # half of the ring's side, pixels
_BOUNDLESS = 1e30  # of which multiples are still finite
_SPIKE = 4.0
_ROBUST_SIGMAS = 8.0
_MAD_TO_SIGMA = 1.4826
_HALO = 2.0
_TOP_BAND = 0.005
_LARGEST_HALF = 65504.0


@dataclass(frozen=True, eq=False)
class Flaws:
    """Where a pass is out of order; masks of shape (H, W).

    Parameters
    ----------
    fireflies, negative, flat_top, overflow : ndarray of bool
        Pixels of each kind.
    top : float or None
        The level of the flat top, the largest of the channels'.
    """

    fireflies: Mask = field(repr=False)
    negative: Mask = field(repr=False)
    flat_top: Mask = field(repr=False)
    overflow: Mask = field(repr=False)
    top: float | None

    @property
    def masks(self) -> dict[str, Mask]:
        """The masks by name."""
        return {
            "fireflies": self.fireflies,
            "negative": self.negative,
            "flat top": self.flat_top,
            "overflow": self.overflow,
        }

    @property
    def counts(self) -> dict[str, int]:
        """Pixels of each kind, by name."""
        return {kind: int(np.count_nonzero(mask)) for kind, mask in self.masks.items()}


def find_flaws(planes: Sequence[Array]) -> Flaws:
    """Find fireflies, negative values, flat tops and half overflow.

    Parameters
    ----------
    planes : sequence of 3 ndarray
        R, G, B of shape (H, W), scene-linear and finite.

    Examples
    --------
    >>> plane = np.full((9, 9), 0.2, np.float32)
    >>> plane[4, 4], plane[0, 8] = 30, -1
    >>> find_flaws([plane] * 3).counts
    {'fireflies': 1, 'negative': 1, 'flat top': 0, 'overflow': 0}
    """
    negative, topped, overflow = (np.zeros(planes[0].shape, dtype=bool) for _ in range(3))
    tops = []
    for plane in planes:
        negative |= plane < 0
        overflow |= plane >= _LARGEST_HALF
        top = flat_top(plane)
        if top is not None:
            tops.append(top)
            topped |= plane >= top * (1 - _TOP_BAND)
    fireflies = find_fireflies(planes)
    return Flaws(fireflies, negative, topped, overflow, max(tops, default=None))


def find_fireflies(planes: Sequence[Array]) -> Mask:
    """Find isolated outliers, and the halo that a pixel filter gave them.

    Parameters
    ----------
    planes : sequence of 3 ndarray
        R, G, B of shape (H, W), scene-linear and finite.

    Returns
    -------
    ndarray of bool
        Shape (H, W). The same whatever the strips in which it is worked out.

    Examples
    --------
    >>> plane = np.full((9, 9), 0.2, np.float32)
    >>> plane[4, 4] = 30
    >>> np.argwhere(find_fireflies([plane] * 3)).tolist()
    [[4, 4]]
    """
    height = planes[0].shape[0]
    found = np.zeros(planes[0].shape, dtype=bool)
    for first in range(0, height, _STRIP_ROWS):
        top, bottom = max(0, first - _REACH - 1), min(height, first + _STRIP_ROWS + _REACH + 1)
        level = planes[0][top:bottom].astype(np.float32)
        for plane in planes[1:]:
            np.maximum(level, plane[top:bottom], out=level)
        np.clip(level, -_BOUNDLESS, _BOUNDLESS, out=level)
        own = _fireflies_of(level)
        last = min(height, first + _STRIP_ROWS)
        found[first:last] = own[first - top : last - top]
    return found


def _fireflies_of(level: npt.NDArray[np.float32]) -> Mask:
    found = np.zeros(level.shape, dtype=bool)
    padded = np.pad(level, _REACH, mode="reflect" if min(level.shape) > _REACH else "edge")
    spikes = np.argwhere(level > _SPIKE * _third_brightest_neighbour(level))
    if not len(spikes):
        return found
    windows = np.lib.stride_tricks.sliding_window_view(padded, (2 * _REACH + 1,) * 2)
    around = windows[spikes[:, 0], spikes[:, 1]].reshape(len(spikes), -1)
    ring = around[:, _ring()]
    middle = np.median(ring, axis=1)
    spread = _MAD_TO_SIGMA * np.median(np.abs(ring - middle[:, None]), axis=1)
    bound = np.maximum(middle, 0) + _ROBUST_SIGMAS * spread
    bright = level[spikes[:, 0], spikes[:, 1]]
    alone = np.count_nonzero(ring > bright[:, None] / _SPIKE, axis=1) <= 1
    sure = alone & (bright > np.maximum(bound, np.finfo(np.float32).tiny))
    for (row, column), limit in zip(
        spikes[sure], np.maximum(bound, _HALO * middle)[sure], strict=True
    ):
        rows, columns = slice(max(0, row - 1), row + 2), slice(max(0, column - 1), column + 2)
        found[rows, columns] |= level[rows, columns] > limit
        found[row, column] = True
    return found


def _ring() -> Mask:
    side = 2 * _REACH + 1
    ring = np.ones((side, side), dtype=bool)
    ring[_REACH - 1 : _REACH + 2, _REACH - 1 : _REACH + 2] = False
    return ring.ravel()


def _third_brightest_neighbour(level: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    height, width = level.shape
    padded = np.pad(level, 1, mode="edge")
    # At the border the edge is repeated; a pixel must not stand in for its own neighbour there.
    padded[[0, -1]], padded[:, 0], padded[:, -1] = -np.inf, -np.inf, -np.inf
    first, second, third = (np.full(level.shape, -np.inf, np.float32) for _ in range(3))
    for down in range(3):
        for across in range(3):
            if down == across == 1:
                continue
            value = padded[down : down + height, across : across + width]
            lower = np.minimum(first, value)
            np.maximum(first, value, out=first)
            lowest = np.minimum(second, lower)
            np.maximum(second, lower, out=second)
            np.maximum(third, lowest, out=third)
    return np.maximum(third, 0)


def repair(image: PassImage, settings: Repair, guides: Guides | None = None) -> PassImage:
    """Mend a pass as the recipe's ``passes.repair`` asks.

    Parameters
    ----------
    image : PassImage
        NaN and Inf are already replaced.
    settings : Repair
        What is to be mended; with nothing asked the image itself is returned.
    guides : Guides or None
        Albedo and normal for the denoiser.

    Returns
    -------
    PassImage
        With ``census.replaced`` raised by the fireflies that were replaced by the median of
        their sound neighbours.

    Raises
    ------
    UsageError
        When denoising is asked and the extra is not installed.
    """
    if not settings.goes_further:
        return image
    planes = [plane.copy() for plane in image.planes]
    replaced = 0
    if settings.fireflies:
        replaced = _replace_fireflies(planes)
    if settings.negatives:
        planes = [np.maximum(plane, 0) for plane in planes]
    if settings.denoise:
        from evenfall.passes.mending.denoise import denoise

        planes = list(denoise(planes, guides))
    census = replace(image.census, replaced=image.census.replaced + replaced)
    return replace(image, planes=(planes[0], planes[1], planes[2]), census=census)


def _replace_fireflies(planes: list[Array]) -> int:
    found = find_fireflies(planes)
    if not found.any():
        return 0
    for plane in planes:
        plane[found] = np.nan
    return count_and_replace(planes, None, "neighbours").replaced
