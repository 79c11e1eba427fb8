"""A picture that was matched, the match, and what they differ by."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from evenfall.drawings.page import INK, PAPER, Page
from evenfall.drawings.residual_picture import difference_colours

__all__ = ["draw_match"]

Codes = npt.NDArray[np.uint8]
Floats = npt.NDArray[np.float32]
Box = tuple[float, float, float, float]

_WIDTH, _GUTTER, _RAMP = 620, 36, 14


def draw_match(
    reference: Codes,
    shown: Codes,
    difference: Floats,
    *,
    title: str,
    subtitle: str,
    places: Sequence[tuple[Box, str]] = (),
    full: float = 0.1,
) -> Codes:
    """Draw a reference, what was made like it, and where they differ.

    Parameters
    ----------
    reference, shown : ndarray, shape (h, w, 3), uint8
        sRGB codes.
    difference : ndarray, shape (h, w)
        Of encoded lightness, positive where the reference is lighter.
    title, subtitle : str
        Stand above.
    places : sequence of (box, str)
        Frames, as shares of width and height, and what is to be said of each.
    full : float
        Difference at which the colour is strongest.

    Returns
    -------
    ndarray, shape (H, W, 3), uint8
        sRGB codes.

    Examples
    --------
    >>> grey = np.full((9, 16, 3), 118, np.uint8)
    >>> drawn = draw_match(grey, grey, np.zeros((9, 16), np.float32), title="Dusk", subtitle="")
    >>> drawn.shape[2]
    3
    """
    from PIL import Image

    rows, columns = difference.shape
    height = max(1, round(rows * _WIDTH / columns))
    page = Page(3 * _WIDTH + 2 * _GUTTER, unit=1.0)
    said = [f"{number}. {words}" for number, (_, words) in enumerate(places, start=1)]
    lines = [line for each in said for line in page.text.wrapped(each, page.inner, 2)]
    page.begin(height + 130 + page.leading * len(lines))
    page.draw_head(title, subtitle)
    top = page.head
    lefts = [page.margin + number * (_WIDTH + _GUTTER) for number in range(3)]
    coloured = difference_colours(difference.astype(np.float64), full)
    names = ("Reference", "As matched", "Difference in lightness")
    for left, codes, name in zip(lefts, (reference, shown, coloured), names, strict=True):
        scaled = Image.fromarray(codes).resize((_WIDTH, height), Image.Resampling.BICUBIC)
        page.paste(np.asarray(scaled), left, top)
        page.set((left, top + height + 30), name, page.figure)
    for number, (box, _) in enumerate(places, start=1):
        for left in (lefts[0], lefts[2]):
            _frame(page, box, left, top, height, number)
    _draw_ramp(page, lefts[2], top + height + 46, full)
    for number, line in enumerate(lines):
        page.set((page.margin, top + height + 118 + page.leading * number), line, page.text)
    return page.codes()


def _frame(page: Page, box: Box, left: int, top: int, height: int, number: int) -> None:
    x0, y0, x1, y1 = box
    place = (left + x0 * _WIDTH, top + y0 * height, left + x1 * _WIDTH, top + y1 * height)
    page.draw.rectangle(place, outline=PAPER, width=4)
    page.draw.rectangle(place, outline=INK, width=2)
    page.set((place[0] + 8, place[1] + 24), str(number), page.figure, halo=PAPER)


def _draw_ramp(page: Page, left: int, top: int, full: float) -> None:
    ramp = difference_colours(np.linspace(-full, full, _WIDTH)[None, :], full)
    page.paste(np.repeat(ramp, _RAMP, axis=0), left, top)
    baseline = top + _RAMP + 22
    page.set((left, baseline), "reference darker", page.label)
    page.set((left + _WIDTH / 2, baseline), "alike", page.label, align="centre")
    page.set((left + _WIDTH, baseline), "reference lighter", page.label, align="right")
