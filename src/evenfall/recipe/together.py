"""What several views are called where they are shown together, and what each is called there."""

from __future__ import annotations

from collections.abc import Sequence

from evenfall.recipe.recipe import Recipe

__all__ = ["heading_of_all", "headings_of_views"]


def heading_of_all(recipes: Sequence[Recipe], name: str) -> str:
    """Give the title that all views have, or else the name of their project, made readable.

    Parameters
    ----------
    recipes : sequence of Recipe
        The views'.
    name : str
        Of the file or folder that they share.

    Examples
    --------
    >>> from evenfall.develop.example import example_recipe
    >>> heading_of_all([example_recipe()], "river-house_02")
    'River house 02'
    """
    words = " ".join(name.replace("_", " ").replace("-", " ").split()) or name
    return _shared_title(recipes) or words[:1].upper() + words[1:]


def headings_of_views(recipes: Sequence[Recipe]) -> list[str]:
    """Name each view: as it says, by a title that no other has, or by its file.

    Examples
    --------
    >>> from evenfall.develop.example import example_recipe
    >>> headings_of_views([example_recipe()])
    ['corner']
    """
    titles = [recipe.model.project.title for recipe in recipes]
    shared = _shared_title(recipes)
    return [
        recipe.model.project.view
        or (title if title and title != shared and titles.count(title) == 1 else "")
        or recipe.path.stem
        for recipe, title in zip(recipes, titles, strict=True)
    ]


def _shared_title(recipes: Sequence[Recipe]) -> str:
    titles = {recipe.model.project.title or "" for recipe in recipes}
    return titles.pop() if len(titles) == 1 else ""
