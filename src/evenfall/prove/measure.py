"""One picture at a time, reduced to what the proof needs, so that memory stays bounded."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np
import numpy.typing as npt

from evenfall.passes.flat_top import flat_top
from evenfall.prove.blocks import BlockGrid, BlockPicture, Float, Plane, reduce_picture
from evenfall.prove.shift import Slopes, slopes_of

__all__ = ["Measured", "Pixels", "measure"]

_TOP_BAND = 0.005  # lossy codecs blur a ceiling this much


class Pixels(Protocol):
    """What a picture must offer: planes R, G, B and alpha, each of shape (H, W)."""

    @property
    def planes(self) -> Sequence[Plane]:
        """R, G, B, scene-linear and finite."""

    @property
    def alpha(self) -> Plane | None:
        """Coverage, or None."""


@dataclass(frozen=True, eq=False)
class Measured:
    """A picture as the proof sees it.

    Parameters
    ----------
    blocks : BlockPicture
        Means and checker differences.
    slopes : Slopes
        Mean change a pixel across and down.
    top : tuple of float or None
        The level of a flat top a channel: many pixels share the largest value.
    topped : ndarray of bool
        Shape (3, rows, columns): blocks that hold pixels of a flat top.
    alpha : ndarray or None
        Mean alpha of each block, shape (rows, columns).
    open_share : float
        Share of pixels whose alpha is below one half.
    """

    blocks: BlockPicture = field(repr=False)
    slopes: Slopes = field(repr=False)
    top: tuple[float | None, float | None, float | None]
    topped: npt.NDArray[np.bool_] = field(repr=False)
    alpha: Float | None = field(repr=False)
    open_share: float


def measure(picture: Pixels, grid: BlockGrid) -> Measured:
    """Reduce a picture to its blocks, slopes, flat tops and alpha.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> planes, alpha = [np.full((8, 16), 0.5, np.float32)] * 3, np.zeros((8, 16), np.float32)
    >>> measured = measure(SimpleNamespace(planes=planes, alpha=alpha), BlockGrid(8, 16, 4))
    >>> measured.blocks.means.shape, measured.open_share
    ((3, 2, 4), 1.0)
    """
    tops, topped = [], []
    for plane in picture.planes:
        top = flat_top(plane)
        tops.append(top)
        if top is None:
            topped.append(np.zeros(grid.shape, dtype=bool))
        else:
            topped.append(grid.sums(plane >= top * (1 - _TOP_BAND)) > 0)
    alpha = None if picture.alpha is None else grid.sums(picture.alpha) / grid.counts()
    open_share = 0.0 if picture.alpha is None else float(np.mean(picture.alpha < 0.5))
    return Measured(
        reduce_picture(picture.planes, grid),
        slopes_of(picture.planes, grid),
        (tops[0], tops[1], tops[2]),
        np.stack(topped),
        alpha,
        open_share,
    )
