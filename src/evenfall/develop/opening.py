"""The passes of a recipe, opened: the first thing that a run, a draft or a page does."""

from __future__ import annotations

from evenfall.passes.library import PassLibrary
from evenfall.passes.source import PassSource
from evenfall.passes.standing import Standing
from evenfall.recipe import Recipe

__all__ = ["open_passes"]


def open_passes(
    recipe: Recipe,
    *,
    draft: bool = False,
    keep_going: bool = False,
    standing: Standing | None = None,
) -> PassSource:
    """Open the passes of a recipe; no pixel is read.

    Parameters
    ----------
    recipe : Recipe
        The recipe.
    draft : bool
        Whether the passes are brought down to the size of drafts as they are read.
    keep_going : bool
        True: passes that cannot be opened are an error only where they are read.
    standing : Standing, optional
        Where passes are kept that are the same in other frames.

    Raises
    ------
    PassError
        With every fault of every pass.

    Examples
    --------
    >>> from evenfall.develop.example import example_recipe
    >>> open_passes(example_recipe()).size
    (48, 32)
    """
    library = PassLibrary(recipe, keep_going=keep_going, standing=standing)
    if not draft:
        return library
    from evenfall.develop.reduced import ReducedLibrary

    return ReducedLibrary(library, recipe.model.draft.width, recipe.model.passes.repair)
