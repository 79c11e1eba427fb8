"""The contact sheet: pictures untouched, type inside its place, any number and shape of moods."""

from __future__ import annotations

import ctypes

import numpy as np
import pytest
from PIL import ImageFont, features

from evenfall.drawings import lettering
from evenfall.drawings.lettering import Lettering, format_stops, short_stops
from evenfall.drawings.sheet import (
    SheetLight,
    SheetMood,
    SheetText,
    draw_sheet,
    picture_size,
    swatch,
)
from evenfall.errors import OutputError

# dlerror of glibc 2.36: elf/dl-load.c, open_verify and _dl_map_object
NOT_THERE = "libfribidi.so.0: cannot open shared object file: No such file or directory"
NOT_READ = "/lib/libfribidi.so.0: cannot read file data: Input/output error"

PAPER = (0xF3, 0xF2, 0xEF)
LIGHTS = (
    SheetLight("sun", None),
    SheetLight("pendants over the long table by the window", 4 / 3, "2700 K", (255, 172, 89)),
    SheetLight("sky", -9.0, "12000 K", (196, 216, 255)),
)
LONG = "A very long name that somebody wrote late at night before the delivery " * 4


def moods(number: int, width: int = 320, height: int = 180, **more) -> list[SheetMood]:
    rng = np.random.default_rng(number)
    return [
        SheetMood(
            f"Mood {index}", rng.integers(0, 256, (height, width, 3), np.uint8),
            ("Exposure +1.3", "EV100 8"), more.get("lights", LIGHTS),
        )
        for index in range(number)
    ]  # fmt: skip


def found_at(sheet: np.ndarray, picture: np.ndarray) -> tuple[int, int] | None:
    height, width = picture.shape[:2]
    corner = np.all(sheet[: -height + 1, : -width + 1] == picture[0, 0], axis=2)
    for row, column in np.argwhere(corner):
        if np.array_equal(sheet[row : row + height, column : column + width], picture):
            return int(row), int(column)
    return None


@pytest.mark.parametrize(
    ("number", "columns", "shape"),
    [(1, 1, (320, 180)), (2, 2, (320, 180)), (3, 3, (320, 180)), (4, 2, (320, 180)),
     (5, 3, (320, 180)), (6, 3, (320, 180)), (8, 3, (320, 180)), (3, 3, (180, 320)),
     (5, 5, (180, 320)), (7, 4, (180, 320))],
)  # fmt: skip
def test_pictures_stand_side_by_side_pixel_for_pixel(number, columns, shape) -> None:
    shown = moods(number, *shape)
    sheet = draw_sheet(shown, SheetText("Villa"), picture_width=320)
    places = [found_at(sheet, mood.picture) for mood in shown]
    assert None not in places
    tops = [place[0] for place in places]
    assert all(top == tops[0] for top in tops[:columns])
    assert all(top > tops[0] for top in tops[columns:])
    lefts = [place[1] for place in places]
    assert lefts[:columns] == sorted(set(lefts[:columns]))


def test_type_keeps_clear_of_the_margins() -> None:
    text = SheetText(LONG, LONG, LONG, LONG, LONG, LONG)
    lights = tuple(SheetLight(LONG, 1.0, LONG) for _ in range(20))
    shown = [
        SheetMood(LONG, mood.picture, (LONG, LONG), lights) for mood in moods(3, lights=lights)
    ]
    sheet = draw_sheet(shown, text, picture_width=320)
    inked = np.any(sheet != PAPER, axis=2)
    margin = round(104 * 320 / 960)
    rows, columns = np.flatnonzero(inked.any(axis=1)), np.flatnonzero(inked.any(axis=0))
    assert columns.min() >= margin - 1
    assert columns.max() <= sheet.shape[1] - margin
    assert rows.min() >= 10
    assert rows.max() <= sheet.shape[0] - 10
    top, left = found_at(sheet, shown[0].picture)
    gutter = inked[top:-60, left + 321 : left + 320 + round(64 / 3) - 1]  # foot is below
    assert gutter.shape[0] > 300
    assert not gutter.any()


def test_a_light_that_is_off_is_faint_and_a_lit_one_has_its_colour() -> None:
    picture = np.full((540, 960, 3), 90, np.uint8)
    mood = SheetMood("Dusk", picture, (), (SheetLight("lamp", 2.0, "2700 K", (255, 172, 89)),))
    lit = draw_sheet([mood], SheetText("Villa"))
    assert np.all(lit == (255, 172, 89), axis=2).sum() > 100
    mood = SheetMood("Dusk", picture, (), (SheetLight("lamp", None, "2700 K", (255, 172, 89)),))
    off = draw_sheet([mood], SheetText("Villa"))
    assert not np.all(off == (255, 172, 89), axis=2).any()


