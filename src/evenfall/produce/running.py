"""A run, from a recipe to files under their final names."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from contextlib import nullcontext
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from evenfall.errors import UsageError
from evenfall.recipe import Recipe
from evenfall.recipe.choosing import choose_moods
from evenfall.record.earlier import Earlier
from evenfall.record.former import EarlierRound
from evenfall.record.hashes import Hashes
from evenfall.record.naming import former_place, name_ending, pictures_folder, refuse_kept
from evenfall.record.part_notes import PartNotes, part_note_path
from evenfall.record.report import RunReport, frame_report_path, report_path
from evenfall.system.arguments import given_path
from evenfall.system.free_names import refuse_existing
from evenfall.system.processors import workers_of

if TYPE_CHECKING:
    from evenfall.passes.source import PassSource
    from evenfall.produce.events import OnEvent
    from evenfall.produce.plan import KeepSmall
    from evenfall.produce.shared import Shared

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
    shared: Shared | None = None,
    part: KeepSmall | None = None,
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
        Folder of the files; `pictures` beside the recipe otherwise, from the second round of
        feedback on a folder in it, and `drafts` for drafts.
    draft : bool
        Quick reduced pictures, named `_draft`, with the recipe's composition guides; those that
        exist are replaced.
    overwrite : bool
        Whether files that exist may be replaced; those of a round that is kept never are.
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
    shared : Shared, optional
        What the frames of a run of many have in common; who leads that run has claimed them.
    part : callable, optional
        Makes this a part of a run that somebody else leads, who has claimed the files and writes
        the report; what is made of the one mood is noted for it. This is given small pictures for
        the contact sheet: a digest of what each was made of, and its codes.

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
    if out is None:
        folder = pictures_folder(recipe, draft=draft)
    else:
        folder = given_path(out, "the folder").absolute()
    workers = workers_of(workers)
    report, notes, earlier_in = _where_told(
        recipe,
        folder,
        chosen,
        draft=draft,
        is_usual=out is None and not draft,
        is_part=part is not None,
        shared=shared,
    )
    known = earlier_in(bring=False).inputs
    with Hashes(known, workers) as hashes:
        if shared is None:  # else other frames keep the processors busy, and reading finds them
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

        asked = Asked(recipe, None if shared is None else shared.metered)
        checked = check_moods(asked, chosen, keep_going=keep_going)
        if source is None:
            standing = None if shared is None else shared.standing
            source = open_passes(recipe, draft=draft, keep_going=keep_going, standing=standing)
        if source.headers.keys() >= recipe.model.lights.keys():  # else some may be unknown
            scale = source.luminance_scale
            check_balances(asked, chosen, source.space, scale, keep_going=keep_going)
        files = plan_files(recipe, chosen, folder, source, checked.looks, draft=draft)
        stands_apart = dry_run or part is not None or shared is not None
        if not dry_run and on_event is not None:
            on_event(FolderEntered(folder))
        entered = nullcontext(()) if stands_apart else enter_folder(folder, [*files.paths, report])
        with entered as abandoned:
            hashes.finish()
            earlier = earlier_in(bring=not dry_run)
            plan = plan_run(
                asked,
                source,
                checked,
                chosen,
                files,
                earlier,
                hashes,
                out=folder,
                draft=draft,
                is_part=part is not None,
            )
            refuse_kept(recipe, plan.to_make)
            refuse_existing(plan.to_make, allowed=overwrite or dry_run or draft)
            if dry_run:
                return Outcome(plan, earlier).planned()
            return make(
                plan,
                earlier,
                report,
                abandoned=abandoned,
                overwrite=overwrite or draft,
                keep_going=keep_going,
                workers=workers,
                tell=on_event,
                shared=shared,
                part=part,
                notes=notes,
            )


def _where_told(
    recipe: Recipe,
    folder: Path,
    chosen: Sequence[str],
    *,
    draft: bool,
    is_usual: bool,
    is_part: bool,
    shared: Shared | None,
) -> tuple[Path, PartNotes, Callable[..., Earlier]]:
    """Say where the report goes, what it takes over, and how to find what stands already."""
    if shared is not None:
        report = frame_report_path(folder, recipe, chosen, draft=draft)
        earlier = partial(_earlier_frame, folder, report, shared.spent)
        return report, PartNotes(folder, ()), earlier
    report = report_path(folder, recipe.output_stem, draft=draft)
    names = chosen if is_part else recipe.moods
    notes = PartNotes.of(folder, recipe, names, draft=draft)
    earlier_in = partial(_earlier, recipe, folder, report, notes, is_usual=is_usual)
    if is_part:  # it notes for the report of others
        own = part_note_path(folder, recipe, chosen[0], draft=draft)
        return own, PartNotes(folder, ()), earlier_in
    return report, notes, earlier_in


def _earlier_frame(
    folder: Path, report: Path, spent: Mapping[Path, str], *, bring: bool
) -> Earlier:
    """Give what stands of a frame; nothing is brought from a round before."""
    return Earlier(RunReport.read(report, folder), spent)


def _earlier(
    recipe: Recipe, folder: Path, report: Path, notes: PartNotes, *, is_usual: bool, bring: bool
) -> Earlier:
    """Give what stands already: in the folder, and in that of the round before."""
    own = notes.joined_to(RunReport.read(report, folder))
    place = former_place(recipe) if is_usual else None
    former = None
    if place is not None:
        former = RunReport.read(report_path(place[0], recipe.output_stem, draft=False))
    if place is None or former is None:
        return Earlier(own)
    endings = name_ending(recipe), place[1]
    return EarlierRound(own, former, folder, endings=endings, bring=bring)


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
