"""Views made by many machines: moods are given out, and what came of them is put together here."""

from __future__ import annotations

import time
from collections.abc import Iterator, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, field
from pathlib import Path

from evenfall.errors import FaultyError
from evenfall.farm.crew import Crew
from evenfall.farm.frames import token_in
from evenfall.farm.parts import Made, Part, digest_of, error_of
from evenfall.produce.events import FileDone, OnEvent, RunPlanned, TakesTime, unheard
from evenfall.produce.folder import enter_folder
from evenfall.produce.running import run
from evenfall.recipe import Recipe
from evenfall.recipe.choosing import choose_moods
from evenfall.record.naming import pictures_folder, refuse_kept
from evenfall.record.part_notes import PartNotes, without_lost
from evenfall.record.report import RunReport, State, report_path
from evenfall.record.thumbnails import store_thumbnail
from evenfall.system.atomic import write_atomically
from evenfall.system.free_names import refuse_existing

__all__ = ["FarmedView", "farm_views"]


@dataclass(frozen=True)
class FarmedView:
    """What came of a view.

    Parameters
    ----------
    recipe : Path
        Its recipe.
    report : RunReport or None
        What was made.
    error : FaultyError or None
        Why nothing was.
    seconds : float
        From when the run began until it was done.
    """

    recipe: Path
    report: RunReport | None = None
    error: FaultyError | None = None
    seconds: float = 0.0


@dataclass
class _Job:
    """A view on its way."""

    recipe: Recipe
    moods: tuple[str, ...]
    out: Path
    plan: RunReport
    parts: list[Part] = field(default_factory=list)
    made: dict[str, Made] = field(default_factory=dict)
    claim: ExitStack = field(default_factory=ExitStack)

    @property
    def is_done(self) -> bool:
        return len(self.made) == len(self.parts)


def farm_views(
    recipes: Sequence[Recipe],
    address: str,
    *,
    moods: str | Sequence[str] = (),
    out: Path | None = None,
    draft: bool = False,
    overwrite: bool = False,
    keep_going: bool = False,
    threads: int = 1,
    on_event: OnEvent | None = None,
) -> Iterator[FarmedView]:
    """Make views by the workers of a scheduler.

    Parameters
    ----------
    recipes : sequence of Recipe
        The views.
    address : str
        Of the scheduler, ``tcp://farm:8786``.
    moods, draft, overwrite, keep_going
        As for a run, of every view.
    out : Path, optional
        Folder of the files of all views; that of each view otherwise.
    threads : int
        That a worker may use for a mood.
    on_event : callable, optional
        Told of progress.

    Yields
    ------
    FarmedView
        As views are done.

    Raises
    ------
    UsageError
        When there is no such scheduler, or a machine is not like this one.
    OutputError
        When the scheduler or all workers stay away; what was made stays.
    """
    begun = time.monotonic()
    jobs: list[_Job] = []
    for recipe in recipes:
        try:
            job = _planned(
                recipe, moods, out, draft=draft, overwrite=overwrite, keep_going=keep_going
            )
            jobs.append(job)
        except FaultyError as error:
            yield FarmedView(recipe.path, error=error, seconds=time.monotonic() - begun)
    tell = on_event or unheard
    with ExitStack() as claims:
        for job in jobs:
            _begin(job, claims, draft=draft, keep_going=keep_going, threads=threads)
        parts = [part for job in jobs for part in job.parts]
        files = sum(len(job.plan.files) for job in jobs)
        tell(RunPlanned(0, tuple(part.name for part in parts), files))
        by_part = {id(part): job for job in jobs for part in job.parts}

        def finished(job: _Job) -> FarmedView:
            job.claim.close()
            try:
                report = _put_together(
                    job, moods, out, draft=draft, overwrite=overwrite, keep_going=keep_going
                )
            except FaultyError as error:
                return FarmedView(job.recipe.path, error=error, seconds=time.monotonic() - begun)
            return FarmedView(job.recipe.path, report, seconds=time.monotonic() - begun)

        yield from (finished(job) for job in jobs if job.is_done)
        claims.callback(lambda: _tell_all(jobs, draft=draft))
        for part, made in Crew(address, lambda text: tell(TakesTime(text))).work(parts):
            job = by_part[id(part)]
            job.made[part.mood] = made
            for digest, codes in made.small_pictures.items():
                store_thumbnail(digest, codes)
            for file in made.report.files if made.report is not None else ():
                tell(FileDone(file.path, file.mood, kept=file.kept))
            if job.is_done:
                yield finished(job)