def test_the_same_sheet_every_time_and_of_any_size() -> None:
    text = SheetText("Villa", "Kitchen", "25 November 2026")
    np.testing.assert_array_equal(draw_sheet(moods(3), text), draw_sheet(moods(3), text))
    small = draw_sheet(moods(3, 480, 270), SheetText("Villa"), picture_width=480)
    large = draw_sheet(moods(3, 960, 540), SheetText("Villa"), picture_width=960)
    assert large.shape[1] / small.shape[1] == pytest.approx(2, abs=0.01)
    assert draw_sheet(moods(2, lights=()), SheetText("")).ndim == 3
    assert draw_sheet(moods(6), text, columns=2).shape[0] > draw_sheet(moods(6), text).shape[0]


def test_lettering_of_small_sheets_stays_readable() -> None:
    """Lines of lights keep the height that 10 pixels of type need, whatever the pictures."""
    heights = []
    for lights in (LIGHTS, LIGHTS[:2]):
        shown = [SheetMood("Dusk", np.zeros((90, 160, 3), np.uint8), (), lights)]
        heights.append(draw_sheet(shown, SheetText("Villa"), picture_width=160).shape[0])
    assert heights[0] - heights[1] >= 16


def test_picture_sizes() -> None:
    assert picture_size(7680, 4320, 960) == (960, 540)
    assert picture_size(1000, 2000, 960) == (480, 960)
    assert picture_size(10000, 1, 960) == (960, 1)


@pytest.mark.parametrize(
    ("stops", "text"),
    # Digital meters show hundredths; the minus is that of type (U+2212), not a hyphen.
    [(0, "0.00"), (1, "+1.00"), (-2, "\u22122.00"), (1 / 3, "+0.33"), (-2 / 3, "\u22120.67"),
     (2.484, "+2.48"), (10, "+10.00"), (-0.001, "0.00"), (2.999, "+3.00")],
)  # fmt: skip
def test_stops_are_written_to_a_hundredth(stops: float, text: str) -> None:
    assert format_stops(stops) == text


@pytest.mark.parametrize(
    ("stops", "text"), [(0, "0"), (-12, "\u221212"), (7.5, "+7.5"), (1.25, "+1.25"), (10, "+10")]
)
def test_marks_of_a_scale_have_no_zeros_at_the_end(stops: float, text: str) -> None:
    assert short_stops(stops) == text


def dots(sheet: np.ndarray) -> np.ndarray:
    return np.flatnonzero(np.all(sheet == (255, 172, 89), axis=2).any(axis=0))


def test_gains_beyond_the_usual_track_still_differ() -> None:
    """At -5 and -8 stops the dots stand apart, and on one sheet all tracks have one scale."""
    picture = np.full((540, 960, 3), 90, np.uint8)
    places = []
    for stops in (-5.0, -8.0):
        light = SheetLight("sky", stops, "", (255, 172, 89))
        beside = SheetLight("sun", -8.0)
        mood = SheetMood("Night", picture, (), (light, beside))
        places.append(dots(draw_sheet([mood], SheetText("Villa"))).mean())
    assert places[1] < places[0] - 20


def test_text_is_wrapped_and_shortened() -> None:
    style = Lettering("regular", 24, "black")
    lines = style.wrapped("morning light over the lake and the hills behind", 200, 2)
    assert len(lines) == 2
    assert all(style.width(line) <= 200 for line in lines)
    assert lines[-1].endswith("\u2026")
    assert style.wrapped("dusk", 200, 2) == ["dusk"]
    assert style.fitted("x" * 400, 100).endswith("\u2026")


def test_swatches_follow_the_colour_of_lamps() -> None:
    """CIE 15:2018: illuminant A is far redder than D65, which is white in sRGB."""
    assert swatch((0.3127, 0.3290)) == (255, 255, 255)
    red, green, blue = swatch((0.44758, 0.40745))
    assert red == 255 > green > blue > 60
    cool = swatch((0.2788, 0.2920))  # daylight of 10,000 K
    assert cool[2] == 255 > cool[0]


@pytest.mark.parametrize("then", [NOT_READ, None], ids=["fails again", "is there after all"])
def test_a_library_that_failed_once_never_makes_another_sheet(then, monkeypatch) -> None:
    monkeypatch.setattr(features, "check_feature", lambda _: False)
    monkeypatch.setattr(ctypes, "CDLL", lambda _: refuse(then))
    with pytest.raises(OutputError, match=r"cannot be lettered: .*libfribidi.*; run again"):
        lettering._engine()


def test_without_the_library_letters_stand_side_by_side(monkeypatch) -> None:
    monkeypatch.setattr(features, "check_feature", lambda _: False)
    monkeypatch.setattr(ctypes, "CDLL", lambda _: refuse(NOT_THERE))
    assert lettering._engine() is ImageFont.Layout.BASIC


def test_where_pillow_was_built_without_the_library_letters_stand_side_by_side(monkeypatch) -> None:
    monkeypatch.setattr(features, "check_feature", lambda _: False)
    monkeypatch.setattr(ctypes, "CDLL", lambda _: None)
    monkeypatch.setattr(lettering, "_SETTING_LIBRARY", "libnothing.so.0")  # which it does not name
    assert lettering._engine() is ImageFont.Layout.BASIC


def refuse(said: str | None) -> None:
    if said is not None:
        raise OSError(said)
