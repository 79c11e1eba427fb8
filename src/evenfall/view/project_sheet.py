"""The contact sheet of a project: the moods of several views, under each other."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from evenfall.errors import EvenfallError
from evenfall.recipe.together import heading_of_all
from evenfall.recipe.words.suggesting import joined
from evenfall.record.values import FileReport
from evenfall.view.project import project_name

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    from evenfall.produce.sheet import SheetView
    from evenfall.record.report import RunReport
    from evenfall.view.several import ViewRun
    from evenfall.view.view import View

__all__ = ["sheet_of_all", "sheet_view", "write_project_sheet"]

_MOST_MISSING = 6


def sheet_view(view: View, report: RunReport, moods: str | Sequence[str] = ()) -> SheetView | None:
    """Gather what a view gives to the sheet of a project; None where it gives nothing.

    That is so where it wants no sheet, or where not all moods were asked for. Of a view that lacks
    moods it is those that were made.

    Parameters
    ----------
    view : View
        The view.
    report : RunReport
        Of its run. Small pictures are those that runs keep; a mood of which none is left is
        developed again.
    moods : str or sequence of str
        Moods that were asked for; all of them when empty.
    """
    recipe = view.recipe
    asked = {moods} if isinstance(moods, str) else set(moods)
    is_of_all = not asked or asked == set(recipe.moods)
    if not recipe.model.sheet.make or report.dry_run or not is_of_all:
        return None
    from evenfall.develop.asked import Asked
    from evenfall.develop.opening import open_passes
    from evenfall.produce.sheet import SheetView
    from evenfall.record.digest import Origins
    from evenfall.record.versions import versions

    try:
        if report.faults:  # a pass cannot be used, which stops only the moods that need it
            source = open_passes(recipe, draft=report.draft, keep_going=True)
            view = type(view)(recipe, draft=report.draft, source=source, workers=view.workers)
        pictures = {mood: _small(view, report, mood) for mood in report.moods}
    except EvenfallError:  # a pass was taken away meanwhile
        return None
    origins = Origins(Asked(recipe), view.passes, versions(), {}, draft=report.draft)
    return SheetView(recipe, report.moods, pictures, origins.sheet_record(report.moods))


def _small(view: View, report: RunReport, mood: str) -> npt.NDArray[np.uint8]:
    from evenfall.produce.plan import sheet_picture_size
    from evenfall.produce.stills import srgb_still
    from evenfall.record.thumbnails import load_thumbnail, store_thumbnail

    size, made_of = sheet_picture_size(view.recipe, view.passes), report.moods[mood].made_of
    kept = None if made_of is None else load_thumbnail(made_of.digest, size)
    if kept is not None:
        return kept
    drawn = srgb_still(view.develop(mood), size[0])
    if made_of is not None and drawn.shape[1::-1] == size:
        store_thumbnail(made_of.digest, drawn)
    return drawn


def write_project_sheet(
    views: Sequence[SheetView],
    out: Path,
    *,
    missing: Sequence[str] = (),
    draft: bool = False,
    overwrite: bool = False,
) -> FileReport:
    """Write the contact sheet of several views; one that would come out the same is kept.

    It is called after the file that all views build on, or else after their folder. One that lacks
    something says so in its name and at its foot; it is always replaced, and taken away when there
    is a whole one.

    Parameters
    ----------
    views : sequence of SheetView
        From `sheet_view`.
    out : Path
        Folder in which it goes.
    missing : sequence of str
        Views and moods that could not be made.
    draft : bool
        Whether it shows drafts; those are always replaced.
    overwrite : bool
        Whether a sheet that exists may be replaced.

    Raises
    ------
    OutputError
        When it exists, is another one, and may not be replaced, or cannot be written.
    PixelSourceError
        When the studio's logo cannot be drawn.
    """
    from evenfall.deliver.provenance import Provenance
    from evenfall.produce.sheet import make_project_sheet
    from evenfall.produce.targets import sheet_path
    from evenfall.record.versions import versions
    from evenfall.system.atomic import write_atomically
    from evenfall.system.free_names import holds

    recipe = views[0].recipe
    recipes = [view.recipe for view in views]
    name, project = project_name(recipes), recipe.model.project
    told = tuple(view.provenance for view in views if view.provenance.is_told)
    record = Provenance(
        recipe=name,
        recipe_text="",
        mood="",
        version=versions()["evenfall"],
        draft=draft,
        is_told=bool(told),
        title=heading_of_all(recipes, name),
        author=project.author or "",
        copyright=project.copyright or "",
        views=told,
    )
    said = joined(missing, "and", most=_MOST_MISSING)
    data = make_project_sheet(views, name, record, draft=draft, missing=said)
    whole, partial = (
        sheet_path(recipe, out, draft=draft, of=name, is_whole=is_whole)
        for is_whole in (True, False)
    )
    path = partial if missing else whole
    is_kept = holds(path, data)
    if not is_kept:
        write_atomically(path, data, overwrite=overwrite or draft or bool(missing))
    if not missing:
        partial.unlink(missing_ok=True)
    return FileReport(
        path=path,
        mood="",
        format=recipe.model.sheet.format,
        bytes=len(data),
        sha256=hashlib.sha256(data).hexdigest(),
        kept=is_kept,
    )


def sheet_of_all(
    runs: Sequence[ViewRun], *, draft: bool = False, overwrite: bool = False
) -> FileReport | None:
    """Write the contact sheet of the project that several views make up.

    Parameters
    ----------
    runs : sequence of ViewRun
        All views that were asked for.
    draft, overwrite
        As for their runs.

    Returns
    -------
    FileReport or None
        What was made or kept; None where less than two views can be shown, or one wants no sheet.

    Raises
    ------
    OutputError, PixelSourceError
        As `write_project_sheet`.
    """
    shown = [one for one in runs if one.on_sheet is not None and one.on_sheet.moods]
    views = [one.on_sheet for one in shown if one.on_sheet is not None]
    reports = [one.report for one in shown if one.report is not None]
    if len(views) < 2 or any(one.on_sheet is None and one.error is None for one in runs):
        return None
    missing = [text for one in runs for text in _missing(one)]
    return write_project_sheet(
        views, reports[0].out, missing=missing, draft=draft, overwrite=overwrite
    )


def _missing(run: ViewRun) -> list[str]:
    """Name a view that is not on the sheet, or its moods that are not."""
    name, view = run.recipe.stem, run.on_sheet
    if view is None or not view.moods:
        return [name]
    moods = [mood for mood in view.recipe.moods if mood not in view.moods]
    return [f"{name} ({', '.join(moods)})"] if moods else []