def _planned(
    recipe: Recipe,
    moods: str | Sequence[str],
    out: Path | None,
    *,
    draft: bool,
    overwrite: bool,
    keep_going: bool,
) -> _Job:
    """Check a view as a run does, and find out what has to be made of it."""
    chosen = choose_moods(recipe, moods)
    folder = pictures_folder(recipe, draft=draft) if out is None else out.absolute()
    plan = run(recipe, moods=chosen, out=out, draft=draft, dry_run=True, keep_going=keep_going)
    to_make = [file for file in plan.files if not file.kept]
    refuse_kept(recipe, [file.path for file in to_make])
    refuse_existing([file.path for file in to_make], allowed=overwrite or draft)
    busy = {file.mood for file in to_make}
    return _Job(recipe, tuple(mood for mood in chosen if mood in busy), folder, plan)


def _begin(job: _Job, claims: ExitStack, *, draft: bool, keep_going: bool, threads: int) -> None:
    """Claim the files of a view, and make its parts."""
    report = report_path(job.out, job.recipe.output_stem, draft=draft)
    names = [*(file.path for file in job.plan.files if file.path.parent == job.out), report]
    if not job.moods:
        return
    claims.enter_context(job.claim)
    job.claim.enter_context(enter_folder(job.out, names))
    token = job.claim.enter_context(token_in(job.out))
    job.parts = [
        Part(
            job.recipe.path.absolute(),
            digest_of(job.recipe),
            mood,
            job.recipe.changes,
            job.out,
            token,
            draft,
            keep_going,
            threads,
        )
        for mood in job.moods
    ]


def _put_together(
    job: _Job,
    moods: str | Sequence[str],
    out: Path | None,
    *,
    draft: bool,
    overwrite: bool,
    keep_going: bool,
) -> RunReport:
    """Make what shows all moods, and the report; everything else is made already."""
    lost = [made for made in job.made.values() if made.report is None]
    if lost:
        told = _told(job, "failed", draft=draft)
        if told is None or len(lost) == len(job.made):
            raise error_of(lost[0], [fault for made in lost for fault in made.faults])
        return told
    report = run(
        job.recipe,
        moods=moods,
        out=out,
        draft=draft,
        overwrite=overwrite,
        keep_going=keep_going,
    )
    reports = [made.report for made in job.made.values() if made.report is not None]
    new = {file.path for each in reports for file in each.files if not file.kept}
    files = (
        file.model_copy(update={"kept": False}) if file.path in new else file
        for file in report.files
    )
    return report.model_copy(update={"files": tuple(files)})


def _tell_all(jobs: Sequence[_Job], *, draft: bool) -> None:
    for job in jobs:
        if not job.is_done:
            _told(job, "stopped", draft=draft)


def _told(job: _Job, state: State, *, draft: bool) -> RunReport | None:
    """Write as the report of a run what machines have noted so far; None where that is nothing."""
    recipe, out = job.recipe, job.out
    notes = PartNotes.of(out, recipe, job.moods, draft=draft)
    path = report_path(out, recipe.output_stem, draft=draft)
    earlier = RunReport.read(path, out)
    report = notes.joined_to(earlier)
    if report is None or report is earlier:
        return None
    lost = [fault for made in job.made.values() for fault in made.faults]
    faults = tuple(dict.fromkeys((*lost, *report.faults)))
    report = report.model_copy(update={"state": state, "report": path, "faults": faults})
    if state == "failed":  # else machines may be at it still, and what they noted comes
        report = without_lost(report)
    write_atomically(path, report.to_bytes(), overwrite=True)
    notes.take_away()
    return report
