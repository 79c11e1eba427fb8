"""Recipes of one name in one folder, whose pictures would be named alike."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from evenfall.errors import Fault, UsageError
from evenfall.recipe.words.suggesting import joined

__all__ = ["refuse_same_names"]


def refuse_same_names(paths: Sequence[Path], out: str | Path | None) -> None:
    """Refuse recipes of one name whose pictures would go into one folder."""
    if len(paths) < 2:
        return
    by_name: dict[tuple[str, str], list[Path]] = {}
    for path in paths:
        folder = str(path.absolute().parent) if out is None else ""
        by_name.setdefault((folder, path.stem.casefold()), []).append(path)
    clashes = [same for same in by_name.values() if len(same) > 1]
    if clashes:
        hint = "pictures are named after their recipe: rename one, or run them one by one"
        raise UsageError(
            [
                Fault(joined(map(str, same), "and"), "", "have one name in one folder", "", hint)
                for same in clashes
            ]
        )
