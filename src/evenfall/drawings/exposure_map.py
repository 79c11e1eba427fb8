"""Pictures of exposure: where the light of a mood lies in stops around middle grey."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from evenfall.deliver.resize import resize_linear
from evenfall.drawings.lettering import Lettering, letter, short_stops
from evenfall.drawings.stop_scale import (
    BRIGHTEST,
    DARKEST,
    STEPS_PER_STOP,
    colour_scale,
    stop_colours,
    stops_of_light,
)

if TYPE_CHECKING:
    from PIL import ImageDraw

__all__ = ["Histogram", "draw_exposure_map", "draw_histogram", "histogram_of"]

_PAPER = "#f3f2ef"
_INK = "#1d1d1c"
_SOFT_INK = "#6d6b67"
_HAIRLINE = "#d9d6d0"
_CHANNEL_INKS = {"R": "#b4433c", "G": "#3f8f55", "B": "#3c62b4"}
_AREA = "#c9c6c0"
_REFERENCE_WIDTH = 1280
_NARROWEST = 420  # pixels that title, scale and notes need
_SMALLEST_UNIT = 0.65  # below it the lettering is too small to read
_BINS_PER_STOP = 12
_FIRST_STOP, _LAST_STOP = -12, 8

Planes = npt.NDArray[np.float32]
Codes = npt.NDArray[np.uint8]
Shares = npt.NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Histogram:
    """How many pixels lie where, in stops from middle grey.

    Parameters
    ----------
    edges : ndarray
        Edges of the bins in stops, shape (N + 1,).
    luminance : ndarray
        Share of all pixels in each bin, shape (N,).
    channels : ndarray
        The same for red, green and blue, shape (3, N).
    below, above : float
        Shares of pixels whose luminance lies outside the edges.
    """

    edges: Shares
    luminance: Shares
    channels: Shares
    below: float
    above: float


def histogram_of(exposed: Planes, luminance_weights: Sequence[float]) -> Histogram:
    """Histogram of exposed scene-linear planes in twelfths of a stop.

    Parameters
    ----------
    exposed : ndarray
        Shape (3, H, W), float32, after exposure, before the look.
    luminance_weights : sequence of float
        Y row of the planes' primaries.

    Examples
    --------
    >>> found = histogram_of(np.full((3, 4, 4), 0.18, np.float32), (0.2126, 0.7152, 0.0722))
    >>> float(found.luminance.sum())
    1.0
    """
    bins = (_LAST_STOP - _FIRST_STOP) * _BINS_PER_STOP
    weights = np.asarray(luminance_weights, np.float32)
    luminance = np.tensordot(weights, exposed, axes=1)
    counts = [_counts(plane, bins) for plane in (luminance, *exposed)]
    pixels = luminance.size
    return Histogram(
        edges=np.linspace(_FIRST_STOP, _LAST_STOP, bins + 1),
        luminance=counts[0][1:-1] / pixels,
        channels=np.stack([count[1:-1] / pixels for count in counts[1:]]),
        below=float(counts[0][0] / pixels),
        above=float(counts[0][-1] / pixels),
    )


def _counts(plane: npt.NDArray[np.float32], bins: int) -> Shares:
    """Pixels below, in every bin, and above."""
    place = np.floor((stops_of_light(plane) - _FIRST_STOP) * _BINS_PER_STOP + 1e-4)
    index = np.clip(place, -1, bins).astype(np.int64).ravel() + 1
    return np.bincount(index, minlength=bins + 2).astype(np.float64)


def draw_exposure_map(
    exposed_luminance: npt.NDArray[np.float32],
    *,
    title: str,
    subtitle: str = "",
    width: int = _REFERENCE_WIDTH,
) -> Codes:
    """Picture with a colour for every half stop around middle grey, and its scale below.

    Parameters
    ----------
    exposed_luminance : ndarray
        Scene-linear luminance after exposure, before the look, shape (H, W), float32.
    title, subtitle : str
        What it shows.
    width : int
        Width of the map in pixels; larger pictures are reduced by area averaging, small ones are
        shown with a square of whole pixels for each of theirs.

    Returns
    -------
    ndarray
        sRGB codes, uint8, shape (H, W, 3), margins and scale included.

    Notes
    -----
    The map shows light relative to middle grey as it reaches the camera. It is no lighting
    calculation.

    Examples
    --------
    >>> light = np.full((90, 160), 0.18, np.float32)
    >>> draw_exposure_map(light, title="Dusk", width=160).shape[2]
    3
    """
    from PIL import Image, ImageDraw

    light = _sized(exposed_luminance, width)
    stops = stops_of_light(light)
    height, width = stops.shape
    page = _Page(width)
    notes = page.notes(_SCALE_NOTE)
    below = page.of(200) + len(notes) * page.leading
    sheet = Image.new("RGB", (page.width, page.head + height + below), _PAPER)
    draw = ImageDraw.Draw(sheet)
    page.draw_head(draw, title, subtitle)
    sheet.paste(Image.fromarray(stop_colours(stops)), (page.margin, page.head))
    baseline = _draw_scale(draw, page, stops, page.head + height)
    page.draw_notes(draw, notes, baseline)
    return np.asarray(sheet)


def _sized(luminance: npt.NDArray[np.float32], width: int) -> npt.NDArray[np.float32]:
    if luminance.shape[1] <= width:
        times = max(1, width // max(luminance.shape))
        return luminance.repeat(times, axis=0).repeat(times, axis=1)
    height = max(1, round(luminance.shape[0] * width / luminance.shape[1]))
    finite = np.nan_to_num(luminance, nan=0.0, posinf=1e30, neginf=0.0)
    reduced: npt.NDArray[np.float32] = resize_linear(finite[None], width, height, kernel="area")[0]
    return reduced


class _Page:
    """Lengths and lettering of a drawing, from its width."""

    def __init__(self, inner: int) -> None:
        self.inner = max(inner, _NARROWEST)
        self.unit = max(self.inner / _REFERENCE_WIDTH, _SMALLEST_UNIT)
        self.margin = self.of(64)
        self.width = self.inner + 2 * self.margin
        self.head = self.of(150)
        self.title = Lettering("light", self.of(44), _INK)
        self.subtitle = Lettering("regular", self.of(20), _SOFT_INK)
        self.figure = Lettering("regular", self.of(19), _INK)
        self.label = Lettering("regular", self.of(17), _SOFT_INK)
        self.leading = self.of(30)

    def of(self, length: float) -> int:
        """Pixels of a length given for the reference width."""
        return max(1, round(length * self.unit))

    def draw_head(self, draw: ImageDraw.ImageDraw, title: str, subtitle: str) -> None:
        """Set title and subtitle."""
        shown = self.title.fitted(title, self.inner)
        bearing = self.title.font.getbbox(shown, anchor="ls")[0]
        letter(draw, (self.margin - bearing, self.of(86)), shown, self.title)
        below = self.subtitle.fitted(subtitle, self.inner)
        letter(draw, (self.margin, self.of(122)), below, self.subtitle)

    def notes(self, *notes: str) -> list[str]:
        """Break notes into lines, each note on lines of its own."""
        return [line for note in notes for line in self.label.wrapped(note, self.inner, 4)]

    def draw_notes(self, draw: ImageDraw.ImageDraw, lines: Sequence[str], baseline: float) -> None:
        """Set notes below a scale whose figures stand on this baseline."""
        for number, line in enumerate(lines, 1):
            letter(draw, (self.margin, baseline + number * self.leading), line, self.label)


def _draw_scale(
    draw: ImageDraw.ImageDraw, page: _Page, stops: npt.NDArray[np.float32], top: int
) -> float:
    """Draw the scale, and above it the share of the picture in every step; give its baseline."""
    colours = colour_scale()
    edges = np.linspace(DARKEST, BRIGHTEST, len(colours) + 1)
    step = np.clip((np.floor((stops - DARKEST) * STEPS_PER_STOP)), 0, len(colours) - 1)
    shares = np.bincount(step.astype(np.int64).ravel(), minlength=len(colours)) / stops.size
    bars, bar_top = page.of(64), top + page.of(30)
    scale_top, scale_height = bar_top + bars + page.of(6), page.of(26)
    tallest = max(float(shares.max()), 1e-9)
    for number, colour in enumerate(colours):
        left = page.margin + page.inner * number / len(colours)
        right = max(left, page.margin + page.inner * (number + 1) / len(colours) - 1)
        fill = (int(colour[0]), int(colour[1]), int(colour[2]))
        draw.rectangle((left, scale_top, right, scale_top + scale_height), fill=fill)
        high = bars * float(shares[number]) / tallest
        if high >= 1:
            draw.rectangle(
                (left, bar_top + bars - high, max(left, right - page.of(2)), bar_top + bars),
                fill=_AREA,
            )
    baseline = scale_top + scale_height + page.of(28)
    for stop in edges[::STEPS_PER_STOP]:
        x = page.margin + page.inner * (stop - DARKEST) / (BRIGHTEST - DARKEST)
        _set_stop(draw, page, x, baseline, int(stop))
    return baseline


_SCALE_NOTE = "Stops from middle grey (18 %), after exposure and before the look"
_INKS_NOTE = "Area: luminance. Lines: red, green and blue"


def _set_stop(draw: ImageDraw.ImageDraw, page: _Page, x: float, baseline: float, stop: int) -> None:
    text = "grey" if stop == 0 else short_stops(stop)
    at_start, at_end = x <= page.margin + 1, x >= page.margin + page.inner - 1
    style = page.figure if stop == 0 else page.label
    if at_start:
        letter(draw, (x, baseline), text, style)
    elif at_end:
        letter(draw, (x, baseline), text, style, align="right")
    else:
        letter(draw, (x, baseline), text, style, align="centre")


def draw_histogram(
    histogram: Histogram,
    *,
    title: str,
    subtitle: str = "",
    white_stops: float | None = None,
    width: int = _REFERENCE_WIDTH,
) -> Codes:
    """Histogram in stops: luminance as an area, red, green and blue as lines.

    Parameters
    ----------
    histogram : Histogram
        What to draw.
    title, subtitle : str
        What it shows.
    white_stops : float, optional
        Where the look reaches display white, in stops from middle grey; marked, at the edge when
        it lies off the scale.
    width : int
        Width of the plot in pixels.

    Returns
    -------
    ndarray
        sRGB codes, uint8, shape (H, W, 3).

    Examples
    --------
    >>> found = histogram_of(np.full((3, 4, 4), 0.18, np.float32), (0.2126, 0.7152, 0.0722))
    >>> draw_histogram(found, title="Dusk", width=320).shape[2]
    3
    """
    from PIL import Image, ImageDraw

    page = _Page(width)
    plot_height = page.of(360)
    notes = page.notes(f"{_SCALE_NOTE}. {_INKS_NOTE}", _outside_note(histogram))
    below = page.of(98) + len(notes) * page.leading
    sheet = Image.new("RGB", (page.width, page.head + plot_height + below), _PAPER)
    draw = ImageDraw.Draw(sheet)
    page.draw_head(draw, title, subtitle)
    plot = _Plot(page, page.head, page.head + plot_height, histogram)
    for stop in range(_FIRST_STOP, _LAST_STOP + 1):
        x = plot.x(stop)
        strong = stop == 0
        draw.line((x, plot.top, x, plot.bottom), _SOFT_INK if strong else _HAIRLINE, page.of(1))
        if stop % 2 == 0:
            _set_stop(draw, page, x, plot.bottom + page.of(28), stop)
    plot.draw(sheet)
    if white_stops is not None:
        _draw_white(draw, page, plot, white_stops)
    page.draw_notes(draw, notes, plot.bottom + page.of(34))
    return np.asarray(sheet)


def _outside_note(histogram: Histogram) -> str:
    """Say what share of the pixels the scale does not show."""
    below = f"{_share(histogram.below)} below {short_stops(_FIRST_STOP)}"
    above = f"{_share(histogram.above)} above {short_stops(_LAST_STOP)}"
    return f"Luminance off this scale: {below}, {above}"


def _share(share: float) -> str:
    if share == 0:
        return "none"
    return "under 0.1 %" if share < 0.001 else f"{100 * share:.1f} %"


def _draw_white(draw: ImageDraw.ImageDraw, page: _Page, plot: _Plot, white_stops: float) -> None:
    """Mark display white; its name stands on the side that has room."""
    words, edge = "display white", page.margin + page.inner
    baseline, gap = plot.top + page.of(18), page.of(8)
    if white_stops > _LAST_STOP:
        words += f" at {short_stops(white_stops)} \u2192"
        letter(draw, (edge - gap, baseline), words, page.label, align="right", halo=_PAPER)
        return
    x = plot.x(white_stops)
    draw.line((x, plot.top, x, plot.bottom), _INK, page.of(2))
    if x + gap + page.label.width(words) <= edge:
        letter(draw, (x + gap, baseline), words, page.label, halo=_PAPER)
    else:
        letter(draw, (x - gap, baseline), words, page.label, align="right", halo=_PAPER)


class _Plot:
    """The plot's axes, and the curves on it, drawn large and reduced so that lines are smooth."""

    _SMOOTH = 3

    def __init__(self, page: _Page, top: int, bottom: int, histogram: Histogram) -> None:
        self.page, self.top, self.bottom, self.histogram = page, top, bottom, histogram
        curves = np.vstack([histogram.luminance[None], histogram.channels])
        kernel = np.array([1, 2, 3, 2, 1]) / 9
        self.curves = np.stack([np.convolve(curve, kernel, "same") for curve in curves])
        # Lone peaks (a black border, a lamp) must not press the rest flat.
        high = float(np.quantile(self.curves, 0.995)) * 1.6
        self.tallest = max(min(float(self.curves.max()), high), 1e-9)

    def x(self, stop: float) -> float:
        """Pixel column of a stop."""
        span = _LAST_STOP - _FIRST_STOP
        return self.page.margin + self.page.inner * (stop - _FIRST_STOP) / span

    def draw(self, sheet: object) -> None:
        """Draw the area of luminance and the lines of the channels."""
        from PIL import Image, ImageDraw

        assert isinstance(sheet, Image.Image)
        scale = self._SMOOTH
        box = (self.page.margin, self.top, self.page.margin + self.page.inner, self.bottom)
        size = ((box[2] - box[0]) * scale, (box[3] - box[1]) * scale)
        ground = sheet.crop(box).resize(size, Image.Resampling.NEAREST)
        draw = ImageDraw.Draw(ground)
        area = self._points(0, size)
        draw.polygon([(0, size[1]), *area, (size[0], size[1])], fill=_AREA)
        for number, ink in enumerate(_CHANNEL_INKS.values(), 1):
            draw.line(self._points(number, size), fill=ink, width=self.page.of(2.2) * scale,
                      joint="curve")  # fmt: skip
        draw.line((0, size[1] - 1, size[0], size[1] - 1), fill=_SOFT_INK, width=scale)
        reduced = ground.resize((box[2] - box[0], box[3] - box[1]), Image.Resampling.LANCZOS)
        sheet.paste(reduced, box[:2])

    def _points(self, number: int, size: tuple[int, int]) -> list[tuple[float, float]]:
        curve = np.minimum(self.curves[number] / self.tallest, 1.0)
        count = len(curve)
        return [
            (size[0] * (index + 0.5) / count, size[1] * (1 - 0.97 * float(value)))
            for index, value in enumerate(curve)
        ]
