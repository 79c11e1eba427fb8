"""The contact sheet: all moods side by side, each with its exposure and its lights."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from evenfall.drawings.lettering import Lettering, format_stops, text_height
from evenfall.drawings.logo import Logo
from evenfall.drawings.page import (
    FAINT_INK,
    HAIRLINE,
    INK,
    PAPER,
    SOFT_INK,
    Page,
    scaled_unit,
)
from evenfall.drawings.sheet_contents import SheetLight, SheetMood, SheetText
from evenfall.light.primaries import BT709, rgb_to_xyz, xy_to_xyz
from evenfall.light.transfer import encode_srgb

__all__ = ["SheetLight", "SheetMood", "SheetText", "draw_sheet", "picture_size", "swatch"]

_GAINS_EXPLAINED = "Gains in stops from each light as it was rendered"
_MOST_LIGHTS = 12
_TRACK_STOPS = (5.0, 10.0)  # from the middle of the gain tracks to their end: usual, most
_REFERENCE_WIDTH = 960  # picture width at which lengths below are pixels
_SMALLEST_UNIT = 0.4  # below it the lettering is too small to read

Codes = npt.NDArray[np.uint8]
Rgb8 = tuple[int, int, int]


def swatch(xy: tuple[float, float]) -> Rgb8:
    """Colour of light with a chromaticity, as bright as sRGB can show it, as sRGB codes.

    Parameters
    ----------
    xy : tuple of float
        CIE 1931 chromaticity; outside sRGB it is desaturated to the nearest edge.

    Examples
    --------
    >>> swatch((0.3127, 0.3290)), swatch((0.4599, 0.4106))  # D65; a lamp of 2700 K
    ((255, 255, 255), (255, 172, 89))
    """
    linear = np.linalg.solve(rgb_to_xyz(BT709), xy_to_xyz(xy))
    linear = np.maximum(linear, 0.0) / linear.max()
    red, green, blue = (round(float(code)) for code in encode_srgb(linear) * 255)
    return red, green, blue


def picture_size(width: int, height: int, picture_width: int) -> tuple[int, int]:
    """Size of a picture on the sheet: as wide as asked, upright ones as high as that.

    Examples
    --------
    >>> picture_size(3840, 2160, 960), picture_size(2160, 3840, 960)
    ((960, 540), (540, 960))
    """
    longest = max(width, height)
    return (
        max(1, round(picture_width * width / longest)),
        max(1, round(picture_width * height / longest)),
    )


def draw_sheet(
    moods: Sequence[SheetMood],
    text: SheetText,
    *,
    columns: int | None = None,
    picture_width: int = _REFERENCE_WIDTH,
    logo: Logo | None = None,
) -> Codes:
    """Contact sheet as sRGB codes, uint8, shape (H, W, 3).

    Parameters
    ----------
    moods : sequence of SheetMood
        At least one.
    text : SheetText
        Head and foot.
    columns : int, optional
        Pictures in a row; chosen by their number and shape otherwise.
    picture_width : int
        Width (of upright pictures the height) that the pictures were made for; all other lengths
        follow from it.
    logo : Logo, optional
        The studio's; stands at the top right.

    Examples
    --------
    >>> grey = np.full((90, 160, 3), 118, np.uint8)
    >>> draw_sheet([SheetMood("Dusk", grey)], SheetText("Villa"), picture_width=160).shape[2]
    3
    """
    layout = _Layout(moods, text, columns, picture_width)
    _draw_head(layout, text, logo)
    for row, top, height in zip(layout.rows, layout.row_tops, layout.row_heights, strict=True):
        if row[0].heading:
            heading = layout.heading.fitted(row[0].heading, layout.inner)
            layout.set_flush((layout.margin, top - layout.of(34)), heading, layout.heading)
        for column, mood in enumerate(row):
            left = layout.margin + column * (layout.cell + layout.gutter)
            _draw_mood(layout, mood, left, top, height)
    _draw_foot(layout, text)
    return layout.codes()


class _Layout(Page):
    """The page, and all lengths of a sheet in pixels, from the width of its pictures."""

    def __init__(
        self, moods: Sequence[SheetMood], text: SheetText, columns: int | None, picture_width: int
    ) -> None:
        unit = scaled_unit(picture_width, reference=_REFERENCE_WIDTH, smallest=_SMALLEST_UNIT)
        self.gutter = max(1, round(64 * unit))
        self.cell = max(mood.picture.shape[1] for mood in moods)
        views = _by_heading(moods)
        self.columns = min(columns or max(map(_columns, views)), max(map(len, views)))
        self.rows = [
            view[start : start + self.columns]
            for view in views
            for start in range(0, len(view), self.columns)
        ]
        inner = self.columns * self.cell + (self.columns - 1) * self.gutter
        super().__init__(inner, unit, margin=104, narrowest=1)
        self.row_height = self.of(44)
        self.subtitle = Lettering("regular", self.of(28), SOFT_INK)
        self.heading = Lettering("light", self.of(52), INK)
        self.mood = Lettering("medium", self.of(34), INK)
        self.setting = Lettering("regular", self.of(24), SOFT_INK)
        self.light = Lettering("regular", self.of(24), INK)
        self.silent = Lettering("regular", self.of(24), FAINT_INK)
        self.small = Lettering("regular", self.of(21), SOFT_INK)
        self.track_stops = _track_stops(moods)
        self._set_title(text.title)
        self._place_rows()
        explained = _GAINS_EXPLAINED if any(mood.lights for mood in moods) else ""
        self.note = "   \u00b7   ".join(part for part in (text.note, explained) if part)
        has_foot = any((text.author, text.copyright, self.note))
        height = self.foot + self.margin + (self.of(14) if has_foot else -self.of(40))
        self.begin(height - self.head)

    def _set_title(self, title: str) -> None:
        """One large line, or two smaller ones."""
        self.title = Lettering("light", self.of(76), INK)
        room = self.inner * 0.86
        self.title_lines = [title]
        if self.title.width(title) > room:
            self.title = Lettering("light", self.of(56), INK)
            self.title_lines = self.title.wrapped(title, room, 2)
        self.title_leading = self.of(66)
        self.head = self.of(60) + (len(self.title_lines) - 1) * self.title_leading + self.of(150)

    def _place_rows(self) -> None:
        top = self.margin + self.head
        self.row_tops, self.row_heights = list[int](), list[int]()
        for row in self.rows:
            top += self.of(96) if row[0].heading else 0
            picture = max(mood.picture.shape[0] for mood in row)
            self.row_tops.append(top)
            self.row_heights.append(picture)
            top += picture + max(self.caption_height(mood) for mood in row) + self.of(72)
        self.foot = top + self.of(12)

    def caption_height(self, mood: SheetMood) -> int:
        """Height of what stands under a picture."""
        lines = min(len(mood.lights), _MOST_LIGHTS) + (len(mood.lights) > _MOST_LIGHTS)
        settings = len(self.setting_lines(mood)) * self.of(36)
        return self.of(74) + settings + (self.of(26) + lines * self.row_height if lines else 0)

    def setting_lines(self, mood: SheetMood) -> list[str]:
        """Set settings on one line if there is room, on as many as needed otherwise."""
        lines: list[str] = []
        for setting in mood.settings:
            joined = f"{lines[-1]}   \u00b7   {setting}" if lines else setting
            if lines and self.setting.width(joined) <= self.cell:
                lines[-1] = joined
            else:
                lines.append(self.setting.fitted(setting, self.cell))
        return lines


def _by_heading(moods: Sequence[SheetMood]) -> list[list[SheetMood]]:
    """Give the moods of each view; all together where there are no headings."""
    views: list[list[SheetMood]] = []
    for mood in moods:
        if mood.heading or not views:
            views.append([])
        views[-1].append(mood)
    return views


def _track_stops(moods: Sequence[SheetMood]) -> float:
    """Give the stops to the end of the tracks, the same for the whole sheet to compare them."""
    gains = [abs(light.stops) for mood in moods for light in mood.lights if light.stops is not None]
    usual, most = _TRACK_STOPS
    return min(max([usual, *gains]), most)


def _columns(moods: Sequence[SheetMood]) -> int:
    """Rows that fill up, and a sheet that is wider than high."""
    upright = all(mood.picture.shape[0] > mood.picture.shape[1] for mood in moods)
    most = 5 if upright else 3
    if len(moods) <= most:
        return 2 if len(moods) == 4 and not upright else len(moods)
    rows = -(-len(moods) // (most if len(moods) <= 9 or upright else 4))
    return -(-len(moods) // rows)


def _draw_head(layout: _Layout, text: SheetText, logo: Logo | None) -> None:
    left, right = layout.margin, layout.width - layout.margin
    baseline = layout.margin + layout.of(60)
    for number, line in enumerate(layout.title_lines):
        at = baseline + number * layout.title_leading
        layout.set_flush((left, at), line, layout.title)
    baseline += (len(layout.title_lines) - 1) * layout.title_leading
    view = layout.subtitle.fitted(text.view, layout.inner * 0.6)
    layout.set((left, baseline + layout.of(58)), view, layout.subtitle)
    when = "   \u00b7   ".join(part for part in (text.round, text.date) if part)
    when = layout.subtitle.fitted(when, layout.inner * 0.36)
    layout.set((right, baseline + layout.of(58)), when, layout.subtitle, align="right")
    if logo is not None:
        _draw_logo(layout, logo, right, layout.margin + layout.of(8))


def _draw_logo(layout: _Layout, logo: Logo, right: int, top: int) -> None:
    from PIL import Image

    height = layout.of(64)
    width = max(1, round(height * logo.aspect))
    widest = max(1, layout.inner // 4)
    if width > widest:
        width, height = widest, max(1, round(widest / logo.aspect))
    drawn = Image.fromarray(logo.pixels(width, height), "RGBA")
    layout.image.paste(drawn, (right - width, top), drawn)


def _draw_mood(layout: _Layout, mood: SheetMood, left: int, top: int, row_height: int) -> None:
    height = mood.picture.shape[0]
    layout.paste(np.ascontiguousarray(mood.picture), left, top + row_height - height)
    baseline = top + row_height + layout.of(58)
    layout.set((left, baseline), layout.mood.fitted(mood.title, layout.cell), layout.mood)
    for line in layout.setting_lines(mood):
        baseline += layout.of(36)
        layout.set((left, baseline), line, layout.setting)
    if mood.lights:
        _draw_lights(layout, mood.lights, left, baseline + layout.of(26))


def _draw_lights(
    layout: _Layout,
    lights: Sequence[SheetLight],
    left: int,
    top: int,
) -> None:
    shown = lights[:_MOST_LIGHTS]
    for number, light in enumerate(shown):
        y = top + number * layout.row_height
        layout.draw.line((left, y, left + layout.cell - 1, y), HAIRLINE, layout.of(1.5))
        _draw_light(layout, light, left, y)
    if len(lights) > len(shown):
        y = top + len(shown) * layout.row_height
        layout.draw.line((left, y, left + layout.cell - 1, y), HAIRLINE, layout.of(1.5))
        more = f"and {len(lights) - len(shown)} more"
        layout.set((left, _baseline(layout, y)), more, layout.silent)


def _baseline(layout: _Layout, top: float) -> float:
    """Baseline of text in the middle of a row."""
    return top + (layout.row_height + text_height(layout.light)) / 2


def _draw_light(layout: _Layout, light: SheetLight, left: int, top: int) -> None:
    """Name, a track with a dot at its gain, the gain in stops, the tint."""
    style = layout.silent if light.stops is None else layout.light
    baseline, right = _baseline(layout, top), left + layout.cell
    tint_width = min(layout.of(170), round(layout.cell / 3))
    stops_width = layout.of(96)
    layout.set((right, baseline), style.fitted(light.tint, tint_width), style, align="right")
    gain = "off" if light.stops is None else format_stops(light.stops)
    layout.set((right - tint_width, baseline), gain, style, align="right")
    name_width = layout.cell - tint_width - stops_width - layout.of(12)
    track_width = layout.of(230)
    if name_width - track_width > layout.of(200):
        name_width -= track_width
        end = right - tint_width - stops_width
        start = end - track_width + layout.of(36)
        _draw_track(layout, light, start, end, top + layout.row_height / 2)
    name = style.fitted(light.name, name_width)
    layout.set((left, baseline), name, style)
    beside = style.width(name) + layout.of(14)
    if layout.silent.width(light.counted) <= name_width - beside:
        layout.set((left + beside, baseline), light.counted, layout.silent)


def _draw_track(
    layout: _Layout,
    light: SheetLight,
    start: float,
    end: float,
    middle: float,
) -> None:
    """Draw a level line, a tick at "as rendered", a dot in the light's colour at its gain."""
    thin = layout.of(2)
    centre = (start + end) / 2
    layout.draw.line((start, middle, end, middle), HAIRLINE, thin)
    layout.draw.line((centre, middle - layout.of(7), centre, middle + layout.of(7)), HAIRLINE, thin)
    if light.stops is None:
        return
    share = min(max(light.stops / layout.track_stops, -1.0), 1.0)
    at, radius = centre + share * (end - start) / 2, layout.of(9)
    fill = light.swatch or (205, 203, 199)
    layout.disc(at, middle, radius + layout.of(2), PAPER)
    layout.disc(at, middle, radius, fill, outline=SOFT_INK, width=layout.of(1.5))


def _draw_foot(layout: _Layout, text: SheetText) -> None:
    baseline = layout.foot + layout.of(34)
    rights = [part for part in (text.author, text.copyright) if part]
    said = "   \u00b7   ".join(rights)
    right = layout.small.fitted(said, layout.inner * 0.5)
    room = layout.inner - layout.small.width(right) - layout.of(40)
    note = layout.small.fitted(layout.note, room)
    layout.set((layout.margin, baseline), note, layout.small)
    layout.set((layout.width - layout.margin, baseline), right, layout.small, align="right")
