"""Lamp light on a white wall, from deep shadow to far too bright, as curves show it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Literal

import numpy as np
import numpy.typing as npt

from evenfall.drawings.lettering import short_stops
from evenfall.drawings.page import REFERENCE_WIDTH, Page
from evenfall.light.colour import planckian_xy
from evenfall.light.output_spaces import output_space
from evenfall.light.primaries import BT709, rgb_to_xyz, xy_to_xyz
from evenfall.light.units import MIDDLE_GREY
from evenfall.look.chain import build_chain
from evenfall.recipe.look import Aces, Clip, Evenfall, Hable, Look, Neutral, Reinhard

__all__ = ["curve_looks", "draw_lamp_ramps", "lamp_ramp"]

_KELVIN = (2000.0, 2700.0, 4000.0)
_FIRST, _LAST = -5, 7
_NAMES, _STRIP, _ROW = 250, 28, 108  # units: width of the names, height of a strip and of a row

Codes = npt.NDArray[np.uint8]
Align = Literal["left", "centre", "right"]


def curve_looks() -> dict[str, Look]:
    """Give a look for every tone curve, and two more for the ends of `to_white`.

    Examples
    --------
    >>> list(curve_looks())[:2]
    ['evenfall', 'evenfall, to_white 0']
    """
    ours = {
        f"evenfall, to_white {share:g}": Look(tone=Evenfall(to_white=share)) for share in (0, 1)
    }
    published = (Aces(), Neutral(), Reinhard(), Hable(), Clip())
    return {"evenfall": Look()} | ours | {tone.curve: Look(tone=tone) for tone in published}


def lamp_ramp(look: Look, stops: npt.NDArray[np.float64], kelvin: float | None) -> Codes:
    """Show a white wall in the light of a lamp at rising exposure, through a look.

    Parameters
    ----------
    look : Look
        Without what needs a whole picture.
    stops : ndarray, shape (n,)
        Luminance of the wall in stops from middle grey.
    kelvin : float or None
        Colour temperature of the lamp, on the Planckian locus; None for a white as the display's.

    Returns
    -------
    ndarray
        sRGB codes, uint8, shape (n, 3).

    Examples
    --------
    >>> lamp_ramp(Look(), np.array([0.0]), None).tolist()
    [[118, 118, 118]]
    """
    xy = BT709.white if kelvin is None else planckian_xy(kelvin)
    light = np.linalg.solve(rgb_to_xyz(BT709), xy_to_xyz(xy))
    scene = light[:, None] * MIDDLE_GREY * 2.0 ** np.asarray(stops, float)
    chain = build_chain(
        look,
        source=BT709,
        camera_matrix=np.eye(3),
        output=output_space("sRGB"),
        size=(scene.shape[1], 1),
        recipe_folder=Path(),
    )
    planes = np.ascontiguousarray(scene[:, None], np.float32)
    codes: Codes = np.rint(255 * chain.encode_rows(planes, 0)[:, 0].T).astype(np.uint8)
    return codes


def draw_lamp_ramps(
    looks: Mapping[str, Look],
    *,
    title: str = "Lamp light on a white wall",
    kelvin: Sequence[float] = _KELVIN,
    width: int = REFERENCE_WIDTH,
) -> Codes:
    """Draw what each of some looks makes of lamp light, one row a look.

    Parameters
    ----------
    looks : mapping of str to Look
        By the name that stands beside the row.
    title : str
        Headline.
    kelvin : sequence of float
        Lamps, one strip each.
    width : int
        Width between the margins in pixels.

    Returns
    -------
    ndarray
        sRGB codes, uint8, shape (H, W, 3).

    Examples
    --------
    >>> draw_lamp_ramps({"evenfall": Look()}, width=640).shape[2]
    3
    """
    page = Page(width)
    lamps = ", ".join(f"{each:g} K" for each in kelvin)
    left = page.margin + page.of(_NAMES)
    strip, row = page.of(_STRIP), page.of(_ROW * len(kelvin) / len(_KELVIN))
    page.begin(row * len(looks) + page.of(70))
    page.draw_head(title, f"From top to bottom in each row: {lamps}")
    stops = np.linspace(_FIRST, _LAST, page.right - left)
    for number, (name, look) in enumerate(looks.items()):
        top = page.head + number * row
        page.set((page.margin, top + page.of(_STRIP * len(kelvin) / 2 + 7)), name, page.figure)
        for place, each in enumerate(kelvin):
            codes = lamp_ramp(look, stops, each)[None].repeat(strip, axis=0)
            page.paste(codes, left, top + place * strip)
    baseline = page.head + row * len(looks) + page.of(14)
    for stop in range(_FIRST, _LAST + 1):
        x = left + (stop - _FIRST) / (_LAST - _FIRST) * (page.right - left)
        words = "grey" if stop == 0 else short_stops(stop)
        style = page.figure if stop == 0 else page.label
        at_start, at_end = stop == _FIRST, stop == _LAST
        align: Align = "left" if at_start else "right" if at_end else "centre"
        page.set((x, baseline), words, style, align=align)
    page.draw_notes(["Stops of the wall's luminance from middle grey (18 %)"], baseline)
    return page.codes()
