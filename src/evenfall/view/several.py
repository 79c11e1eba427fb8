"""Several views made one after the other; what fails in one does not stop the others."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from evenfall.errors import EvenfallError, Fault, RecipeError, UsageError
from evenfall.recipe.inheriting import base_files
from evenfall.recipe.reading import parse_toml, read_text
from evenfall.system.arguments import given_path
from evenfall.view.opening import open_view
from evenfall.view.project_sheet import sheet_view
from evenfall.view.same_names import refuse_same_names

if TYPE_CHECKING:
    from evenfall.produce.events import OnEvent
    from evenfall.produce.sheet import SheetView
    from evenfall.recipe import Recipe
    from evenfall.record.frames_report import FramesReport
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
    frames : FramesReport or None
        What came of its frames, where there were any to make.
    on_sheet : SheetView or None
        What it gives to the contact sheet of the project.
    """

    recipe: Path
    report: RunReport | None = None
    error: EvenfallError | None = None
    seconds: float = 0.0
    frames: FramesReport | None = None
    on_sheet: SheetView | None = field(default=None, repr=False)

    @property
    def is_whole(self) -> bool:
        """Whether everything was made that was to be made."""
        reports = [one for one in (self.report, self.frames) if one is not None]
        return self.error is None and not any(one.faults for one in reports)


def find_recipes(named: Iterable[str | Path]) -> tuple[Path, ...]:
    """Give recipes by name, and for a folder those in it.

    Parameters
    ----------
    named : iterable of str or Path
        Recipes, and folders of recipes. Of a folder, files that its other recipes build on are left
        out, as are those that are no recipes. Recipes that build on themselves are given, so that
        it is told.

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
    views = [path for path in recipes if path.resolve() not in shared or _is_circle(path)]
    if not views:
        hint = "'evenfall survey FOLDER --write RECIPE' writes a first one"
        raise UsageError(Fault(str(folder), "", "holds no recipe", "", hint))
    return views


def _is_circle(path: Path) -> bool:
    """Whether a recipe builds on itself by way of others."""
    real = path.resolve()
    return any(real == other.resolve() for base in base_files(path) for other in base_files(base))


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
    passes: str | Path | None = None,
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
    passes : str or Path, optional
        As for `evenfall.open`; of one view only.

    Raises
    ------
    RecipeError, UsageError
        With the faults of all of them.
    """
    views: list[View] = []
    faults: list[Fault] = []
    paths = find_recipes(recipes)
    if passes is not None and len(paths) > 1:
        raise UsageError("--passes goes with one recipe.")
    for path in paths:
        try:
            views.append(
                open_view(path, changes=changes, passes=passes, draft=draft, workers=workers)
            )
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
    frames: str | None = None,
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
        As for `View.run`. Frames of a sequence are made after the moods; alone where its name is
        the mood.
    frames : str, optional
        Only these frames, such as "1-100,205", and no stills; views without frames are left out.
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
        When there is no recipe in a folder, two would write files of the same names, or frames are
        asked for and no view has any.

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
    refuse_same_names(paths, out)
    sound = []
    for path in paths:
        try:
            view = open_view(path, changes=changes, check_files=not keep_going)
        except EvenfallError as error:
            yield ViewRun(path, error=error)
        else:
            if frames is None or _has_frames(view.recipe):
                sound.append(path)
            else:
                yield ViewRun(path)
    if not sound and frames is not None:
        raise UsageError(
            "there are no frames: none of these recipes has #### in the name of a light's file, or "
            "a [sequence]"
        )
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
            made = _make(
                view,
                moods,
                frames,
                None if out is None else given_path(out, "the folder"),
                overwrite=overwrite,
                dry_run=dry_run,
                keep_going=keep_going,
                on_event=on_event,
            )
        except EvenfallError as error:
            yield ViewRun(path, error=error, seconds=time.perf_counter() - begun)
        else:
            yield replace(made, seconds=time.perf_counter() - begun)


def _make(
    view: View,
    moods: str | Sequence[str],
    frames: str | None,
    out: Path | None,
    **options: Any,
) -> ViewRun:
    """Make the moods of a view, its frames, or both."""
    path = view.recipe.path
    names = (moods,) if isinstance(moods, str) else tuple(moods)
    if frames is not None or _is_hour(view.recipe, names):
        return ViewRun(path, frames=view.frames(names, frames=frames, out=out, **options))
    report = view.run(names, out=out, **options)
    made = ViewRun(path, report, on_sheet=sheet_view(view, report, names))
    if view.recipe.model.sequence is None or names:
        return made
    return _with_frames(made, view, out=None if out is None else out / "frames", **options)


def _has_frames(recipe: Recipe) -> bool:
    return recipe.model.sequence is not None or recipe.has_frames


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
    frames: str | None = None,
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
    moods, out, overwrite, keep_going, frames, on_event
        As for `run_views`.
    changes, draft
        As for `evenfall.open`.
    workers : int, optional
        Threads that a worker may use for a mood or a frame; 1 otherwise.

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
    refuse_same_names(paths, out)
    names = (moods,) if isinstance(moods, str) else tuple(moods)
    folder = None if out is None else given_path(out, "the folder")
    views, in_frames = {}, []
    for path in paths:
        try:
            view = open_view(
                path, changes=changes, draft=draft, workers=workers, check_files=not keep_going
            )
        except EvenfallError as error:
            yield ViewRun(path, error=error)
            continue
        if frames is not None and not _has_frames(view.recipe):
            yield ViewRun(path)
        elif frames is not None or _is_hour(view.recipe, names):
            in_frames.append(view)
        else:
            views[path] = view
    options: dict[str, Any] = {
        "overwrite": overwrite, "keep_going": keep_going, "on_event": on_event
    }  # fmt: skip
    for made in farm_views(
        [view.recipe for view in views.values()],
        scheduler,
        moods=names,
        out=folder,
        draft=draft,
        threads=workers or 1,
        **options,
    ):
        view = views[made.recipe]
        done = ViewRun(made.recipe, made.report, made.error, made.seconds)
        if made.report is not None and made.error is None:
            done = replace(done, on_sheet=sheet_view(view, made.report, names))
        if made.error is not None or names or view.recipe.model.sequence is None:
            yield done
            continue
        beside = None if folder is None else folder / "frames"
        yield _with_frames(done, view, out=beside, scheduler=scheduler, **options)
    for view in in_frames:
        done = ViewRun(view.recipe.path)
        yield _with_frames(done, view, names, frames, folder, scheduler=scheduler, **options)


def _is_hour(recipe: Recipe, names: Sequence[str]) -> bool:
    """Whether what is asked for is the sequence of a recipe."""
    sequence = recipe.model.sequence
    return sequence is not None and tuple(names) == (sequence.name,)


def _with_frames(
    made: ViewRun,
    view: View,
    moods: Sequence[str] = (),
    frames: str | None = None,
    out: Path | None = None,
    **options: Any,
) -> ViewRun:
    """Make the frames of a view, beside what is made of it already."""
    begun = time.perf_counter()
    try:
        report = view.frames(moods, frames=frames, out=out, **options)
        made = replace(made, frames=report)
    except EvenfallError as error:
        made = replace(made, error=error)
    return replace(made, seconds=made.seconds + time.perf_counter() - begun)
