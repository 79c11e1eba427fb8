"""A run, from a recipe to files under their final names."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import nullcontext
from pathlib import Path
from typing import TYPE_CHECKING

from evenfall.errors import UsageError
from evenfall.recipe import Recipe
from evenfall.recipe.choosing import choose_moods
from evenfall.record.earlier import Earlier
from evenfall.record.hashes import Hashes
from evenfall.record.report import RunReport, report_path
from evenfall.system.arguments import given_path
from evenfall.system.free_names import refuse_existing
from evenfall.system.processors import workers_of

if TYPE_CHECKING:
    from evenfall.passes.source import PassSource
    from evenfall.produce.events import OnEvent

__all__ = ["run"]


def run(
    recipe: Recipe,
    *,
    moods: str | Sequence[str] = (),
    out: str | Path | None = None,
    draft: bool = False,
    overwrite: bool = False,
    dry_run: bool = False,
    keep_going: bool = False,
    workers: int | None = None,
    source: PassSource | None = None,
    on_event: OnEvent | None = None,
) -> RunReport:
    """Make the deliverables of a recipe.

    Before any pixel is read or anything is written, the recipe, the headers of the passes, the
    balances and all looks are checked, so that what fails later is only what pixels decide: a
    damaged pass, plate or mask, or a place without light. Every file is written whole under its
    final name or not at all. Passes are read once for all moods. Files that an earlier run
    made of the same are kept, and only what they do not cover is read and made.

    Parameters
    ----------
    recipe : Recipe
        From `evenfall.load`.
    moods : str or sequence of str
        Only these moods; all otherwise. The contact sheet is made when all are.
    out : str or Path, optional
        Folder of the files; `pictures` beside the recipe otherwise.
    draft : bool
        Quick reduced pictures, named `_draft`, with the recipe's composition guides.
    overwrite : bool
        Whether files that exist may be replaced.
    dry_run : bool
        Check everything and say what would be made; nothing is written.
    keep_going : bool
        A pass that cannot be used stops only the moods that need it; the report says which.
    workers : int, optional
        Threads; one per processor otherwise. The files do not depend on it.
    source : PassSource, optional
        Passes that are open already; those that the recipe names otherwise.
    on_event : callable, optional
        Told of progress, one event at a time, from any thread.

    Returns
    -------
    RunReport
        What was made, of what, and how; also written as `<recipe>_report.json`.

    Raises
    ------
    RecipeError, UsageError
        When the recipe or the call cannot be.
    PassError, PixelSourceError
        When a pass or another picture cannot be used.
    OutputError
        When a file exists and may not be replaced, or cannot be written, or another run writes
        files of the same names into the folder.

    Examples
    --------
    >>> from evenfall.develop.example import example_recipe
    >>> report = run(example_recipe(), moods=["dusk"])
    >>> [file.path.name for file in report.files]
    ['corner_dusk.png']
    """
    if not isinstance(recipe, Recipe):
        raise UsageError(f"a run takes a Recipe, found {type(recipe).__name__}")
    chosen = choose_moods(recipe, moods)
    given = recipe.path.parent / "pictures" if out is None else given_path(out, "the folder")
    folder = given.absolute()
    workers = workers_of(workers)
    report = report_path(folder, recipe.output_stem, draft=draft)
    known = Earlier(RunReport.read(report)).inputs
    with Hashes(known, workers) as hashes:
        hashes.start([*_passes_on_somewhere(recipe, chosen), *known])
        # Modules that take long to import come while files are being hashed.
        from evenfall.develop.asked import Asked
        from evenfall.develop.checking import check_balances, check_moods
        from evenfall.develop.opening import open_passes
        from evenfall.produce.events import FolderEntered
        from evenfall.produce.folder import enter_folder
        from evenfall.produce.making import make
        from evenfall.produce.outcome import Outcome
        from evenfall.produce.plan import plan_run
        from evenfall.produce.targets import plan_files

        asked = Asked(recipe)
        checked = check_moods(asked, chosen, keep_going=keep_going)
        if source is None:
            source = open_passes(recipe, draft=draft, keep_going=keep_going)
        if source.headers.keys() >= recipe.model.lights.keys():  # else some may be unknown
            check_balances(asked, chosen, source.space, source.luminance_scale)
        files = plan_files(recipe, chosen, folder, source, checked.looks, draft=draft)
        if not dry_run and on_event is not None:
            on_event(FolderEntered(folder))
        entered = nullcontext(()) if dry_run else enter_folder(folder, [*files.paths, report])
        with entered as abandoned:
            hashes.finish()
            earlier = Earlier(RunReport.read(report))
            plan = plan_run(
                asked, source, checked, chosen, files, earlier, hashes, out=folder, draft=draft
            )
            refuse_existing(plan.to_make, allowed=overwrite or dry_run)
            if dry_run:
                return Outcome(plan, earlier).planned()
            return make(
                plan,
                earlier,
                report,
                abandoned=abandoned,
                overwrite=overwrite,
                keep_going=keep_going,
                workers=workers,
                tell=on_event,
            )


def _passes_on_somewhere(recipe: Recipe, moods: Sequence[str]) -> list[Path]:
    """Files of lights that are on in one of these moods."""
    settings = [recipe.moods[mood].lights for mood in moods]
    files = (
        source.file
        for name, light in recipe.model.lights.items()
        if not all(some[name].off for some in settings)
        for source in light.sources
    )
    return [recipe.pass_path(file) for file in dict.fromkeys(files)]
