"""Where pictures go, so that those of a round that is kept stay where they are.

Until a round is kept, deliverables lie in `pictures` beside the recipe. From then on those of the
second round lie in `pictures/round_2`, or have `_round_2` in their names, as the recipe says.
Drafts are thrown away and lie apart, in `drafts`.
"""

from __future__ import annotations

import os
from collections.abc import Iterable
from pathlib import Path

from evenfall.errors import Fault, OutputError
from evenfall.recipe import Recipe
from evenfall.record.report import report_path
from evenfall.record.rounds import kept_pictures, next_number, read_rounds, rounds_folder

__all__ = ["former_place", "name_ending", "pictures_folder", "refuse_kept"]


def pictures_folder(recipe: Recipe, *, draft: bool) -> Path:
    """Give the folder in which a run puts its files when it is not told.

    Examples
    --------
    >>> from evenfall.develop.example import example_recipe
    >>> recipe = example_recipe()
    >>> [pictures_folder(recipe, draft=draft).name for draft in (False, True)]
    ['pictures', 'drafts']
    """
    if draft:
        return recipe.path.absolute().parent / "drafts"
    return _folder_of(recipe, _round_in_work(recipe))


def name_ending(recipe: Recipe) -> str:
    """Give what the names of deliverables end in, to tell those of one round from another's."""
    return _ending_of(recipe, _round_in_work(recipe))


def former_place(recipe: Recipe) -> tuple[Path, str] | None:
    """Give folder and ending of names of the last round that has deliverables; None for none.

    What has not changed since is taken over from there.
    """
    for number in range(_round_in_work(recipe) - 1, 0, -1):
        folder = _folder_of(recipe, number)
        if report_path(folder, recipe.output_stem, draft=False).is_file():
            return folder, _ending_of(recipe, number)
    return None


def refuse_kept(recipe: Recipe, paths: Iterable[Path]) -> None:
    """Refuse to write over pictures of a round that is kept, whatever else may be replaced.

    Raises
    ------
    OutputError
        Naming every such file.
    """
    paths = list(paths)
    _refuse_unknown(recipe, paths)
    kept = kept_pictures(recipe.path)
    faults = [
        Fault(
            str(path),
            "",
            f"belongs to round {kept[path.resolve()]}, which is kept",
            "",
            "choose another folder with --out",
        )
        for path in paths
        if path.resolve() in kept
    ]
    if faults:
        raise OutputError(faults)


def _refuse_unknown(recipe: Recipe, paths: Iterable[Path]) -> None:
    """Write over nothing while the system does not give what belongs to a round."""
    refused = [kept for kept in read_rounds(rounds_folder(recipe.path)) if kept.is_refused]
    if refused and any(os.path.lexists(path) for path in paths):
        hint = (
            "its pictures may be among those that would be replaced; run again, or check the disk"
        )
        raise OutputError([Fault(str(kept.folder), "", kept.trouble, "", hint) for kept in refused])


def _folder_of(recipe: Recipe, number: int) -> Path:
    folder = recipe.path.absolute().parent / "pictures"
    return folder if number == 1 or recipe.model.naming == "names" else folder / f"round_{number}"


def _ending_of(recipe: Recipe, number: int) -> str:
    return "" if number == 1 or recipe.model.naming == "folders" else f"_round_{number}"


def _round_in_work(recipe: Recipe) -> int:
    """Give the number that the next round will have; 1 while none is kept."""
    return next_number(rounds_folder(recipe.path))
