"""What lies beside a recipe at the desk: what another hand has done to its file, and its rounds."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from evenfall.compare.moods import mood_differences
from evenfall.errors import UsageError
from evenfall.recipe import Recipe
from evenfall.recipe.recipe import load_text
from evenfall.record.rounds import KeptRound, find_round, read_rounds, rounds_folder

__all__ = ["Conflict", "differences", "rounds_of", "stamp_of", "standing"]


@dataclass(frozen=True)
class Conflict:
    """What stands in the file and here, where both have changed.

    Parameters
    ----------
    theirs, ours : tuple of str
        What differs from when the two were last the same, in words, mood by mood.
    fault : str
        Why the file's recipe cannot be used; empty when it can.
    """

    theirs: tuple[str, ...]
    ours: tuple[str, ...]
    fault: str = ""


def stamp_of(path: Path) -> int:
    """Tell one state of a file from another; 0 where there is none."""
    try:
        return path.stat().st_mtime_ns
    except OSError:
        return 0


def differences(before: Recipe | None, after: Recipe | None) -> tuple[str, ...]:
    """Say what differs between two recipes, mood by mood; nothing where one is not known."""
    if before is None or after is None:
        return ()
    return tuple(
        f"{after.moods[mood].title}: {difference}"
        for mood in after.moods
        if mood in before.moods
        for difference in mood_differences(before, after, mood)
    )


def rounds_of(path: Path) -> tuple[KeptRound, ...]:
    """Give the rounds of a recipe that are whole, the last first."""
    found = read_rounds(rounds_folder(path))
    return tuple(one for one in reversed(found) if one.record is not None and not one.trouble)


def standing(of: str, path: Path, saved_text: str, passes: Path | None = None) -> Recipe:
    """Give a recipe by what windows call it: "saved", or "round N".

    Parameters
    ----------
    of : str
        What it is called.
    path : Path
        The recipe's file.
    saved_text : str
        What that holds.
    passes : Path, optional
        Folder of the passes instead of the recipe's own.

    Raises
    ------
    UsageError
        When there is none.
    RecipeError
        When it is not sound.
    """
    if of == "saved":
        return load_text(saved_text, path, passes=passes)
    number = of.removeprefix("round ")
    if not number.isdecimal():
        raise UsageError(f'there is nothing called "{of}"')
    return find_round(rounds_folder(path), int(number)).load(path, passes=passes)
