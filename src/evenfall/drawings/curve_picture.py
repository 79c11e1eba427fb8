"""Our tone curve as a picture: stops in the scene against light from the display.

It stands on the axis of the histogram, so that one can be laid on the other. Below the curve are
the greys that come out, and the light of lamps on a white wall.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from evenfall.drawings.lamp_ramps import lamp_ramp
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
from evenfall.drawings.stop_scale import FIRST_STOP, LAST_STOP, along
from evenfall.light.transfer import encode_srgb
from evenfall.light.units import MIDDLE_GREY
from evenfall.look.grey_curve import GreyCurve
from evenfall.recipe.look import Evenfall, Look

__all__ = ["draw_curve"]

_SMALLEST_UNIT = 0.25
_OVERSAMPLING = 2
_SHARES = (0.0, 0.02, 0.18, 0.5, 1.0)  # display light that the vertical axis names
_LAMPS_KELVIN = (2700.0, 4000.0)
_STRIP, _BETWEEN = 26, 4  # units: height of a strip, and between two

Codes = npt.NDArray[np.uint8]
Signal = npt.NDArray[np.float64]


class _Plot(Page):
    """The page and its axes."""

    def __init__(self, width: int) -> None:
        super().__init__(
            width,
            scaled_unit(width, smallest=_SMALLEST_UNIT),
            narrowest=round(_SMALLEST_UNIT * REFERENCE_WIDTH),
            smooth=_OVERSAMPLING,
        )
        self.top, self.bottom = self.of(176), self.of(650)
        self.begin(self.of(870) - self.head)

    def x(self, stops: float) -> float:
        return along(stops, self.margin, self.right)

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
    """Draw our tone curve as a recipe sets it.

    Stops around grey run across, on the axis of the histogram; the signal that an sRGB display gets
    runs upwards. The strips below show what comes out of greys, and of lamp light on a white wall.

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
    (435, 704, 3)
    """
    curve = GreyCurve(settings)
    page = _Plot(width)
    page.draw_head(title, _settings_in_words(settings))
    _draw_grid(page)
    _draw_strips(page, settings)
    stops = np.linspace(FIRST_STOP, LAST_STOP, 1200)
    heights = _signal(curve, stops)
    points = [(page.x(at), page.y(height)) for at, height in zip(stops, heights, strict=True)]
    page.line(points, ACCENT, 3.5)
    _draw_marks(page, curve)
    return page.codes()


def _signal(curve: GreyCurve, stops: Any) -> Signal:
    """Give the sRGB signal at scene values in stops around grey."""
    return encode_srgb(curve(MIDDLE_GREY * 2.0 ** np.asarray(stops, float)))


def _settings_in_words(settings: Evenfall) -> str:
    return (
        f"contrast {settings.contrast:g}; {settings.highlight_stops:g} stops of highlights, soft "
        f"{settings.soft_highlights:g}; {settings.shadow_stops:g} stops of shadows, soft "
        f"{settings.soft_shadows:g}; to white {settings.to_white:g}"
    )


def _draw_grid(page: _Plot) -> None:
    for stop in range(FIRST_STOP, LAST_STOP + 1):
        place = page.x(stop)
        ink = SOFT_INK if stop == 0 else HAIRLINE
        page.line([(place, page.top), (place, page.bottom)], ink, 1)
    for share in _SHARES:
        height = page.y(float(encode_srgb(np.array(share))))
        page.line([(page.margin, height), (page.right, height)], HAIRLINE, 1)
        page.name(page.margin, height - page.of(6), f"{100 * share:g} %", 17)


def _draw_strips(page: _Plot, settings: Evenfall) -> None:
    """Draw greys and lamp light as the display shows them, and name the stops below."""
    stops = np.linspace(FIRST_STOP, LAST_STOP, page.right - page.margin)
    look, top = Look(tone=settings), page.bottom + page.of(12)
    for kelvin in (None, *_LAMPS_KELVIN):
        strip = lamp_ramp(look, stops, kelvin)[None].repeat(page.of(_STRIP), axis=0)
        page.paste(strip, page.margin, top)
        words = "grey" if kelvin is None else f"{kelvin:g} K"
        ink = Lettering("regular", page.of(17), "#c9c6c0")
        page.set((page.margin + page.of(10), top + page.of(19)), words, ink)
        top += page.of(_STRIP + _BETWEEN)
    baseline = top + page.of(24)
    for stop in range(FIRST_STOP, LAST_STOP + 1, 2):
        words = "grey" if stop == 0 else short_stops(stop)
        align = {FIRST_STOP: "left", LAST_STOP: "right"}.get(stop, "centre")
        page.write(page.x(stop), baseline, words, 17, INK if stop == 0 else SOFT_INK, align=align)
    note = "Across: stops from middle grey (18 %) after exposure. Upwards: light from the display"
    page.write(page.margin, baseline + page.of(38), note, 17)


def _draw_marks(page: _Plot, curve: GreyCurve) -> None:
    bends = (
        (curve.soft_below_stops, "soft shadows", _below_place(page, curve)),
        (curve.soft_above_stops, "soft highlights", ("right", -14, -8)),
    )
    for stops, words, (align, right, down) in bends:
        x, y = page.x(stops), page.y(float(_signal(curve, stops)))
        page.line([(x, y - page.of(9)), (x, y + page.of(9))], INK, 2)
        page.name(x + page.of(1) * right, y + page.of(1) * down, words, 17, align=align)
    _draw_ring(page, curve, 0.0, "grey, 18 % stays 18 %", ("left", 20, 12))
    _draw_end(page, curve, curve.black_stops, "black", ("right", -6, -14))
    _draw_end(page, curve, curve.white_stops, "white", ("left", -6, 34))


def _draw_end(
    page: _Plot, curve: GreyCurve, stops: float, words: str, place: tuple[str, int, int]
) -> None:
    """Mark where the curve ends, at the edge of the plot when that lies further out."""
    if FIRST_STOP <= stops <= LAST_STOP:
        near_edge = page.right - page.x(stops) < page.of(70)
        _draw_ring(page, curve, stops, words, ("right", 6, place[2]) if near_edge else place)
        return
    left, height = stops < FIRST_STOP, page.y(0 if stops < FIRST_STOP else 1)
    said = f"\u2190 {words} at {short_stops(stops)}" if left else (
        f"{words} at {short_stops(stops)} \u2192"
    )  # fmt: skip
    x = page.margin + page.of(60) if left else page.right - page.of(8)
    down = -page.of(36) if left else page.of(52)
    page.name(x, height + down, said, 19, INK, align="left" if left else "right")


def _draw_ring(
    page: _Plot, curve: GreyCurve, stops: float, words: str, place: tuple[str, int, int]
) -> None:
    align, right, down = place
    x, y = page.x(stops), page.y(float(_signal(curve, stops)))
    page.disc(x, y, page.of(7), PAPER, ACCENT, page.of(3))
    page.name(x + page.of(1) * right, y + page.of(1) * down, words, 19, INK, align=align)


def _below_place(page: _Plot, curve: GreyCurve) -> tuple[str, int, int]:
    """Where the name of the soft shadows stands: below its mark, clear of strip and grey's name."""
    if page.bottom - page.y(float(_signal(curve, curve.soft_below_stops))) < page.of(40):
        return "right", -14, -12
    near_grey = page.x(0) - page.x(curve.soft_below_stops) < page.of(24)
    return ("left", 20, 40) if near_grey else ("left", 14, 24)
