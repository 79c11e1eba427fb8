"""Boards, read by another PDF library: pages, text, fonts, pictures with their profiles."""

from __future__ import annotations

import datetime
import io
import struct
import zlib
from pathlib import Path

import pytest
from click.testing import CliRunner
from PIL import Image, ImageCms
from pypdf import PdfReader

import evenfall
from evenfall.cli.main import main
from evenfall.drawings.board import PAPER_SIZES
from evenfall.drawings.logo import read_logo
from evenfall.errors import PixelSourceError

DAY = datetime.date(2026, 11, 26)
SVG = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 30 10">{}</svg>'


def read(data: bytes) -> PdfReader:
    return PdfReader(io.BytesIO(data), strict=True)


def fonts_of(reader: PdfReader) -> dict[str, bool]:
    """Fonts, and whether their programs are in the file as TrueType outlines."""
    found = {}
    for page in reader.pages:
        for font in page["/Resources"]["/Font"].values():
            (inner,) = font.get_object()["/DescendantFonts"].get_object()
            described = inner.get_object()["/FontDescriptor"].get_object()
            program = described["/FontFile2"].get_object().get_data()
            found[str(font.get_object()["/BaseFont"])] = program[:4] == b"\0\1\0\0"
    return found


@pytest.mark.parametrize("size", PAPER_SIZES)
@pytest.mark.parametrize("upright", [False, True])
def test_pages_are_of_the_size_of_paper(corner: evenfall.Recipe, size: str, upright: bool) -> None:
    """ISO 216 in millimetres, 72 points to 25.4 mm."""
    expected = {"A4": (297, 210), "A3": (420, 297), "A2": (594, 420), "A1": (841, 594)}[size]
    board = evenfall.open(corner).board(size=size, upright=upright, date=DAY)
    for page in read(board.data).pages:
        sides = [float(side) * 25.4 / 72 for side in page.mediabox[2:]]
        assert sides == pytest.approx(expected[::-1] if upright else expected, abs=0.1)


def test_text_is_text_and_fonts_are_inside(corner: evenfall.Recipe) -> None:
    view = evenfall.open(
        corner,
        changes=[
            'project.title="House at Veldmere"',
            'project.view="Kitchen, ½ stop"',
            'project.studio="Studio Halden"',
        ],
    )
    reader = read(view.board(mark="DRAFT", date=DAY).data)
    texts = [page.extract_text() for page in reader.pages]
    assert len(texts) == 3  # both moods, day, dusk
    assert "Kitchen, ½ stop" in texts[0]
    assert all("DRAFT" in text and f"{n} / 3" in text for n, text in enumerate(texts, 1))
    assert all("26 November 2026" in text and "Studio Halden" in text for text in texts)
    fonts = fonts_of(reader)
    assert len(fonts) == 2
    assert all(fonts.values())
    assert reader.metadata.title == "House at Veldmere, Kitchen, ½ stop"


def test_pictures_are_what_a_run_encodes_and_carry_their_profile(corner: evenfall.Recipe) -> None:
    view = evenfall.open(corner)
    (page,) = read(view.board("dusk", date=DAY).data).pages
    (image,) = page["/Resources"]["/XObject"].values()
    picture = image.get_object()
    kind, stream = picture["/ColorSpace"]
    assert kind == "/ICCBased"
    profile = ImageCms.ImageCmsProfile(io.BytesIO(stream.get_object().get_data()))
    assert "sRGB" in ImageCms.getProfileDescription(profile)
    decoded = Image.open(io.BytesIO(picture.get_data())).convert("RGB")
    assert decoded.size == view.size  # never enlarged
    expected = view.develop("dusk").encoded() * 255
    worst = abs(expected - __import__("numpy").asarray(decoded, float)).max()
    assert worst < 12  # JPEG at quality 95


def test_more_pixels_than_300_dpi_are_brought_down(tmp_path: Path) -> None:
    from evenfall.develop.example import example_recipe

    wide = evenfall.open(example_recipe(tmp_path, width=6000, height=16))
    board = wide.board("dusk", size="A4", date=DAY)
    (image,) = read(board.data).pages[0]["/Resources"]["/XObject"].values()
    inches = (297 - 2 * 16 * (297 / 420) ** 0.75) / 25.4  # the page without its margins
    assert image.get_object()["/Width"] == pytest.approx(300 * inches, abs=1)
    assert not board.notes


def test_low_resolution_is_told(corner: evenfall.Recipe) -> None:
    notes = evenfall.open(corner).board("dusk", size="A3", date=DAY).notes
    assert notes[0].startswith("dusk: 48 pixels on 340 mm are 4 dpi; 300 dpi need passes ")


