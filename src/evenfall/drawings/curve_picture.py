"""The tone curve of a look as a picture: stops in the scene against light from the display."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from evenfall.drawings.lettering import Lettering, short_stops
from evenfall.drawings.page import (
    ACCENT,
    HAIRLINE,
    INK,
    PAPER,
    REFERENCE_WIDTH,
    SOFT_INK,
    Page,
    scaled_unit,
)
from evenfall.light.transfer import encode_srgb
from evenfall.light.units import MIDDLE_GREY
from evenfall.look.grey_curve import GreyCurve
from evenfall.recipe.look import Evenfall

__all__ = ["draw_curve"]

_SMALLEST_UNIT = 0.25
_OVERSAMPLING = 2
_FIRST_STOP, _LAST_STOP = -12, 8  # as on the histogram
_SHARES = (0.0, 0.02, 0.18, 0.5, 1.0)  # display light that the vertical axis names

Codes = npt.NDArray[np.uint8]
Signal = npt.NDArray[np.float64]


class _Plot(Page):
    """The page and its axes."""

    def __init__(self, width: int, settings: Evenfall) -> None:
        super().__init__(
            width,
            scaled_unit(width, smallest=_SMALLEST_UNIT),
            narrowest=round(_SMALLEST_UNIT * REFERENCE_WIDTH),
            smooth=_OVERSAMPLING,
        )
        self.left = self.margin + self.of(76)
        self.top, self.bottom = self.of(176), self.of(650)
        self.begin(self.of(810) - self.head)
        self.first = min(_FIRST_STOP, int(np.floor(-settings.shadow_stops)) - 1)
        self.last = max(_LAST_STOP, int(np.ceil(settings.highlight_stops)) + 1)

    def x(self, stops: float) -> float:
        return self.left + (stops - self.first) / (self.last - self.first) * (
            self.right - self.left
        )

    def y(self, signal: float) -> float:
        return self.bottom + signal * (self.top - self.bottom)

    def write(
        self, x: float, y: float, words: str, size: float, ink: str = SOFT_INK, **more: Any
    ) -> None:
        self.set((x, y), words, Lettering("regular", self.of(size), ink), **more)

    def name(
        self, x: float, y: float, words: str, size: float, ink: str = SOFT_INK, **more: Any
    ) -> None:
        """Set the name of a mark so that the grid does not run through it."""
        self.write(x, y, words, size, ink, halo=PAPER, **more)

    def line(self, points: list[tuple[float, float]], ink: str, width: float) -> None:
        self.draw.line(points, fill=ink, width=self.of(width), joint="curve")


def draw_curve(
    settings: Evenfall, *, title: str = "Tone curve", width: int = REFERENCE_WIDTH
) -> Codes:
    """Draw the tone curve of a recipe.

    Stops around grey run across, the signal that an sRGB display gets runs upwards; the strip
    below shows the greys that come out.

    Parameters
    ----------
    settings : Evenfall
        From the recipe.
    title : str
        Headline.
    width : int
        Width of the plot in pixels; margins come on top.

    Returns
    -------
    ndarray
        sRGB codes, uint8, shape (H, W, 3).

    Examples
    --------
    >>> draw_curve(Evenfall(), width=640).shape
    (405, 704, 3)
    """
    curve = GreyCurve(settings)
    page = _Plot(width, settings)
    _draw_head(page, settings, title)
    _draw_grid(page)
    _draw_strip(page, curve)
    stops = np.linspace(page.first, page.last, 1200)
    heights = _signal(curve, stops)
    points = [(page.x(at), page.y(height)) for at, height in zip(stops, heights, strict=True)]
    page.line(points, ACCENT, 3.5)
    _draw_marks(page, curve)
    return page.codes()


def _signal(curve: GreyCurve, stops: Any) -> Signal:
    """Give the sRGB signal at scene values in stops around grey."""
    return encode_srgb(curve(MIDDLE_GREY * 2.0 ** np.asarray(stops, float)))


def _draw_head(page: _Plot, settings: Evenfall, title: str) -> None:
    words = (
        f"contrast {settings.contrast:g},  "
        f"{settings.highlight_stops:g} stops of highlights, {settings.soft_highlights:g} soft,  "
        f"{settings.shadow_stops:g} stops of shadows, {settings.soft_shadows:g} soft,  "
        f"to white {settings.to_white:g}"
    )
    page.draw_head(title, words)


def _draw_grid(page: _Plot) -> None:
    for share in _SHARES:
        height = page.y(float(encode_srgb(np.array(share))))
        page.line([(page.left, height), (page.right, height)], HAIRLINE, 1)
        words = f"{100 * share:g} %"
        page.write(page.left - page.of(14), height + page.of(6), words, 17, align="right")
    baseline = page.bottom + page.of(68)
    for stop in range(page.first, page.last + 1):
        place = page.x(stop)
        ink = SOFT_INK if stop == 0 else HAIRLINE
        page.line([(place, page.top), (place, page.bottom)], ink, 1)
        if stop % 2 == 0:
            words = "grey" if stop == 0 else short_stops(stop)
            ink = INK if stop == 0 else SOFT_INK
            page.write(place, baseline, words, 17, ink, align="centre")
    note = "Across: stops from middle grey (18 %) after exposure. Upwards: light from the display"
    page.write(page.margin, baseline + page.of(38), note, 17)


def _draw_strip(page: _Plot, curve: GreyCurve) -> None:
    greys = _signal(curve, np.linspace(page.first, page.last, page.right - page.left))
    top, bottom = page.bottom + page.of(12), page.bottom + page.of(38)
    for offset, grey in enumerate(greys):
        level = round(255 * float(grey))
        page.draw.line(
            [(page.left + offset, top), (page.left + offset, bottom)], fill=(level, level, level)
        )


def _draw_marks(page: _Plot, curve: GreyCurve) -> None:
    bends = ((curve.soft_below_stops, "soft shadows", _below_place(page, curve)),
             (curve.soft_above_stops, "soft highlights", ("right", -14, -8)))  # fmt: skip
    for stops, words, (align, right, down) in bends:
        x, y = page.x(stops), page.y(float(_signal(curve, stops)))
        page.line([(x, y - page.of(9)), (x, y + page.of(9))], INK, 2)
        page.name(x + page.of(1) * right, y + page.of(1) * down, words, 17, align=align)
    at_axis = page.x(curve.black_stops) - page.left < page.of(70)
    at_edge = page.right - page.x(curve.white_stops) < page.of(70)
    marks = (
        (curve.black_stops, "black", ("left", 10, -14) if at_axis else ("right", -6, -14)),
        (0.0, "grey, 18 % stays 18 %", ("left", 20, 12)),
        (curve.white_stops, "white", ("right", 6, 34) if at_edge else ("left", -6, 34)),
    )
    radius = page.of(7)
    for stops, words, (align, right, down) in marks:
        x, y = page.x(stops), page.y(float(_signal(curve, stops)))
        page.disc(x, y, radius, PAPER, ACCENT, page.of(3))
        page.name(x + page.of(1) * right, y + page.of(1) * down, words, 19, INK, align=align)


def _below_place(page: _Plot, curve: GreyCurve) -> tuple[str, int, int]:
    """Where the name of the soft shadows stands: below its mark, clear of strip and grey's name."""
    if page.bottom - page.y(float(_signal(curve, curve.soft_below_stops))) < page.of(40):
        return "right", -14, -12
    near_grey = page.x(0) - page.x(curve.soft_below_stops) < page.of(24)
    return ("left", 20, 40) if near_grey else ("left", 14, 24)
