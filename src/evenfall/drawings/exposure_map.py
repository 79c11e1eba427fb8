"""Pictures of exposure: where the light of a mood lies in stops around middle grey."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from evenfall.deliver.resize import resize_linear
from evenfall.drawings.lettering import short_stops
from evenfall.drawings.page import AREA, HAIRLINE, INK, PAPER, REFERENCE_WIDTH, SOFT_INK, Page
from evenfall.drawings.stop_scale import (
    BRIGHTEST,
    DARKEST,
    FIRST_STOP,
    LAST_STOP,
    STEPS_PER_STOP,
    along,
    colour_scale,
    stop_colours,
    stops_of_light,
)

__all__ = ["Histogram", "draw_exposure_map", "draw_histogram", "histogram_of"]

_CHANNEL_INKS = {"R": "#b4433c", "G": "#3f8f55", "B": "#3c62b4"}
_BINS_PER_STOP = 12

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
    bins = (LAST_STOP - FIRST_STOP) * _BINS_PER_STOP
    weights = np.asarray(luminance_weights, np.float32)
    luminance = np.tensordot(weights, exposed, axes=1)
    counts = [_counts(plane, bins) for plane in (luminance, *exposed)]
    pixels = luminance.size
    return Histogram(
        edges=np.linspace(FIRST_STOP, LAST_STOP, bins + 1),
        luminance=counts[0][1:-1] / pixels,
        channels=np.stack([count[1:-1] / pixels for count in counts[1:]]),
        below=float(counts[0][0] / pixels),
        above=float(counts[0][-1] / pixels),
    )


def _counts(plane: npt.NDArray[np.float32], bins: int) -> Shares:
    """Pixels below, in every bin, and above."""
    place = np.floor((stops_of_light(plane) - FIRST_STOP) * _BINS_PER_STOP + 1e-4)
    index = np.clip(place, -1, bins).astype(np.int64).ravel() + 1
    return np.bincount(index, minlength=bins + 2).astype(np.float64)


def draw_exposure_map(
    exposed_luminance: npt.NDArray[np.float32],
    *,
    title: str,
    subtitle: str = "",
    width: int = REFERENCE_WIDTH,
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
    light = _sized(exposed_luminance, width)
    stops = stops_of_light(light)
    height, width = stops.shape
    page = Page(width)
    off = _off_scale(float(np.mean(stops < DARKEST)), float(np.mean(stops >= BRIGHTEST)),
                     DARKEST, BRIGHTEST)  # fmt: skip
    notes = page.notes(_SCALE_NOTE, off)
    page.begin(height + page.of(200) + len(notes) * page.leading)
    page.draw_head(title, subtitle)
    page.paste(stop_colours(stops), page.margin, page.head)
    baseline = _draw_scale(page, stops, page.head + height)
    page.draw_notes(notes, baseline)
    return page.codes()


def _sized(luminance: npt.NDArray[np.float32], width: int) -> npt.NDArray[np.float32]:
    if luminance.shape[1] <= width:
        times = max(1, width // max(luminance.shape))
        return luminance.repeat(times, axis=0).repeat(times, axis=1)
    height = max(1, round(luminance.shape[0] * width / luminance.shape[1]))
    finite = np.nan_to_num(luminance, nan=0.0, posinf=1e30, neginf=0.0)
    reduced: npt.NDArray[np.float32] = resize_linear(finite[None], width, height, kernel="area")[0]
    return reduced


def _draw_scale(page: Page, stops: npt.NDArray[np.float32], top: int) -> float:
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
        page.draw.rectangle((left, scale_top, right, scale_top + scale_height), fill=fill)
        high = bars * float(shares[number]) / tallest
        if high >= 1:
            page.draw.rectangle(
                (left, bar_top + bars - high, max(left, right - page.of(2)), bar_top + bars),
                fill=AREA,
            )
    baseline = scale_top + scale_height + page.of(28)
    for stop in edges[::STEPS_PER_STOP]:
        x = page.margin + page.inner * (stop - DARKEST) / (BRIGHTEST - DARKEST)
        _set_stop(page, x, baseline, int(stop))
    return baseline


_SCALE_NOTE = "Stops from middle grey (18 %), after exposure and before the look"
_INKS_NOTE = "Area: luminance. Lines: red, green and blue"


def _set_stop(page: Page, x: float, baseline: float, stop: int) -> None:
    text = "grey" if stop == 0 else short_stops(stop)
    at_start, at_end = x <= page.margin + 1, x >= page.margin + page.inner - 1
    style = page.figure if stop == 0 else page.label
    page.set(
        (x, baseline), text, style, align="left" if at_start else "right" if at_end else "centre"
    )


def draw_histogram(
    histogram: Histogram,
    *,
    title: str,
    subtitle: str = "",
    white_stops: float | None = None,
    width: int = REFERENCE_WIDTH,
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
    page = Page(width)
    plot_height = page.of(360)
    off = _off_scale(histogram.below, histogram.above, FIRST_STOP, LAST_STOP)
    notes = page.notes(f"{_SCALE_NOTE}. {_INKS_NOTE}", off)
    page.begin(plot_height + page.of(98) + len(notes) * page.leading)
    page.draw_head(title, subtitle)
    plot = _Plot(page, page.head, page.head + plot_height, histogram)
    for stop in range(FIRST_STOP, LAST_STOP + 1):
        x = plot.x(stop)
        strong = stop == 0
        ink = SOFT_INK if strong else HAIRLINE
        page.draw.line((x, plot.top, x, plot.bottom), ink, page.of(1))
        if stop % 2 == 0:
            _set_stop(page, x, plot.bottom + page.of(28), stop)
    plot.draw()
    if white_stops is not None:
        _draw_white(page, plot, white_stops)
    page.draw_notes(notes, plot.bottom + page.of(34))
    return page.codes()


def _off_scale(below: float, above: float, first: float, last: float) -> str:
    """Say what shares of the pixels the scale does not show."""
    return (
        f"Luminance off this scale: {_share(below)} below {short_stops(first)}, "
        f"{_share(above)} above {short_stops(last)}"
    )


def _share(share: float) -> str:
    if share == 0:
        return "none"
    return "under 0.1 %" if share < 0.001 else f"{100 * share:.1f} %"


def _draw_white(page: Page, plot: _Plot, white_stops: float) -> None:
    """Mark display white; its name stands on the side that has room."""
    words, edge = "display white", page.right
    baseline, gap = plot.top + page.of(18), page.of(8)
    if white_stops > LAST_STOP:
        words += f" at {short_stops(white_stops)} \u2192"
        page.set((edge - gap, baseline), words, page.label, align="right", halo=PAPER)
        return
    x = plot.x(white_stops)
    page.draw.line((x, plot.top, x, plot.bottom), INK, page.of(2))
    if x + gap + page.label.width(words) <= edge:
        page.set((x + gap, baseline), words, page.label, halo=PAPER)
    else:
        page.set((x - gap, baseline), words, page.label, align="right", halo=PAPER)


class _Plot:
    """The plot's axes, and the curves on it, drawn large and reduced so that lines are smooth."""

    _SMOOTH = 3

    def __init__(self, page: Page, top: int, bottom: int, histogram: Histogram) -> None:
        self.page, self.top, self.bottom, self.histogram = page, top, bottom, histogram
        curves = np.vstack([histogram.luminance[None], histogram.channels])
        kernel = np.array([1, 2, 3, 2, 1]) / 9
        self.curves = np.stack([np.convolve(curve, kernel, "same") for curve in curves])
        # Lone peaks (a black border, a lamp) must not press the rest flat.
        high = float(np.quantile(self.curves, 0.995)) * 1.6
        self.tallest = max(min(float(self.curves.max()), high), 1e-9)

    def x(self, stop: float) -> float:
        """Pixel column of a stop."""
        return along(stop, self.page.margin, self.page.right)

    def draw(self) -> None:
        """Draw the area of luminance and the lines of the channels."""
        from PIL import Image, ImageDraw

        scale = self._SMOOTH
        box = (self.page.margin, self.top, self.page.right, self.bottom)
        size = ((box[2] - box[0]) * scale, (box[3] - box[1]) * scale)
        ground = self.page.image.crop(box).resize(size, Image.Resampling.NEAREST)
        draw = ImageDraw.Draw(ground)
        area = self._points(0, size)
        draw.polygon([(0, size[1]), *area, (size[0], size[1])], fill=AREA)
        for number, ink in enumerate(_CHANNEL_INKS.values(), 1):
            draw.line(self._points(number, size), fill=ink, width=self.page.of(2.2) * scale,
                      joint="curve")  # fmt: skip
        draw.line((0, size[1] - 1, size[0], size[1] - 1), fill=SOFT_INK, width=scale)
        reduced = ground.resize((box[2] - box[0], box[3] - box[1]), Image.Resampling.LANCZOS)
        self.page.paste(reduced, *box[:2])

    def _points(self, number: int, size: tuple[int, int]) -> list[tuple[float, float]]:
        curve = np.minimum(self.curves[number] / self.tallest, 1.0)
        count = len(curve)
        return [
            (size[0] * (index + 0.5) / count, size[1] * (1 - 0.97 * float(value)))
            for index, value in enumerate(curve)
        ]
