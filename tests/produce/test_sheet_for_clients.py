"""The contact sheet as a client gets it: without figures, with logo, date and round."""

from __future__ import annotations

from pathlib import Path

import imageio.v3 as imageio
import numpy as np
import pytest
from PIL import Image

import evenfall
from evenfall.drawings.logo import read_logo
from evenfall.drawings.sheet import SheetLight
from evenfall.errors import PixelSourceError
from evenfall.produce import sheet

SVG = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 20 10">{}</svg>'
HALVES = SVG.format('<rect width="10" height="10" fill="#0000ff"/>')


def sheet_of(recipe: evenfall.Recipe, *changes: str) -> np.ndarray:
    report = evenfall.open(recipe, changes=changes).run(overwrite=True)
    (sheet,) = (file for file in report.files if not file.mood)
    return imageio.imread(sheet.path)


@pytest.mark.parametrize(("xy", "shown"), [((0.4599, 0.4106), "2700 K"), ((0.4521, 0.2911), "")])
def test_a_neon_sign_has_no_kelvins(
    corner: evenfall.Recipe, xy: tuple[float, float], shown: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """2700 K by CIE 15:2018; a pink of 1815 K, by which a client would think of a candle."""
    drawn = []
    monkeypatch.setattr(sheet, "SheetLight", lambda *said: drawn.append(said) or SheetLight(*said))
    sheet_of(
        corner,
        f"lights.lamp.rendered={{ xy = [{xy[0]}, {xy[1]}] }}",
        "moods.dusk.lights.lamp={ stops = 0 }",
    )
    (dusk,) = (each for each in drawn if each[0] == "lamp" and each[1] == 0)
    assert dusk[2] == shown
    assert dusk[3] is not None


def test_without_figures_there_are_titles_and_nothing_else(corner: evenfall.Recipe) -> None:
    whole = sheet_of(corner)
    bare = sheet_of(corner, "sheet.figures=false")
    assert bare.shape[1] == whole.shape[1]
    assert bare.shape[0] < whole.shape[0]


@pytest.mark.parametrize("change", ['sheet.date="26 November 2026"', 'sheet.round="Round 3"'])
def test_date_and_round_stand_at_the_top_right(corner: evenfall.Recipe, change: str) -> None:
    plain, dated = sheet_of(corner), sheet_of(corner, change)
    assert plain.shape == dated.shape
    rows, columns = np.nonzero((plain != dated).any(axis=2))
    assert rows.max() < plain.shape[0] / 2
    assert columns.min() > plain.shape[1] / 2


def test_pictures_are_never_enlarged(corner: evenfall.Recipe) -> None:
    """The picture of a pass 48 pixels wide stands on the sheet pixel for pixel, but for dither."""
    sheet = sheet_of(corner, "sheet.picture_width=960")[..., 1].astype(int)
    day = imageio.imread(corner.path.parent / "pictures" / "corner_day.png")[..., 1].astype(int)
    places = np.lib.stride_tricks.sliding_window_view(sheet, day.shape)
    rows, columns = np.nonzero(np.abs(places[..., 0, 0] - day[0, 0]) <= 2)
    assert any(
        np.abs(places[row, column] - day).max() <= 2
        for row, column in zip(rows, columns, strict=True)
    )


def test_a_logo_stands_at_the_top_right_and_a_new_one_makes_the_sheet_again(
    corner: evenfall.Recipe,
) -> None:
    path = corner.path.with_name("logo.png")
    Image.new("RGBA", (40, 20), (255, 0, 0, 255)).save(path)
    change = 'project.logo="logo.png"'
    drawn = sheet_of(corner, change).astype(int)
    rows, columns = np.nonzero((drawn[..., 0] > 200) & (drawn[..., 1] < 60))
    assert columns.min() > drawn.shape[1] / 2
    assert rows.max() < drawn.shape[0] / 2
    view = evenfall.open(corner, changes=change)
    kept = {file.mood: file.kept for file in view.run().files}
    assert kept == {"day": True, "dusk": True, "": True}
    Image.new("RGBA", (40, 20), (0, 0, 255, 255)).save(path)
    kept = {file.mood: file.kept for file in view.run(overwrite=True).files}
    assert kept == {"day": True, "dusk": True, "": False}


def test_a_drawn_logo_keeps_its_transparency(tmp_path: Path) -> None:
    path = tmp_path / "logo.svg"
    path.write_text(HALVES, encoding="utf-8")
    pixels = read_logo(path).pixels(40, 20).astype(int)
    assert np.abs(pixels[10, 5] - (0, 0, 255, 255)).max() <= 2
    assert pixels[10, 35, 3] <= 2


def test_a_logo_that_is_none_stops_a_run_before_anything_is_mixed(corner: evenfall.Recipe) -> None:
    corner.path.with_name("logo.png").write_bytes(b"hello")
    with pytest.raises(PixelSourceError, match="neither a PNG nor an SVG"):
        sheet_of(corner, 'project.logo="logo.png"')
    assert not (corner.path.parent / "pictures").exists()


def test_signs_that_cannot_be_shown_are_told(corner: evenfall.Recipe) -> None:
    """The bundled fonts hold Latin, Greek and Cyrillic, and no Arabic."""
    changes = ('project.title="Дом, Αθήνα, Café"', 'sheet.round="\u062f"')
    plain = evenfall.open(corner, changes=changes[:1]).run()
    assert not [note for note in plain.notes if "lack" in note]
    report = evenfall.open(corner, changes=changes).run(overwrite=True)
    [note] = [note for note in report.notes if "lack" in note]
    assert note.endswith("the fonts of sheets lack \u062f; a box stands in their place")
