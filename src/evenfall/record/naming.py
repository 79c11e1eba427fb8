"""Where pictures go, so that those of a round that is kept stay where they are.

Until a round is kept, deliverables lie in `pictures` beside the recipe. From then on those of the
second round lie in `pictures/round_2`, or have `_round_2` in their names, as the recipe says.
Drafts are thrown away and lie apart, in `drafts`.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from evenfall.errors import Fault, OutputError
from evenfall.recipe import Recipe
from evenfall.record.rounds import kept_pictures, next_number, rounds_folder

__all__ = ["name_ending", "pictures_folder", "refuse_kept"]


def pictures_folder(recipe: Recipe, *, draft: bool) -> Path:
    """Give the folder in which a run puts its files when it is not told.

    Examples
    --------
    >>> from evenfall.develop.example import example_recipe
    >>> recipe = example_recipe()
    >>> [pictures_folder(recipe, draft=draft).name for draft in (False, True)]
    ['pictures', 'drafts']
    """
    home = recipe.path.absolute().parent
    if draft:
        return home / "drafts"
    number = _round_in_work(recipe)
    if number == 1 or recipe.model.naming == "names":
        return home / "pictures"
    return home / "pictures" / f"round_{number}"


def name_ending(recipe: Recipe) -> str:
    """Give what the names of deliverables end in, to tell those of one round from another's."""
    if recipe.model.naming != "names":
        return ""
    number = _round_in_work(recipe)
    return "" if number == 1 else f"_round_{number}"


def refuse_kept(recipe: Recipe, paths: Iterable[Path]) -> None:
    """Refuse to write over pictures of a round that is kept, whatever else may be replaced.

    Raises
    ------
    OutputError
        Naming every such file.
    """
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


def _round_in_work(recipe: Recipe) -> int:
    """Give the number that the next round will have; 1 while none is kept."""
    return next_number(rounds_folder(recipe.path))
