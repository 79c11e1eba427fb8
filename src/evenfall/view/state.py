"""What a view holds: its recipe, its passes once they are opened, and what is worth keeping."""

from __future__ import annotations

from typing import TYPE_CHECKING, Self

from evenfall.errors import UsageError
from evenfall.recipe import Recipe
from evenfall.system.opened import Once

if TYPE_CHECKING:
    from evenfall.develop.asked import Asked
    from evenfall.develop.shelf import Shelf
    from evenfall.passes.source import PassSource

__all__ = ["ViewState"]


class ViewState:
    """A recipe and its passes, opened when they are first needed; see `View`."""

    def __init__(
        self,
        recipe: Recipe,
        *,
        draft: bool = False,
        source: PassSource | None = None,
        workers: int | None = None,
    ) -> None:
        if not isinstance(recipe, Recipe):
            raise UsageError(
                f"a view is made of a Recipe, found {type(recipe).__name__}: evenfall.open takes "
                "the path of one, too"
            )
        self.recipe, self.draft, self.workers = recipe, draft, workers
        self._given = source
        self._is_kept = source is not None  # then no pass file has to be there
        self._opened: Once[PassSource] = Once(self._open_passes)
        self._asked: Once[Asked] = Once(self._ask)
        self._shelf: Once[Shelf] = Once(_new_shelf)

    def __repr__(self) -> str:
        draft = ", draft" if self.draft else ""
        return f"View({self.recipe.path.name!r}, moods={list(self.moods)}{draft})"

    @property
    def moods(self) -> tuple[str, ...]:
        """Names of the moods, in the recipe's order."""
        return tuple(self.recipe.moods)

    @property
    def passes(self) -> PassSource:
        """The passes, opened and checked against each other.

        Raises
        ------
        PassError
            With every fault of every pass.
        """
        return self._opened.get()

    @property
    def size(self) -> tuple[int, int]:
        """Width and height of what is mixed, in pixels."""
        return self.passes.size

    def _open_passes(self) -> PassSource:
        from evenfall.develop.opening import open_passes

        if self._given is not None:
            return self._given
        return open_passes(self.recipe, draft=self.draft)

    def _ask(self) -> Asked:
        from evenfall.develop.asked import Asked

        return Asked(self.recipe)

    def with_changes(self, *changes: str) -> Self:
        """Give the same view with one-off changes; what they leave alone is not opened again.

        Parameters
        ----------
        *changes : str
            'PLACE=VALUE': ``moods.dusk.lights.sun.stops=-1``.

        Raises
        ------
        RecipeError
            With every fault found.
        """
        return self.with_recipe(self.recipe.with_changes(*changes, check_files=not self._is_kept))

    def with_recipe(self, recipe: Recipe) -> Self:
        """Give the view of another recipe; passes that both name alike are not opened again."""
        changed = type(self)(recipe, draft=self.draft, source=self._given, workers=self.workers)
        if self._given is not None or _names_same_passes(recipe, self.recipe):
            changed._opened, changed._is_kept = self._opened, self._is_kept
        changed._shelf = self._shelf
        return changed

    def smaller(self, width: int) -> Self:
        """Give a view that is kept in memory at a smaller width, for pictures that must be quick.

        Passes are averaged in scene-linear light, which commutes with the mix. Those of drafts are
        kept at that width, so that the next view has them at once.

        Parameters
        ----------
        width : int
            Pixels; a view that is narrower stays as it is.

        Raises
        ------
        PassError
            When a pass cannot be read.

        Examples
        --------
        >>> import evenfall
        >>> from evenfall.develop.example import example_recipe
        >>> evenfall.open(example_recipe(), draft=True).keep().smaller(24).develop("dusk").size
        (24, 16)
        """
        from evenfall.develop.kept import KeptPasses
        from evenfall.develop.reduced import ReducedLibrary

        source = self.passes
        if isinstance(source, ReducedLibrary):
            source = source.smaller(width)
        return self._keeping(KeptPasses.of(source, workers=self.workers, width=width))

    def keep(self) -> Self:
        """Read all passes now and keep them in memory, so that moods are developed at once.

        A draft of 1280 x 720 pixels takes 6 MB a light; the full size of a view a few hundred. A
        run reads the files, as ever.

        Raises
        ------
        PassError
            When a pass cannot be read.

        Examples
        --------
        >>> import evenfall
        >>> from evenfall.develop.example import example_recipe
        >>> kept = evenfall.open(example_recipe(), draft=True).keep()
        >>> kept.develop("dusk").size
        (48, 32)
        """
        from evenfall.develop.kept import KeptPasses

        return self._keeping(KeptPasses.of(self.passes, workers=self.workers))

    def _keeping(self, source: PassSource) -> Self:
        kept = type(self)(self.recipe, draft=self.draft, source=self._given, workers=self.workers)
        kept._asked, kept._shelf, kept._opened = self._asked, self._shelf, Once(lambda: source)
        kept._is_kept = True
        return kept


def _names_same_passes(one: Recipe, other: Recipe) -> bool:
    """Whether two recipes read the same pixels of the same files."""
    lights, others = one.model.lights, other.model.lights
    return (
        one.passes_folder == other.passes_folder
        and one.model.passes == other.model.passes
        and one.model.draft.width == other.model.draft.width
        and list(lights) == list(others)
        and all(lights[light].sources == others[light].sources for light in lights)
    )


def _new_shelf() -> Shelf:
    from evenfall.develop.shelf import Shelf

    return Shelf()
