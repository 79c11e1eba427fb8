"""The filmic curve as a picture."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from evenfall.look.filmic import GREY, FilmicCurve
from evenfall.look.output import encode_srgb
from evenfall.recipe.look import Filmic

__all__ = ["draw_curve"]

Pixels = npt.NDArray[np.uint8]
Colour = tuple[int, int, int]

_PAPER: Colour = (250, 249, 246)
_INK: Colour = (38, 42, 48)
_QUIET: Colour = (132, 136, 140)
_LINE: Colour = (226, 224, 218)
_CURVE: Colour = (176, 84, 32)
_OVERSAMPLING = 2
_SHARES = (0.0, 0.02, 0.18, 0.5, 1.0)  # display light that the vertical axis names


class _Sheet:
    """A drawing area with axes: stops across, display signal upwards."""

    def __init__(self, width: int, stops: tuple[float, float]) -> None:
        from PIL import Image, ImageDraw

        self.scale = width * _OVERSAMPLING / 1200
        self.size = (width * _OVERSAMPLING, round(760 * self.scale))
        self.image = Image.new("RGB", self.size, _PAPER)
        self.draw = ImageDraw.Draw(self.image)
        self.stops = stops
        self.left, self.right = self.length(96), self.size[0] - self.length(56)
        self.top, self.bottom = self.length(120), self.size[1] - self.length(140)

    def length(self, units: float) -> int:
        """Pixels of a length in units of the sheet, which is 1200 wide."""
        return round(units * self.scale)

    def x(self, stops: float) -> float:
        low, high = self.stops
        return self.left + (stops - low) / (high - low) * (self.right - self.left)

    def y(self, signal: float) -> float:
        return self.bottom + signal * (self.top - self.bottom)

    def text(
        self, at: tuple[float, float], words: str, size: int, colour: Colour, anchor: str
    ) -> None:
        from PIL import ImageFont

        font = ImageFont.load_default(self.length(size))
        self.draw.text(at, words, fill=colour, font=font, anchor=anchor)

    def line(self, points: list[tuple[float, float]], colour: Colour, width: float) -> None:
        self.draw.line(points, fill=colour, width=max(1, self.length(width)), joint="curve")

    def finished(self) -> Pixels:
        from PIL import Image

        smaller = (self.size[0] // _OVERSAMPLING, self.size[1] // _OVERSAMPLING)
        return np.asarray(self.image.resize(smaller, Image.Resampling.BOX))


def draw_curve(settings: Filmic, *, title: str = "Filmic curve", width: int = 1200) -> Pixels:
    """Draw the filmic curve of a recipe.

    Stops around grey run across, the signal that the display gets runs upwards; the strip below
    shows the greys that come out.

    Parameters
    ----------
    settings : Filmic
        From the recipe.
    title : str
        Headline.
    width : int
        Width of the picture in pixels.

    Returns
    -------
    ndarray of uint8, shape (H, W, 3)
        sRGB-encoded; ready for any writer of pictures.

    Examples
    --------
    >>> draw_curve(Filmic(), width=600).shape
    (380, 600, 3)
    """
    curve = FilmicCurve(settings)
    low = min(-8.0, np.floor(curve.black_stops)) - 0.5
    high = max(4.0, np.ceil(curve.white_stops)) + 0.5
    sheet = _Sheet(width, (float(low), float(high)))
    _draw_headline(sheet, settings, title)
    _draw_grid(sheet)
    _draw_strip(sheet, curve)
    _draw_line(sheet, curve)
    _draw_marks(sheet, curve)
    return sheet.finished()


def _signal(curve: FilmicCurve, stops: Any) -> npt.NDArray[np.float64]:
    """Give the sRGB signal at scene values in stops around grey."""
    return encode_srgb(curve(GREY * 2.0 ** np.asarray(stops, float)))


def _draw_headline(sheet: _Sheet, settings: Filmic, title: str) -> None:
    sheet.text((sheet.left, sheet.length(44)), title, 30, _INK, "lm")
    words = (
        f"contrast {settings.contrast:g}    toe {settings.toe:g}    "
        f"shoulder {settings.shoulder:g}    black {settings.black_stops:+g} stops    "
        f"white {settings.white_stops:+g} stops    {settings.mode}"
    )
    sheet.text((sheet.left, sheet.length(80)), words, 17, _QUIET, "lm")


def _draw_grid(sheet: _Sheet) -> None:
    for share in _SHARES:
        height = sheet.y(float(encode_srgb(np.array(share))))
        sheet.line([(sheet.left, height), (sheet.right, height)], _LINE, 1)
        at = (sheet.left - sheet.length(12), height)
        sheet.text(at, f"{100 * share:g} %", 16, _QUIET, "rm")
    first, last = int(np.ceil(sheet.stops[0])), int(np.floor(sheet.stops[1]))
    below = sheet.bottom + sheet.length(56)
    for stop in range(first, last + 1):
        place = sheet.x(stop)
        sheet.line([(place, sheet.top), (place, sheet.bottom)], _LINE, 1)
        sheet.text((place, below), "0" if stop == 0 else f"{stop:+d}", 16, _QUIET, "mm")
    middle = (sheet.left + sheet.right) / 2
    words = "stops around middle grey in the scene"
    sheet.text((middle, below + sheet.length(32)), words, 17, _INK, "mm")
    at = (sheet.left + sheet.length(10), sheet.top + sheet.length(18))
    sheet.text(at, "light from the display", 16, _QUIET, "lm")


def _draw_strip(sheet: _Sheet, curve: FilmicCurve) -> None:
    low, high = sheet.stops
    across = sheet.right - sheet.left
    greys = _signal(curve, np.linspace(low, high, across))
    top, bottom = sheet.bottom + sheet.length(10), sheet.bottom + sheet.length(36)
    for offset, grey in enumerate(greys):
        level = round(255 * float(grey))
        place = sheet.left + offset
        sheet.draw.line([(place, top), (place, bottom)], fill=(level, level, level))


def _draw_line(sheet: _Sheet, curve: FilmicCurve) -> None:
    stops = np.linspace(*sheet.stops, 800)
    signal = _signal(curve, stops)
    points = [(sheet.x(s), sheet.y(v)) for s, v in zip(stops, signal, strict=True)]
    sheet.line(points, _CURVE, 4)


def _draw_marks(sheet: _Sheet, curve: FilmicCurve) -> None:
    marks = (
        (curve.black_stops, "black", "lb", (6, -14)),
        (0.0, "grey, 18 % stays 18 %", "lm", (18, 12)),
        (curve.white_stops, "white", "rt", (-10, 14)),
    )
    radius = sheet.length(7)
    for stops, words, anchor, (right, down) in marks:
        x, y = sheet.x(stops), sheet.y(float(_signal(curve, stops)))
        sheet.draw.ellipse(
            (x - radius, y - radius, x + radius, y + radius),
            fill=_PAPER,
            outline=_CURVE,
            width=sheet.length(3),
        )
        at = (x + sheet.length(right), y + sheet.length(down))
        sheet.text(at, words, 18, _INK, anchor)
    for stops, words in ((curve.toe_stops, "toe"), (curve.shoulder_stops, "shoulder")):
        x, y = sheet.x(stops), sheet.y(float(_signal(curve, stops)))
        tick = sheet.length(9)
        sheet.line([(x, y - tick), (x, y + tick)], _INK, 2)
        sheet.text((x - sheet.length(14), y - tick), words, 16, _QUIET, "rb")
