"""Boards of views: developed moods, brought to the size of paper and set on pages."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

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
from evenfall.recipe.together import heading_of_all, headings_of_views
from evenfall.recipe.words.suggesting import joined

__all__ = ["Board", "BoardView", "make_board"]

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


@dataclass(frozen=True, eq=False)
class BoardView:
    """A view whose moods are laid out.

    Parameters
    ----------
    recipe : Recipe
        Its names.
    developed : iterable of DevelopedMood
        In the order of their pages; each is let go once its picture is made.
    round_name : str
        Round that it stands in; empty if in none.
    before : mapping of str to BoardPicture
        Earlier pictures by mood, for pages of before and after.
    """

    recipe: Recipe
    developed: Iterable[DevelopedMood]
    round_name: str = ""
    before: Mapping[str, BoardPicture] = field(default_factory=dict)


def make_board(
    views: Sequence[BoardView],
    *,
    size: PaperSize = "A3",
    upright: bool = False,
    mark: str = "",
    date: datetime.date | None = None,
    key: str = "",
) -> Board:
    """Make boards: of each view all moods on a page, each on one of its own, before and after.

    Parameters
    ----------
    views : sequence of BoardView
        In the order of their pages. Project, studio and logo are those of the first.
    size : str
        "A4" to "A1".
    upright : bool
        Whether the pages stand.
    mark : str
        Stands at the top of every page, such as "DRAFT".
    date : date, optional
        Stands at the foot.
    key : str
        What several views are called where they have no title in common.

    Raises
    ------
    PixelSourceError
        When the logo cannot be drawn, or a file of a look cannot be used.
    """
    recipe, is_one = views[0].recipe, len(views) == 1
    project = recipe.model.project
    logo = None if project.logo is None else read_logo(recipe.beside(project.logo))
    pages: list[BoardPage] = []
    notes: list[str] = []
    recipes = [view.recipe for view in views]
    alone = [project.view or project.title or recipe.path.stem]
    names = alone if is_one else headings_of_views(recipes)
    for view, name in zip(views, names, strict=True):
        pictures: dict[str, BoardPicture] = {}
        for mood in view.developed:
            pictures[mood.name], note = _picture(mood, size, upright=upright)
            notes += [note if is_one else f"{name}, {note}"] if note else []
        pages += _pages(name, pictures, view.before, alone="" if is_one else f"{name}, ")
    rounds = {view.round_name for view in views}
    text = BoardText(
        title=(project.title or recipe.path.stem) if is_one else heading_of_all(recipes, key),
        view=(project.view or "") if is_one else "",
        date="" if date is None else f"{date.day} {date:%B %Y}",
        round=rounds.pop() if len(rounds) == 1 else "",
        studio=project.studio or project.author or "",
        mark=mark,
        author=project.author or "",
        copyright=project.copyright or "",
    )
    data, lacking = draw_board(pages, text, size=size, upright=upright, logo=logo, made=date)
    if lacking:
        signs = joined(lacking, "and", most=10)
        notes.append(f"the fonts of boards lack {signs}; a box stands in their place")
    return Board(data, tuple(notes))


def _pages(
    view: str,
    pictures: Mapping[str, BoardPicture],
    before: Mapping[str, BoardPicture],
    *,
    alone: str,
) -> Sequence[BoardPage]:
    pages = [BoardPage(view, tuple(pictures.values()))] if len(pictures) > 1 else []
    for picture in pictures.values():
        heading = f"{alone}{picture.title}"
        pages.append(BoardPage(heading, (replace(picture, title=heading),)))
    for mood, earlier in before.items():
        if mood in pictures:
            now = pictures[mood]
            after = BoardPicture(now.title, now.jpeg, now.width, now.height, "now")
            pages.append(BoardPage(f"{alone}{now.title}, before and after", (earlier, after)))
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