@pytest.mark.parametrize(
    "title",
    [
        "<b>bold</b> & **stars** \\(slash\\)",
        "שלום עולם",
        "Dusk 🌆 over 海",
        "x" * 500,
        "word " * 100,
        "two\nlines\tand a tab",
    ],
)
def test_hostile_titles_make_sane_pages(corner: evenfall.Recipe, title: str) -> None:
    import json

    view = evenfall.open(
        corner, changes=[f"project.title={json.dumps(title)}", f"project.view={json.dumps(title)}"]
    )
    reader = read(view.board(mark=title, date=DAY).data)
    assert len(reader.pages) == 3
    for page in reader.pages:
        assert "/ 3" in page.extract_text()


def test_the_same_board_of_the_same_day_is_the_same_bytes(corner: evenfall.Recipe) -> None:
    view = evenfall.open(corner)
    assert view.board(date=DAY).data == view.board(date=DAY).data


def test_a_logo_stands_on_every_page(corner: evenfall.Recipe) -> None:
    folder = corner.path.parent
    Image.new("RGBA", (60, 20), (200, 80, 40, 255)).save(folder / "logo.png")
    (folder / "logo.svg").write_text(SVG.format('<rect width="30" height="10"/>'))
    plain = len(read(evenfall.open(corner).board(date=DAY).data).pages[1]["/Resources"]["/XObject"])
    raster = evenfall.open(corner, changes='project.logo="logo.png"').board(date=DAY)
    page = read(raster.data).pages[1]
    assert len(page["/Resources"]["/XObject"]) == plain + 1
    vector = evenfall.open(corner, changes='project.logo="logo.svg"').board(date=DAY)
    assert "3 / 3" in read(vector.data).pages[2].extract_text()


def bomb() -> bytes:
    """A PNG that says 60,000 x 60,000 pixels; chunks as the PNG specification has them."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        body = kind + data
        return struct.pack(">I", len(data)) + body + struct.pack(">I", zlib.crc32(body))

    head = struct.pack(">IIBBBBB", 60_000, 60_000, 8, 2, 0, 0, 0)
    start = b"\x89PNG\r\n\x1a\n"
    return (
        start
        + chunk(b"IHDR", head)
        + chunk(b"IDAT", zlib.compress(b"\0" * 9))
        + chunk(b"IEND", b"")
    )


ENTITIES = (
    '<!DOCTYPE svg [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;">]>'
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9"><text>&b;</text></svg>'
)


@pytest.mark.parametrize(
    ("name", "data", "says"),
    [
        ("logo.png", bomb(), "60000 x 60000|cannot be decoded"),
        ("logo.png", b"\x89PNG\r\n\x1a\n" + b"\0" * 40, "cannot be decoded"),
        ("logo.svg", b"<svg", "cannot be read as SVG"),
        ("logo.svg", ENTITIES.encode(), "document type"),
        ("logo.svg", SVG.format('<image href="file:///etc/passwd"/>').encode(), "<image>"),
        ("logo.svg", SVG.format('<use href="other.svg#a"/>').encode(), "refers to other.svg"),
        ("logo.svg", SVG.format("<script>1</script>").encode(), "<script>"),
        ("logo.svg", b'<svg xmlns="http://www.w3.org/2000/svg"/>', "has no size"),
        ("logo.svg", SVG.format('<path d="M 0 z q"/>').encode(), "cannot be drawn"),
        ("logo.svg", SVG.replace("0 0 30 10", "0 0 1e308 1e-300").format("").encode(), "of a line"),
        ("logo.svg", SVG.format("<g/>" * 130_000).encode(), "at most 500 kB"),
        ("logo.txt", b"hello", "neither a PNG nor an SVG"),
        ("logo.png", b"", "neither a PNG nor an SVG"),
    ],
)
def test_logos_that_are_none(tmp_path: Path, name: str, data: bytes, says: str) -> None:
    path = tmp_path / name
    path.write_bytes(data)
    with pytest.raises(PixelSourceError, match=says):
        read_logo(path)


def test_the_command(corner: evenfall.Recipe, tmp_path: Path) -> None:
    file = tmp_path / "board.pdf"
    arguments = ["board", str(corner.path), "--size", "a2", "--out", str(file)]
    done = CliRunner().invoke(main, arguments)
    assert (done.exit_code, done.stdout.strip()) == (0, str(file))
    assert "dpi" in done.stderr
    again = CliRunner().invoke(main, arguments)
    assert (again.exit_code, "--overwrite" in again.stderr) == (1, True)
    assert CliRunner().invoke(main, [*arguments, "--overwrite"]).exit_code == 0
    wrong = CliRunner().invoke(main, ["board", str(corner.path), "--out", "board.doc"])
    assert (wrong.exit_code, ".pdf" in wrong.stderr) == (2, True)
