"""What another hand has done to a recipe's file, told beside what was done at the desk."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from evenfall.compare.moods import mood_differences
from evenfall.recipe import Recipe

__all__ = ["Conflict", "differences", "stamp_of"]


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
