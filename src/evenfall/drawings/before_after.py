"""Before, after, and a map of what differs between them, side by side."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
import numpy.typing as npt

from evenfall.drawings.page import Page
from evenfall.light.oklab import oklab_to_bt709
from evenfall.light.transfer import encode_srgb

__all__ = ["STRONGEST", "BeforeAfter", "draw_before_after", "draw_difference_map"]

Codes = npt.NDArray[np.uint8]
Floats = npt.NDArray[np.float32]

STRONGEST = 10.0
"""CIEDE2000 at which a map's colour is strongest."""

_COLUMN, _GUTTER = 640, 32
_MAP_WIDTH = 1280
_TICKS = (0, 2, 4, 6, 8, 10)
# OKLab: paper, and a dark rust at the end, with even steps of lightness between.
_NOTHING = np.array([0.955, 0.0, 0.004])
_MUCH = np.array([0.40, 0.085, 0.065])


@dataclass(frozen=True, eq=False)
class BeforeAfter:
    """One comparison.

    Parameters
    ----------
    title : str
        Name of the mood, or of the pictures.
    figures : str
        What was measured, in a line.
    before, after : ndarray of uint8, shape (H, W, 3)
        The pictures as sRGB codes.
    difference : ndarray of float32, shape (H, W)
        CIEDE2000 of each pixel.
    names : tuple of str
        What the two pictures are called.
    """

    title: str
    figures: str
    before: Codes = field(repr=False)
    after: Codes = field(repr=False)
    difference: Floats = field(repr=False)
    names: tuple[str, str] = ("before", "after")


def draw_before_after(rows: Sequence[BeforeAfter], title: str, subtitle: str = "") -> Codes:
    """Draw comparisons below each other: before, after, and a map.

    Parameters
    ----------
    rows : sequence of BeforeAfter
        At least one.
    title, subtitle : str
        Head of the page.

    Returns
    -------
    ndarray
        sRGB codes, uint8, shape (H, W, 3).

    Examples
    --------
    >>> grey = np.full((9, 16, 3), 118, np.uint8)
    >>> row = BeforeAfter("Dusk", "mean 0", grey, grey, np.zeros((9, 16), np.float32))
    >>> draw_before_after([row], "Villa").shape
    (732, 2112, 3)
    """
    page = Page(3 * _COLUMN + 2 * _GUTTER, unit=1.0)
    heights = [max(1, round(_COLUMN * row.before.shape[0] / row.before.shape[1])) for row in rows]
    page.begin(sum(heights) + 110 * len(rows) + 112)
    page.draw_head(title, subtitle)
    top = page.head
    for row, height in zip(rows, heights, strict=True):
        _draw_row(page, row, top, height)
        top += height + 110
    _draw_scale(page, page.margin + 2 * (_COLUMN + _GUTTER), top - 12, _COLUMN)
    return page.codes()


def draw_difference_map(difference: Floats, title: str, figures: str) -> Codes:
    """Draw where two pictures differ.

    Parameters
    ----------
    difference : ndarray of float32, shape (H, W)
        CIEDE2000 of each pixel.
    title, figures : str
        Head of the page.

    Returns
    -------
    ndarray
        sRGB codes, uint8, shape (H, W, 3).

    Examples
    --------
    >>> draw_difference_map(np.zeros((9, 16), np.float32), "Dusk", "mean 0").shape
    (982, 1408, 3)
    """
    page = Page(_MAP_WIDTH, unit=1.0)
    height = max(1, round(_MAP_WIDTH * difference.shape[0] / difference.shape[1]))
    page.begin(height + 112)
    page.draw_head(title, figures)
    _paste(page, _colours(difference), page.margin, page.head, (_MAP_WIDTH, height))
    _draw_scale(page, page.margin, page.head + height + 24, _MAP_WIDTH)
    return page.codes()


def _draw_row(page: Page, row: BeforeAfter, top: int, height: int) -> None:
    columns = (row.before, row.after, _colours(row.difference))
    names = (*(f"{row.title}, {name}" if row.title else name for name in row.names), "Difference")
    for number, (codes, name) in enumerate(zip(columns, names, strict=True)):
        left = page.margin + number * (_COLUMN + _GUTTER)
        _paste(page, codes, left, top, (_COLUMN, height))
        page.set((left, top + height + 30), page.figure.fitted(name, _COLUMN), page.figure)
    left = page.margin + 2 * (_COLUMN + _GUTTER)
    for number, line in enumerate(page.label.wrapped(row.figures, _COLUMN, 2)):
        page.set((left, top + height + 58 + 24 * number), line, page.label)


def _paste(page: Page, codes: Codes, left: int, top: int, size: tuple[int, int]) -> None:
    from PIL import Image

    small = Image.fromarray(codes).resize(size, Image.Resampling.BOX)
    page.paste(small, left, top)


def _colours(difference: Floats) -> Codes:
    steps = np.clip(difference / STRONGEST, 0, 1)
    table = oklab_to_bt709(_NOTHING + np.linspace(0, 1, 256)[:, None] * (_MUCH - _NOTHING))
    codes = np.round(encode_srgb(np.clip(table, 0, 1)) * 255).astype(np.uint8)
    found: Codes = codes[np.round(steps * 255).astype(np.uint8)]
    return found


def _draw_scale(page: Page, left: int, top: int, width: int) -> None:
    ramp = _colours(np.linspace(0, STRONGEST, width, dtype=np.float32)[None, :])
    page.paste(np.repeat(ramp, 14, axis=0), left, top)
    for tick in _TICKS:
        place = left + width * tick / STRONGEST
        align: Literal["left", "centre", "right"] = "centre"
        if tick in (0, STRONGEST):
            align = "left" if tick == 0 else "right"
        said = f"{tick} and more" if tick == STRONGEST else str(tick)
        page.set((place, top + 36), said, page.label, align=align)
    note = "CIEDE2000; from 2 on an eye notices it side by side (common practice)"
    page.set((left, top + 62), page.label.fitted(note, width), page.label)
