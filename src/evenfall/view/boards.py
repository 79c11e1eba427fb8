"""Boards of a view, written to a file."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from pathlib import Path
from typing import cast

from evenfall.drawings.board import PAPER_SIZES, PaperSize
from evenfall.errors import UsageError
from evenfall.recipe.words.suggesting import joined
from evenfall.system.arguments import given_path
from evenfall.system.atomic import write_atomically
from evenfall.system.free_names import refuse_existing
from evenfall.view.view import View

__all__ = ["write_board"]


def write_board(
    view: View,
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
    """Make boards and write them; the parameters are those of `View.board`.

    Parameters
    ----------
    view : View
        From `evenfall.open`.
    path : str or Path, optional
        A .pdf file; RECIPE_board.pdf in the folder `pictures` beside the recipe otherwise.

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
    recipe = view.recipe
    usual = recipe.path.parent / "pictures" / f"{recipe.output_stem}_board.pdf"
    file = usual if path is None else given_path(path, "a board")
    if file.suffix.lower() != ".pdf":
        raise UsageError(f"{file}: boards are written as .pdf")
    refuse_existing([file], allowed=overwrite)
    paper = cast(PaperSize, size.upper())
    board = view.board(moods, size=paper, upright=upright, mark=mark, date=date, before=before)
    write_atomically(file, board.data, overwrite=overwrite)
    return file, board.notes
