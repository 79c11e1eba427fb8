"""Several views of one project: what they are called together, and where what shows them lies."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from evenfall.errors import UsageError
from evenfall.recipe import Recipe
from evenfall.recipe.words.suggesting import joined

if TYPE_CHECKING:
    from evenfall.develop.developed import DevelopedMood
    from evenfall.view.view import View

__all__ = ["as_views", "developed_later", "project_name", "refuse_alike", "usual_file"]


def as_views(views: View | Sequence[View]) -> tuple[View, ...]:
    """Give one view or several as several.

    Raises
    ------
    UsageError
        When there is none, or two are of recipes of one name.
    """
    found = tuple(views) if isinstance(views, Sequence) else (views,)
    if not found:
        raise UsageError("there is no view to show")
    refuse_alike([view.recipe for view in found])
    return found


def refuse_alike(recipes: Sequence[Recipe]) -> None:
    """Refuse recipes of one name, by which comments find back."""
    stems = [recipe.path.stem.casefold() for recipe in recipes]
    alike = [str(one.path) for one, stem in zip(recipes, stems, strict=True)
             if stems.count(stem) > 1]  # fmt: skip
    if alike:
        raise UsageError(f"{joined(alike, 'and')} have one name: rename one of them")


def project_name(recipes: Sequence[Recipe]) -> str:
    """Name views together: by the file that all build on, else by their folder.

    Examples
    --------
    >>> from evenfall.develop.example import example_recipe
    >>> project_name([example_recipe()])
    'corner'
    """
    if len(recipes) == 1:
        return recipes[0].path.stem
    for base in recipes[0].bases:
        if all(any(base.path == one.path for one in each.bases) for each in recipes[1:]):
            return base.path.stem
    return recipes[0].path.absolute().parent.name or "project"


def usual_file(recipes: Sequence[Recipe], ending: str) -> Path:
    """Where something that shows views lies: in the folder `pictures` beside the first recipe."""
    first = recipes[0]
    stem = first.output_stem if len(recipes) == 1 else project_name(recipes)
    return first.path.parent / "pictures" / f"{stem}{ending}"


def developed_later(view: View, moods: str | Sequence[str]) -> Iterator[DevelopedMood]:
    """Develop moods of a view when the first is asked for, so that only one view is in memory."""
    yield from view.developed(moods)
