"""Boards: pages of paper with pictures on them, as one PDF.

Text is text, its fonts are embedded; pictures stay the JPEG files that they are, with their
profiles. Lengths are in millimetres on A3 and grow and shrink with the page.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from evenfall.drawings.logo import Logo
from evenfall.drawings.page import ACCENT, FAINT_INK, HAIRLINE, INK, SOFT_INK

if TYPE_CHECKING:
    from fpdf import FPDF

__all__ = ["PAPER_SIZES", "BoardPage", "BoardPicture", "BoardText", "draw_board", "room_for"]

PaperSize = Literal["A4", "A3", "A2", "A1"]

PAPER_SIZES: dict[PaperSize, tuple[int, int]] = {
    "A4": (297, 210),
    "A3": (420, 297),
    "A2": (594, 420),
    "A1": (841, 594),
}
"""Width and height in millimetres, lying; ISO 216."""

_REFERENCE = 420.0  # millimetres of the long side at which lengths below are as written
_MARGIN, _HEAD, _FOOT, _GAP, _CAPTION = 16.0, 22.0, 16.0, 10.0, 12.0
_POINTS = 72 / 25.4
_FONTS = Path(__file__).parent / "fonts"
_CUTS = {"light": "InterDisplay-Light.ttf", "regular": "Inter-Regular.ttf"}


@dataclass(frozen=True, eq=False)
class BoardPicture:
    """A picture on a board.

    Parameters
    ----------
    title : str
        Stands below it, unless it is the page's heading.
    jpeg : bytes
        JPEG file, with its profile.
    width, height : int
        Pixels.
    caption : str
        Stands beside the title, such as the round that it is of.
    """

    title: str
    jpeg: bytes = field(repr=False)
    width: int
    height: int
    caption: str = ""


@dataclass(frozen=True)
class BoardPage:
    """One page: its pictures, and what stands above them."""

    heading: str
    pictures: tuple[BoardPicture, ...]


@dataclass(frozen=True)
class BoardText:
    """What stands on every page; what is empty is left out.

    Parameters
    ----------
    title, view : str
        Project and view.
    date, round : str
        As they are to be written.
    studio : str
        Whose work it is.
    mark : str
        Stands at the top, such as "DRAFT".
    author, copyright : str
        For the file's properties, the copyright at the foot too.
    """

    title: str
    view: str = ""
    date: str = ""
    round: str = ""
    studio: str = ""
    mark: str = ""
    author: str = ""
    copyright: str = ""


def room_for(
    count: int, aspect: float, size: PaperSize, *, upright: bool, captions: bool = True
) -> tuple[float, float, int]:
    """Give the room of each of so many pictures of one shape on a page.

    Parameters
    ----------
    count : int
        Pictures on the page.
    aspect : float
        Width over height of each.
    size : str
        "A4" to "A1".
    upright : bool
        Whether the page stands.
    captions : bool
        Whether there are words below the pictures.

    Returns
    -------
    width, height : float
        Of a picture on the paper in millimetres: as large as so many can be.
    columns : int
        Pictures per row.

    Examples
    --------
    >>> width, height, columns = room_for(2, 16 / 9, "A3", upright=False)
    >>> round(width), round(height), columns
    (189, 106, 2)
    """
    across, down = _paper(size, upright=upright)
    unit = _unit(size)
    caption = _CAPTION * unit if captions else 0.0
    inner = across - 2 * _MARGIN * unit
    free = down - (2 * _MARGIN + _HEAD + _FOOT) * unit
    best = (0.0, 0.0, 1)
    for columns in range(1, count + 1):
        rows = math.ceil(count / columns)
        width = (inner - (columns - 1) * _GAP * unit) / columns
        height = (free - (rows - 1) * _GAP * unit) / rows - caption
        width = min(width, height * aspect)
        if width > best[0]:
            best = (width, width / aspect, columns)
    return best


def draw_board(
    pages: Sequence[BoardPage],
    text: BoardText,
    *,
    size: PaperSize = "A3",
    upright: bool = False,
    logo: Logo | None = None,
    made: datetime.date | None = None,
) -> tuple[bytes, tuple[str, ...]]:
    """Set pages of pictures as a PDF file.

    Parameters
    ----------
    pages : sequence of BoardPage
        Each with at least one picture.
    text : BoardText
        What stands on every page.
    size : str
        "A4" to "A1".
    upright : bool
        Whether the pages stand.
    logo : Logo, optional
        The studio's.
    made : date, optional
        For the file's properties; the same pages of the same day are the same bytes.

    Returns
    -------
    data : bytes
        The file.
    lacking : tuple of str
        Signs of the texts that the fonts lack; a box stands in their place.

    Examples
    --------
    >>> from evenfall.deliver.jpeg import encode_jpeg
    >>> import numpy as np
    >>> grey = BoardPicture("Dusk", encode_jpeg(np.full((9, 16, 3), 118, np.uint8)), 16, 9)
    >>> pdf, _ = draw_board([BoardPage("Living room", (grey,))], BoardText("Veldmere"))
    >>> pdf[:5], b"ICCBased" in pdf
    (b'%PDF-', True)
    """
    board = _Board(text, size, upright=upright, logo=logo, pages=len(pages))
    return board.draw(pages, made), tuple(board.lacking)


def _paper(size: PaperSize, *, upright: bool) -> tuple[int, int]:
    long, short = PAPER_SIZES[size]
    return (short, long) if upright else (long, short)


def _unit(size: PaperSize) -> float:
    """Millimetres of a unit: large sheets are looked at from further away, if not in proportion."""
    return float((PAPER_SIZES[size][0] / _REFERENCE) ** 0.75)


def _signs_of(pdf: FPDF) -> frozenset[int]:
    """Signs that both cuts have."""
    from fpdf.fonts import TTFFont

    fonts = [font for font in pdf.fonts.values() if isinstance(font, TTFFont)]
    return frozenset.intersection(*(frozenset(font.cmap) for font in fonts))


class _Board:
    def __init__(
        self, text: BoardText, size: PaperSize, *, upright: bool, logo: Logo | None, pages: int
    ) -> None:
        from fpdf import FPDF

        self.text, self.size, self.upright, self.logo = text, size, upright, logo
        self.count = pages
        self.lacking: dict[str, None] = {}
        self.unit = _unit(size)
        self.width, self.height = _paper(size, upright=upright)
        self.left = _MARGIN * self.unit
        self.right = self.width - self.left
        self.pdf: FPDF = FPDF(unit="mm", format=(self.width, self.height))
        self.pdf.set_auto_page_break(False)
        self.pdf.set_margin(0)
        self.pdf.c_margin = 0
        for cut, file in _CUTS.items():
            self.pdf.add_font(cut, "", _FONTS / file)
        self.known = _signs_of(self.pdf)

    def draw(self, pages: Sequence[BoardPage], made: datetime.date | None) -> bytes:
        pdf, text = self.pdf, self.text
        pdf.set_title(", ".join(part for part in (text.title, text.view) if part))
        pdf.set_author(text.author or text.studio)
        pdf.set_subject(text.copyright)
        pdf.set_creator("evenfall")
        pdf.set_producer("evenfall")
        day = made or datetime.date(1970, 1, 1)
        pdf.set_creation_date(datetime.datetime.combine(day, datetime.time(0), datetime.UTC))
        for number, page in enumerate(pages, 1):
            pdf.add_page()
            self._head(page.heading)
            self._pictures(page)
            self._foot(number)
        return bytes(pdf.output())

    def _head(self, heading: str) -> None:
        baseline = self.left + 9 * self.unit
        edge = self.right
        if self.logo is not None:
            edge -= self._draw_logo(self.logo, baseline) + 6 * self.unit
        if self.text.mark:
            mark = self._fitted(self.text.mark, "regular", 4.2, (edge - self.left) / 3)
            self._set(mark, edge, baseline, "regular", 4.2, ACCENT, align="R")
            edge -= self.pdf.get_string_width(mark) + 6 * self.unit
        self._set(heading, self.left, baseline, "light", 11, INK, room=edge - self.left)

    def _draw_logo(self, logo: Logo, baseline: float) -> float:
        height = 11 * self.unit
        width = height * logo.aspect
        widest = (self.right - self.left) / 4
        if width > widest:
            width, height = widest, widest / logo.aspect
        top = baseline - 4 * self.unit - height / 2
        self.pdf.image(BytesIO(logo.data), x=self.right - width, y=top, w=width, h=height)
        return width

    def _pictures(self, page: BoardPage) -> None:
        pictures, unit = page.pictures, self.unit
        aspect = max(picture.width / picture.height for picture in pictures)
        titles = [each.title if each.title != page.heading else "" for each in pictures]
        captions = any(titles) or any(each.caption for each in pictures)
        width, height, columns = room_for(
            len(pictures), aspect, self.size, upright=self.upright, captions=captions
        )
        caption = _CAPTION * unit if captions else 0.0
        rows = math.ceil(len(pictures) / columns)
        line = columns * width + (columns - 1) * _GAP * unit
        block = rows * (height + caption) + (rows - 1) * _GAP * unit
        free = self.height - (2 * _MARGIN + _HEAD + _FOOT) * unit
        left = (self.width - line) / 2
        top = (_MARGIN + _HEAD) * unit + max(0.0, (free - block) / 3)
        for number, picture in enumerate(pictures):
            row, column = divmod(number, columns)
            x = left + column * (width + _GAP * unit)
            y = top + row * (height + caption + _GAP * unit)
            self._picture(picture, titles[number], x, y, width, height)

    def _picture(
        self, picture: BoardPicture, title: str, x: float, y: float, width: float, height: float
    ) -> None:
        own = min(width, height * picture.width / picture.height)
        tall = own * picture.height / picture.width
        self.pdf.image(BytesIO(picture.jpeg), x=x, y=y + height - tall, w=own, h=tall)
        baseline = y + height + 7 * self.unit
        room = own
        if picture.caption:
            caption = self._fitted(picture.caption, "regular", 4.2, own / 2)
            self._set(caption, x + own, baseline, "regular", 4.2, SOFT_INK, align="R")
            room -= self.pdf.get_string_width(caption) + 4 * self.unit
        self._set(title, x, baseline, "regular", 5, INK, room=room)

    def _foot(self, number: int) -> None:
        text, unit = self.text, self.unit
        line = self.height - self.left - 6 * unit
        self.pdf.set_draw_color(HAIRLINE)
        self.pdf.set_line_width(0.25 * unit)
        self.pdf.line(self.left, line, self.right, line)
        baseline = line + 6 * unit
        pages = f"{number} / {self.count}"
        self._set(pages, self.right, baseline, "regular", 3.8, SOFT_INK, align="R")
        room = self.right - self.left - self.pdf.get_string_width(pages) - 8 * unit
        parts = (text.title, text.view, text.round, text.date, text.studio, text.copyright)
        foot = "  ·  ".join(dict.fromkeys(part for part in parts if part))
        self._set(foot, self.left, baseline, "regular", 3.8, FAINT_INK, room=room)

    def _set(
        self,
        words: str,
        x: float,
        baseline: float,
        cut: str,
        size: float,
        colour: str,
        *,
        align: Literal["L", "R"] = "L",
        room: float | None = None,
    ) -> None:
        """Set a line of text; the size is that of the em square in units."""
        words = self._printable(words) if room is None else self._fitted(words, cut, size, room)
        self._take(cut, size)
        self.pdf.set_text_color(colour)
        if align == "R":
            x -= self.pdf.get_string_width(words)
        self.pdf.text(x, baseline, words)

    def _printable(self, words: str) -> str:
        """Put a box in the place of every sign that the fonts lack, and take note of it."""
        line = " ".join(words.split())
        lacking = {sign for sign in line if ord(sign) not in self.known}
        self.lacking.update(dict.fromkeys(sorted(lacking)))
        return "".join("\u25a1" if sign in lacking else sign for sign in line)

    def _take(self, cut: str, size: float) -> None:
        self.pdf.set_font(cut, size=size * self.unit * _POINTS)

    def _fitted(self, words: str, cut: str, size: float, room: float) -> str:
        """Shorten a line by an ellipsis until it fits."""
        self._take(cut, size)
        words = self._printable(words)
        if self.pdf.get_string_width(words) <= room:
            return words
        low, high = 0, len(words)
        while low < high:
            middle = (low + high + 1) // 2
            if self.pdf.get_string_width(words[:middle].rstrip() + "\u2026") <= room:
                low = middle
            else:
                high = middle - 1
        return words[:low].rstrip() + "\u2026"
