"""Several views made one after the other; what fails in one does not stop the others."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from evenfall.errors import EvenfallError, Fault, RecipeError, UsageError
from evenfall.recipe.inheriting import base_files
from evenfall.recipe.reading import parse_toml, read_text
from evenfall.recipe.words.suggesting import joined
from evenfall.system.arguments import given_path
from evenfall.view.opening import open_view

if TYPE_CHECKING:
    from evenfall.produce.events import OnEvent
    from evenfall.recipe import Recipe
    from evenfall.record.report import RunReport
    from evenfall.view.view import View

__all__ = ["ViewRun", "farm_out_views", "find_recipes", "open_views", "run_views"]

_OF_A_RECIPE = {"lights", "moods", "based_on"}


@dataclass(frozen=True)
class ViewRun:
    """What came of one view of several.

    Parameters
    ----------
    recipe : Path
        Its recipe.
    report : RunReport or None
        What was made; None where it could not be.
    error : EvenfallError or None
        Why not.
    seconds : float
        How long it took.
    sequence_left : str
        Sequence of its recipe whose frames were not made; empty: none.
    """

    recipe: Path
    report: RunReport | None = None
    error: EvenfallError | None = None
    seconds: float = 0.0
    sequence_left: str = ""

    @property
    def is_whole(self) -> bool:
        """Whether everything was made that was to be made."""
        return self.report is not None and not self.report.faults


def find_recipes(named: Iterable[str | Path]) -> tuple[Path, ...]:
    """Give recipes by name, and for a folder those in it.

    Parameters
    ----------
    named : iterable of str or Path
        Recipes, and folders of recipes. Of a folder, files that its other recipes build on are left
        out, as are those that are no recipes.

    Raises
    ------
    UsageError
        When a folder holds no recipe.

    Examples
    --------
    >>> from evenfall.develop.example import example_recipe
    >>> [path.name for path in find_recipes([example_recipe().path.parent])]
    ['corner.toml']
    """
    found: dict[str, Path] = {}
    for each in named:
        path = given_path(each, "a recipe")
        for recipe in _in_folder(path) if path.is_dir() else [path]:
            found.setdefault(str(recipe.resolve()), recipe)
    return tuple(found.values())


def _in_folder(folder: Path) -> list[Path]:
    files = sorted(folder.glob("*.toml"), key=lambda path: path.name)
    recipes = [path for path in files if not path.name.startswith(".") and _seems_recipe(path)]
    shared = {base.resolve() for path in recipes for base in base_files(path)}
    views = [path for path in recipes if path.resolve() not in shared]
    if not views:
        hint = "'evenfall survey FOLDER --write RECIPE' writes a first one"
        raise UsageError(Fault(str(folder), "", "holds no recipe", "", hint))
    return views


def _seems_recipe(path: Path) -> bool:
    """Whether a file is a recipe, or may be one that is broken, which its owner wants to know."""
    try:
        return not _OF_A_RECIPE.isdisjoint(parse_toml(read_text(path), str(path)))
    except RecipeError:
        return True


def open_views(
    recipes: Sequence[str | Path],
    *,
    changes: str | Sequence[str] = (),
    draft: bool = False,
    workers: int | None = None,
) -> tuple[View, ...]:
    """Open several views, all of which must be sound.

    Parameters
    ----------
    recipes : sequence of str or Path
        As for `find_recipes`.
    changes, draft, workers
        As for `evenfall.open`, of every view.

    Raises
    ------
    RecipeError, UsageError
        With the faults of all of them.
    """
    views: list[View] = []
    faults: list[Fault] = []
    for path in find_recipes(recipes):
        try:
            views.append(open_view(path, changes=changes, draft=draft, workers=workers))
        except RecipeError as error:
            faults += error.faults
    if faults:
        raise RecipeError(dict.fromkeys(faults))
    return tuple(views)


def run_views(
    recipes: Sequence[str | Path],
    *,
    moods: str | Sequence[str] = (),
    changes: str | Sequence[str] = (),
    out: str | Path | None = None,
    draft: bool = False,
    overwrite: bool = False,
    dry_run: bool = False,
    keep_going: bool = False,
    workers: int | None = None,
    on_begin: Callable[[Path], None] | None = None,
    on_event: OnEvent | None = None,
) -> Iterator[ViewRun]:
    """Make the deliverables of several views, one after the other, in the memory of one.

    All recipes are read before the first is made, so that what is wrong with one is told at once.

    Parameters
    ----------
    recipes : sequence of str or Path
        As for `find_recipes`.
    moods, out, overwrite, dry_run, keep_going, on_event
        As for `View.run`.
    changes, draft, workers
        As for `evenfall.open`.
    on_begin : callable, optional
        Told of each view when its turn comes.

    Yields
    ------
    ViewRun
        First those whose recipes are not sound, then the others as they are done.

    Raises
    ------
    UsageError
        When there is no recipe in a folder, or two would write files of the same names.

    Examples
    --------
    >>> from evenfall.develop.example import example_recipe
    >>> paths = [example_recipe().path, example_recipe().path.with_name("hall.toml")]
    >>> for made in run_views(paths, moods="dusk"):
    ...     print(made.recipe.name, made.error.faults[0].found if made.error else "made")
    hall.toml there is no such file
    corner.toml made
    """
    paths = find_recipes(recipes)
    _refuse_same_names(paths, out)
    sound = []
    for path in paths:
        try:
            open_view(path, changes=changes, check_files=not keep_going)
        except EvenfallError as error:
            yield ViewRun(path, error=error)
        else:
            sound.append(path)
    for path in sound:
        begun = time.perf_counter()
        if on_begin is not None:
            on_begin(path)
        try:
            view = open_view(
                path,
                changes=changes,
                draft=draft,
                workers=workers,
                check_files=not keep_going,
                run_follows=True,
            )
            report = view.run(
                moods,
                out=out,
                overwrite=overwrite,
                dry_run=dry_run,
                keep_going=keep_going,
                on_event=on_event,
            )
        except EvenfallError as error:
            yield ViewRun(path, error=error, seconds=time.perf_counter() - begun)
        else:
            left = _sequence_left(view.recipe, moods)
            yield ViewRun(path, report, None, time.perf_counter() - begun, left)


def farm_out_views(
    recipes: Sequence[str | Path],
    scheduler: str,
    *,
    moods: str | Sequence[str] = (),
    changes: str | Sequence[str] = (),
    out: str | Path | None = None,
    draft: bool = False,
    overwrite: bool = False,
    keep_going: bool = False,
    workers: int | None = None,
    on_event: OnEvent | None = None,
) -> Iterator[ViewRun]:
    """Make the deliverables of several views on the workers of a Dask scheduler.

    The files are those that one machine makes, byte for byte. All workers have to see the folders
    of recipes, passes and pictures under the names that they have here, and to have the same
    versions; see docs/farm.md.

    Parameters
    ----------
    recipes : sequence of str or Path
        As for `find_recipes`.
    scheduler : str
        Its address, ``tcp://farm:8786``.
    moods, out, overwrite, keep_going, on_event
        As for `View.run`.
    changes, draft
        As for `evenfall.open`.
    workers : int, optional
        Threads that a worker may use for a mood; 1 otherwise.

    Yields
    ------
    ViewRun
        First those whose recipes are not sound, then the others as they are done.

    Raises
    ------
    UsageError
        When there is no such scheduler, or a worker has other versions or does not see a folder.
    OutputError
        When the scheduler or all workers stay away for ten minutes.
    """
    from evenfall.farm.views import farm_views

    paths = find_recipes(recipes)
    _refuse_same_names(paths, out)
    sound = []
    for path in paths:
        try:
            sound.append(open_view(path, changes=changes, check_files=not keep_going).recipe)
        except EvenfallError as error:
            yield ViewRun(path, error=error)
    recipes_by_path = {recipe.path: recipe for recipe in sound}
    for made in farm_views(
        sound,
        scheduler,
        moods=moods,
        out=None if out is None else given_path(out, "the folder"),
        draft=draft,
        overwrite=overwrite,
        keep_going=keep_going,
        threads=workers or 1,
        on_event=on_event,
    ):
        left = _sequence_left(recipes_by_path[made.recipe], moods)
        yield ViewRun(made.recipe, made.report, made.error, made.seconds, left)


def _sequence_left(recipe: Recipe, moods: str | Sequence[str]) -> str:
    sequence = recipe.model.sequence
    return sequence.name if sequence is not None and not moods else ""


def _refuse_same_names(paths: Sequence[Path], out: str | Path | None) -> None:
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
