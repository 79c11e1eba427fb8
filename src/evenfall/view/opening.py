"""Opening a view, from whatever names it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import nullcontext
from pathlib import Path
from typing import TYPE_CHECKING, Any

from evenfall.system.arguments import given_path, given_texts

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    from evenfall.passes.source import PassSource
    from evenfall.recipe import Recipe
    from evenfall.view.view import View

    Arrays = Mapping[str, npt.NDArray[np.floating[Any]]]

__all__ = ["open_view"]


def open_view(
    recipe: str | Path | Recipe,
    *,
    changes: str | Sequence[str] = (),
    passes: str | Path | Arrays | None = None,
    draft: bool = False,
    workers: int | None = None,
    check_files: bool = True,
    run_follows: bool = False,
) -> View:
    """Open a view; as `evenfall.open`.

    Parameters
    ----------
    recipe : str, Path or Recipe
        The recipe's file, or a recipe from `evenfall.load`.
    changes : str or sequence of str
        One-off changes, 'PLACE=VALUE': ``moods.dusk.lights.sun.stops=-1``.
    passes : str, Path or mapping of str to ndarray, optional
        Folder of the passes instead of the recipe's own; or the passes themselves by light:
        scene-linear, shape (H, W, 3 or 4), float16 or float32, in the recipe's colour space.
    draft : bool
        Whether moods are developed at the reduced size of drafts.
    workers : int, optional
        Threads; one per processor otherwise. No result depends on them.
    check_files : bool
        Whether files that the recipe names must exist.
    run_follows : bool
        True: fingerprints of the passes are begun while the recipe is being checked.

    Raises
    ------
    RecipeError
        With every fault of the recipe.
    UsageError
        When what is given is no recipe.
    PassError
        When an array is of another shape or type.

    Examples
    --------
    >>> import evenfall
    >>> from evenfall.develop.example import example_recipe
    >>> evenfall.open(example_recipe().path, changes="moods.day.lights.sun=-1").moods
    ('day', 'dusk')
    """
    is_folder = passes is not None and not isinstance(passes, Mapping)
    folder = given_path(passes, "the passes' folder") if is_folder else None
    changes = given_texts(changes, "a change")
    with _fingerprints(recipe, folder) if run_follows else nullcontext():
        check_files = check_files and not isinstance(passes, Mapping)
        loaded = _loaded(recipe, changes, folder, check_files=check_files)
        from evenfall.view.view import View
    source = _kept(loaded, passes) if isinstance(passes, Mapping) else None
    return View(loaded, draft=draft, source=source, workers=workers)


def _fingerprints(recipe: str | Path | Recipe, folder: Path | None) -> Any:
    from evenfall.record.ahead import fingerprints_ahead

    if isinstance(recipe, str | Path):
        return fingerprints_ahead(Path(recipe), folder)
    return nullcontext()


def _loaded(
    recipe: str | Path | Recipe,
    changes: tuple[str, ...],
    folder: Path | None,
    *,
    check_files: bool,
) -> Recipe:
    from evenfall.recipe import Recipe, load

    if not isinstance(recipe, Recipe):
        return load(recipe, changes=changes, passes=folder, check_files=check_files)
    if folder is not None:
        changes = (*recipe.changes, *changes)
        return load(recipe.path, changes=changes, passes=folder, check_files=check_files)
    return recipe.with_changes(*changes, check_files=check_files) if changes else recipe


def _kept(recipe: Recipe, arrays: Arrays) -> PassSource:
    from evenfall.develop.kept import KeptPasses
    from evenfall.errors import UsageError
    from evenfall.light.primaries import BT709, RGB_SPACES

    missing = [light for light in recipe.model.lights if light not in arrays]
    if missing:
        raise UsageError(f"no pass is given of {', '.join(missing)}")
    said = recipe.model.passes
    return KeptPasses.of_arrays(
        {light: arrays[light] for light in recipe.model.lights},
        space=BT709 if said.colour_space is None else RGB_SPACES[said.colour_space],
        luminance_scale=said.luminance_scale,
    )
