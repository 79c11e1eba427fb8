"""Boards of a view: developed moods, brought to the size of paper and set on pages."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from evenfall.deliver.jpeg import encode_jpeg
from evenfall.develop.developed import DevelopedMood
from evenfall.drawings.board import (
    BoardPage,
    BoardPicture,
    BoardText,
    PaperSize,
    draw_board,
    room_for,
)
from evenfall.drawings.logo import read_logo
from evenfall.produce.stills import srgb_still
from evenfall.recipe import Recipe
from evenfall.recipe.words.suggesting import joined

__all__ = ["Board", "make_board"]

_DPI = 300
_QUALITY = 95


@dataclass(frozen=True)
class Board:
    """A board that was made.

    Parameters
    ----------
    data : bytes
        PDF file.
    notes : tuple of str
        What a person should know: pictures below 300 dpi, signs that the fonts lack.
    """

    data: bytes = field(repr=False)
    notes: tuple[str, ...]


def make_board(
    recipe: Recipe,
    developed: Iterable[DevelopedMood],
    *,
    size: PaperSize = "A3",
    upright: bool = False,
    mark: str = "",
    date: datetime.date | None = None,
    round_name: str = "",
    before: Mapping[str, BoardPicture] | None = None,
) -> Board:
    """Make boards of moods: all of them on a page, each on one of its own, before and after.

    Parameters
    ----------
    recipe : Recipe
        Names, studio and logo.
    developed : iterable of DevelopedMood
        In the order of their pages; each is let go once its picture is made.
    size : str
        "A4" to "A1".
    upright : bool
        Whether the pages stand.
    mark : str
        Stands at the top of every page, such as "DRAFT".
    date : date, optional
        Stands at the foot.
    round_name : str
        Stands at the foot.
    before : mapping of str to BoardPicture, optional
        Earlier pictures by mood, for pages of before and after.

    Raises
    ------
    PixelSourceError
        When the logo cannot be drawn, or a file of a look cannot be used.
    """
    project = recipe.model.project
    logo = None if project.logo is None else read_logo(recipe.beside(project.logo))
    pictures: dict[str, BoardPicture] = {}
    notes: list[str] = []
    for mood in developed:
        pictures[mood.name], note = _picture(mood, size, upright=upright)
        notes += [note] if note else []
    view = project.view or project.title or recipe.path.stem
    text = BoardText(
        title=project.title or recipe.path.stem,
        view=project.view or "",
        date="" if date is None else f"{date.day} {date:%B %Y}",
        round=round_name,
        studio=project.studio or project.author or "",
        mark=mark,
        author=project.author or "",
        copyright=project.copyright or "",
    )
    pages = _pages(view, pictures, before or {})
    data, lacking = draw_board(pages, text, size=size, upright=upright, logo=logo, made=date)
    if lacking:
        signs = joined(lacking, "and", most=10)
        notes.append(f"the fonts of boards lack {signs}; a box stands in their place")
    return Board(data, tuple(notes))


def _pages(
    view: str, pictures: Mapping[str, BoardPicture], before: Mapping[str, BoardPicture]
) -> Sequence[BoardPage]:
    pages = [BoardPage(view, tuple(pictures.values()))] if len(pictures) > 1 else []
    pages += [BoardPage(picture.title, (picture,)) for picture in pictures.values()]
    for mood, earlier in before.items():
        if mood in pictures:
            now = pictures[mood]
            after = BoardPicture(now.title, now.jpeg, now.width, now.height, "now")
            pages.append(BoardPage(f"{now.title}, before and after", (earlier, after)))
    return pages


def _picture(mood: DevelopedMood, size: PaperSize, *, upright: bool) -> tuple[BoardPicture, str]:
    """Bring a mood to 300 dpi of a page of its own; a picture that has less is never enlarged."""
    full, tall = mood.size
    aspect = full * mood.pixel_aspect / tall
    paper_width, _, _ = room_for(1, aspect, size, upright=upright, captions=False)
    wanted = round(paper_width / 25.4 * _DPI)
    codes = srgb_still(mood, wanted)
    height, width = codes.shape[:2]
    jpeg = encode_jpeg(codes, quality=_QUALITY)
    note = ""
    if full < wanted:
        dpi = full / (paper_width / 25.4)
        note = (
            f"{mood.mood.title}: {full} pixels on {paper_width:.0f} mm are {dpi:.0f} dpi; "
            f"{_DPI} dpi need passes {wanted} pixels wide, or smaller paper"
        )
    return BoardPicture(mood.mood.title, jpeg, width, height), note
