"""A map of the broken pixels of a pass: where fireflies, negatives and flat tops lie."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import numpy.typing as npt

from evenfall.drawings.page import REFERENCE_WIDTH, Page

__all__ = ["FLAW_INKS", "draw_flaw_map"]

Codes = npt.NDArray[np.uint8]
Mask = npt.NDArray[np.bool_]

_PLAIN = "Broken pixels"
_LARGER = "Broken pixels, drawn larger than they are"
_SPREADS = (3, 12)  # least and greatest radius of a mark, in pixels of the map
_WIDE = 0.01  # share of the picture from which a flaw is hatched, so that the picture shows through
_HATCHES = 120  # lines across the width of the map
_DOT, _BETWEEN = 22, 36  # units: from a dot to its words, and between two of them

FLAW_INKS: Mapping[str, tuple[int, int, int]] = {
    "fireflies": (214, 96, 20),
    "negative": (36, 98, 180),
    "flat top": (150, 120, 0),
    "overflow": (176, 30, 90),
}
"""Ink of each kind of flaw, apart in lightness too."""


def draw_flaw_map(
    planes: Sequence[npt.NDArray[np.floating]],
    flaws: Mapping[str, Mask],
    *,
    title: str,
    width: int = REFERENCE_WIDTH,
) -> Codes:
    """Draw the pass in pale grey with its broken pixels marked.

    Parameters
    ----------
    planes : sequence of 3 ndarray
        R, G, B of shape (H, W), scene-linear and finite.
    flaws : mapping of str to ndarray of bool
        Masks of shape (H, W) by kind: the keys of `FLAW_INKS`.
    title : str
        Name of the light.
    width : int
        Width of the map in pixels; single pixels are drawn larger than they are.

    Returns
    -------
    ndarray
        sRGB codes, uint8, shape (H, W, 3), title and legend included.

    Examples
    --------
    >>> plane = np.full((36, 64), 0.2, np.float32)
    >>> marked = np.zeros((36, 64), bool)
    >>> marked[10, 20] = True
    >>> draw_flaw_map([plane] * 3, {"fireflies": marked}, title="sky", width=320).shape[2]
    3
    """
    height = max(1, round(planes[0].shape[0] * width / planes[0].shape[1]))
    picture = _pale_picture(planes, (width, height))
    for kind, mask in flaws.items():
        picture[_marks(mask, (width, height))] = FLAW_INKS[kind]
    page = Page(width)
    rows = _legend_rows(page, flaws)
    is_marked_larger = bool(flaws) and width < 2 * _SPREADS[0] * planes[0].shape[1]
    page.begin(height + page.of(70) + page.leading * len(rows))
    page.draw_head(title, _LARGER if is_marked_larger else _PLAIN)
    page.paste(picture, page.margin, page.head)
    _draw_legend(page, rows, page.head + height + page.of(48))
    return page.codes()


def _pale_picture(planes: Sequence[npt.NDArray[np.floating]], size: tuple[int, int]) -> Codes:
    """Draw the pass in pale grey, so that the marks stand out."""
    grey = _reduced(np.mean([plane.astype(np.float32) for plane in planes], axis=0), size)
    usual = float(np.quantile(grey, 0.9)) or 1.0
    tone = np.clip(grey / usual, 0, 4)
    lightness = 0.42 + 0.5 * np.sqrt(tone / (tone + 0.6))
    return np.repeat(np.round(255 * lightness).astype(np.uint8)[..., None], 3, axis=2)


def _reduced(plane: npt.NDArray[np.float32], size: tuple[int, int]) -> npt.NDArray[np.float32]:
    from PIL import Image

    image = Image.fromarray(np.maximum(plane, 0).astype(np.float32))
    return np.asarray(image.resize(size, Image.Resampling.BOX))


def _marks(mask: Mask, size: tuple[int, int]) -> Mask:
    """Where marks lie on the map: on the middle of their pixels, wide enough to be seen."""
    width, height = size
    least, greatest = _SPREADS
    spread = min(max(least, width // (2 * mask.shape[1])), greatest)
    marks = np.zeros((height, width), dtype=bool)
    rows, columns = np.nonzero(mask)
    rows = (2 * rows + 1) * height // (2 * mask.shape[0])
    columns = (2 * columns + 1) * width // (2 * mask.shape[1])
    for down in range(-spread, spread + 1):
        for across in range(-spread, spread + 1):
            if down**2 + across**2 <= spread**2:
                y, x = rows + down, columns + across
                inside = (y >= 0) & (y < height) & (x >= 0) & (x < width)
                marks[y[inside], x[inside]] = True
    if np.count_nonzero(mask) > _WIDE * mask.size:
        period = max(6, width // _HATCHES)
        lines, columns_of = np.indices(marks.shape, sparse=True)
        marks &= (lines + columns_of) % period < period // 3
    return marks


def _legend_rows(page: Page, flaws: Mapping[str, Mask]) -> list[list[tuple[str, str]]]:
    """Kinds of flaws and what is said of each, in as many rows as they need."""
    rows: list[list[tuple[str, str]]] = [[]]
    used = 0.0
    for kind, mask in flaws.items():
        count = int(np.count_nonzero(mask))
        text = f"{kind}: {count:,} pixel{'' if count == 1 else 's'}"
        needed = page.of(_DOT) + page.text.width(text)
        if rows[-1] and used + needed > page.inner:
            rows.append([])
            used = 0.0
        rows[-1].append((kind, text))
        used += needed + page.of(_BETWEEN)
    return rows


def _draw_legend(page: Page, rows: Sequence[Sequence[tuple[str, str]]], baseline: int) -> None:
    if not rows[0]:
        page.set((page.margin, baseline), "no broken pixels", page.label)
    radius = page.of(6.5)
    for number, row in enumerate(rows):
        level, place = baseline + number * page.leading, float(page.margin)
        for kind, text in row:
            page.disc(place + radius, level - radius, radius, FLAW_INKS[kind])
            page.set((place + page.of(_DOT), level), text, page.text)
            place += page.of(_DOT) + page.text.width(text) + page.of(_BETWEEN)
