"""The passes of a recipe, opened: the first thing that a run, a draft or a preview does."""

from __future__ import annotations

import contextlib
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from evenfall.develop.areas import AbsentObjects
from evenfall.errors import PassError
from evenfall.light.primaries import RgbSpace, space_from_chromaticities
from evenfall.passes.files import stamp
from evenfall.passes.library import PassLibrary
from evenfall.recipe import Recipe

if TYPE_CHECKING:
    from evenfall.develop.reduced import ReducedLibrary

__all__ = ["View", "open_view"]


@dataclass(frozen=True, eq=False)
class View:
    """The passes of a recipe, opened and checked, at full size or reduced for drafts.

    Parameters
    ----------
    recipe : Recipe
        The recipe.
    files : PassLibrary
        The passes at full size.
    passes : PassLibrary or ReducedLibrary
        The passes that are mixed.
    space : RgbSpace
        Their primaries.
    absent : AbsentObjects
        Objects that regions ask for and that are in no file, as they are found.
    """

    recipe: Recipe
    files: PassLibrary
    passes: PassLibrary | ReducedLibrary
    space: RgbSpace
    absent: AbsentObjects = field(default_factory=AbsentObjects)

    @property
    def size(self) -> tuple[int, int]:
        """Width and height of what is mixed."""
        return self.passes.size

    @property
    def pixel_aspect(self) -> float:
        """Width over height of a pixel of what is mixed."""
        return self.passes.pixel_aspect


def open_view(recipe: Recipe, *, draft: bool = False, keep_going: bool = False) -> View:
    """Open the passes of a recipe; no pixel is read.

    Parameters
    ----------
    recipe : Recipe
        The recipe.
    draft : bool
        Whether the passes are brought down to the size of drafts as they are read.
    keep_going : bool
        True: passes that cannot be opened are an error only where they are read.

    Raises
    ------
    PassError
        With every fault of every pass.

    Examples
    --------
    >>> from evenfall.develop.example import example_recipe
    >>> open_view(example_recipe()).size
    (48, 32)
    """
    files = PassLibrary(recipe, keep_going=keep_going)
    passes: PassLibrary | ReducedLibrary = files
    if draft:
        from evenfall.develop.reduced import ReducedLibrary

        passes = ReducedLibrary(files, recipe.model.draft.width, _repair_in_words(recipe))
    return View(recipe, files, passes, space_from_chromaticities(files.chromaticities))


def _repair_in_words(recipe: Recipe) -> str:
    """Say how broken pixels are mended, and which files guide the denoiser."""
    repair = recipe.model.passes.repair
    words = [repair.model_dump_json()]
    for guide in (repair.albedo, repair.normal):
        if guide is not None:
            with contextlib.suppress(PassError):  # reading it says what is wrong
                words.append(str(stamp(recipe.pass_path(guide))))
    return " ".join(words)
