"""Numbers of comments on a picture."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from evenfall.drawings.lettering import Lettering, letter, text_height
from evenfall.drawings.page import scaled_unit

__all__ = ["Spot", "draw_spots"]

_PAPER, _INK = "#ffffff", "#1d1d1c"
_SMALL = 1.0  # per cent: a box so small is a spot


@dataclass(frozen=True)
class Spot:
    """A place with a number, in per cent of the picture from its top left."""

    number: int
    x: float
    y: float
    width: float
    height: float


def draw_spots(codes: npt.NDArray[np.uint8], spots: Sequence[Spot]) -> npt.NDArray[np.uint8]:
    """Draw numbers, and the areas they stand for, on a copy of a picture.

    Parameters
    ----------
    codes : ndarray, shape (H, W, 3), uint8
        sRGB codes.
    spots : sequence of Spot
        In the order of drawing.

    Examples
    --------
    >>> marked = draw_spots(np.full((90, 160, 3), 118, np.uint8), [Spot(1, 40, 40, 20, 20)])
    >>> marked.shape, bool((marked == 255).any())
    ((90, 160, 3), True)
    """
    from PIL import Image, ImageDraw

    picture = Image.fromarray(codes)
    draw = ImageDraw.Draw(picture)
    unit = scaled_unit(picture.width)
    lettering = Lettering("medium", max(1, round(20 * unit)), _PAPER)
    line = max(1, round(2 * unit))
    for spot in spots:
        left, top = spot.x / 100 * picture.width, spot.y / 100 * picture.height
        right = left + spot.width / 100 * picture.width
        bottom = top + spot.height / 100 * picture.height
        if max(spot.width, spot.height) > _SMALL:
            draw.rectangle(
                (left - line, top - line, right + line, bottom + line), outline=_INK, width=line
            )
            draw.rectangle((left, top, right, bottom), outline=_PAPER, width=line)
        across, down, radius = (left + right) / 2, (top + bottom) / 2, 18 * unit
        circle = (across - radius, down - radius, across + radius, down + radius)
        draw.ellipse(circle, fill=_INK, outline=_PAPER, width=line)
        baseline = down + text_height(lettering) / 2
        letter(draw, (across, baseline), str(spot.number), lettering, align="centre")
    return np.asarray(picture)
