"""Boards of views, written to a file."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from pathlib import Path
from typing import cast

from evenfall.drawings.board import PAPER_SIZES, PaperSize
from evenfall.errors import UsageError
from evenfall.produce.board import BoardView, make_board
from evenfall.recipe.words.suggesting import joined
from evenfall.rounds.showing import pictures_before, round_name_now
from evenfall.system.arguments import given_path
from evenfall.system.atomic import write_atomically
from evenfall.system.free_names import refuse_existing
from evenfall.view.project import as_views, developed_later, project_name, usual_file
from evenfall.view.view import View

__all__ = ["write_board"]


def write_board(
    views: View | Sequence[View],
    path: str | Path | None = None,
    *,
    moods: str | Sequence[str] = (),
    size: str = "A3",
    upright: bool = False,
    mark: str = "",
    date: datetime.date | None = None,
    before: int | None = None,
    overwrite: bool = False,
) -> tuple[Path, tuple[str, ...]]:
    """Make boards and write them; further parameters are those of `View.board`.

    Parameters
    ----------
    views : View or sequence of View
        From `evenfall.open` or `open_views`; of several, the pages of each follow each other.
    path : str or Path, optional
        A .pdf file; RECIPE_board.pdf in the folder `pictures` beside the recipe otherwise, of
        several views PROJECT_board.pdf.

    Returns
    -------
    path : Path
        Where it lies.
    notes : tuple of str
        What a person should know.

    Raises
    ------
    OutputError
        When the file exists and may not be replaced, or cannot be written.
    """
    if size.upper() not in PAPER_SIZES:
        raise UsageError(f'boards are {joined(PAPER_SIZES)}, found "{size}"')
    shown = as_views(views)
    recipes = [view.recipe for view in shown]
    file = usual_file(recipes, "_board.pdf") if path is None else given_path(path, "a board")
    if file.suffix.lower() != ".pdf":
        raise UsageError(f"{file}: boards are written as .pdf")
    refuse_existing([file], allowed=overwrite)
    board = make_board(
        [
            BoardView(
                view.recipe,
                developed_later(view, moods),
                round_name_now(view.recipe),
                {} if before is None else pictures_before(view.recipe, before),
            )
            for view in shown
        ],
        size=cast(PaperSize, size.upper()),
        upright=upright,
        mark=mark,
        date=date,
        key=project_name(recipes),
    )
    write_atomically(file, board.data, overwrite=overwrite)
    return file, board.notes
