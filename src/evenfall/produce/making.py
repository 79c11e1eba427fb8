"""The work of a planned run: read, mix, finish, write."""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from evenfall.advice.colours import advise_on_colours
from evenfall.advice.doubling import advise_on_doublings
from evenfall.advice.picture_sizes import advise_on_sizes, frame_facts
from evenfall.deliver.formats import codec
from evenfall.develop.engine import Development, develop_moods
from evenfall.develop.samples import Samples
from evenfall.errors import Advice, EvenfallError
from evenfall.produce.events import (
    Event,
    FileDone,
    MoodMixed,
    Note,
    OnEvent,
    PassRead,
    RunPlanned,
    TakesTime,
)
from evenfall.produce.outcome import Outcome, told_when_ended_early
from evenfall.produce.plan import KeepSmall, RunPlan
from evenfall.record.earlier import Earlier, is_intact, made_of_all
from evenfall.record.part_notes import PartNotes
from evenfall.record.report import RunReport, State
from evenfall.record.thumbnails import store_thumbnail
from evenfall.record.values import FileReport
from evenfall.survey.doubling import Doubling, find_doublings
from evenfall.system.atomic import write_atomically
from evenfall.system.locks import Claim

if TYPE_CHECKING:
    from evenfall.produce.finishing import FileEncoded, MoodFinished
    from evenfall.produce.shared import Shared
    from evenfall.produce.sheet import DrawSheet, SheetEncoded

__all__ = ["make"]

Codes = npt.NDArray[np.uint8]


def make(
    plan: RunPlan,
    earlier: Earlier,
    report: Path,
    *,
    abandoned: Sequence[Claim],
    overwrite: bool,
    keep_going: bool,
    workers: int,
    tell: OnEvent | None,
    shared: Shared | None = None,
    part: KeepSmall | None = None,
    notes: PartNotes,
) -> RunReport:
    """Make what a plan says is to be made, and write the report of it.

    Parameters
    ----------
    plan : RunPlan
        From `plan_run`.
    earlier : Earlier
        What an earlier run left in the folder.
    report : Path
        Where the report goes.
    abandoned : sequence of Claim
        Of runs that were to write some of these files and did not end.
    overwrite : bool
        Whether files that exist may be replaced.
    keep_going : bool
        What cannot be used stops only the moods that need it.
    workers : int
        Threads; the files do not depend on it.
    tell : callable or None
        Told of progress, one event at a time, from any thread.
    shared : Shared, optional
        What the frames of a run of many have in common.
    part : callable or None
        Where this is a part of a run that somebody else leads: it is given small pictures.
    notes : PartNotes
        Of parts of an earlier run; the report tells what they say.
    """
    run = _Run(
        plan, earlier, report, overwrite=overwrite, tell=tell, shared=shared, part=part, notes=notes
    )
    run.outcome.note(f"an earlier run did not end: {one}" for one in abandoned)
    try:
        return run.work(keep_going=keep_going, workers=workers)
    except BaseException as error:
        run.end_early(error)
        raise


class _Run:
    """One run, as planned."""

    def __init__(
        self,
        plan: RunPlan,
        earlier: Earlier,
        report: Path,
        *,
        overwrite: bool,
        tell: OnEvent | None,
        shared: Shared | None,
        part: KeepSmall | None,
        notes: PartNotes,
    ) -> None:
        self.part, self.notes = part, notes
        self.plan, self.overwrite, self.report_path = plan, overwrite, report
        self.shared = shared
        self.outcome = Outcome(plan, earlier)
        self.thumbnails: dict[str, Codes] = {} if plan.sheet is None else {**plan.sheet.pictures}
        self.looks_left = set(plan.to_mix)
        self.in_flight: FileReport | None = None
        self._samples = Samples(plan.source, plan.asked.recipe.model.passes.repair)
        self._on_event, self._telling = tell, threading.Lock()
        self._importing = threading.Thread(target=self._import_what_finishes, daemon=True)

    def tell(self, event: Event) -> None:
        if self._on_event is not None:
            with self._telling:
                self._on_event(event)

    def work(self, *, keep_going: bool, workers: int) -> RunReport:
        """Read, mix, finish, write."""
        plan, outcome = self.plan, self.outcome
        self.tell(RunPlanned(len(plan.lights_to_read), plan.to_mix, len(plan.order) + 1))
        for file in plan.kept:
            self.tell(FileDone(file.path, file.mood, kept=True))
        is_one_of_many = self.shared is not None or self.part is not None
        if plan.to_make and not is_one_of_many:  # else it is soon so far that a file is written
            self._write_report("begun")
        development = develop_moods(
            plan.source,
            plan.asked,
            plan.to_mix,
            workers=workers,
            keep_going=keep_going,
            on_read=self._on_read,
            shelf=None if self.shared is None else self.shared.shelf,
            held=None if self.shared is None else self.shared.held,
        )
        outcome.clock("read and mix")
        outcome.read(development.censuses)
        if self.shared is None:  # else it is said once for all frames
            doublings = find_doublings(self._samples.known())
            outcome.note(
                f"{each.place}: {each.message}; {each.reason}" for each in self._advice(doublings)
            )
        for mood, error in development.failures.items():
            self._give_up(mood, error)
        for mood in development.moods:
            self.tell(MoodMixed(mood))
        self._finish(development, keep_going=keep_going, workers=workers)
        outcome.clock("finish and write")
        report = self._write_report("ended")
        for note in report.notes:
            self.tell(Note(note))
        self.tell(FileDone(self.report_path, ""))
        return report

    def _advice(self, doublings: Sequence[Doubling]) -> Iterator[Advice]:
        """Advise on what is easily missed by those who only run."""
        recipe, source = self.plan.asked.recipe, self.plan.source
        yield from advise_on_doublings(recipe, doublings)
        yield from advise_on_colours(recipe)
        if not self.plan.draft:
            yield from advise_on_sizes(
                recipe, frame_facts(recipe, source.size, source.pixel_aspect)
            )

    def _on_read(self, event: PassRead) -> None:
        """Tell of a pass; while others are read, what is needed after them is imported."""
        if self.shared is None:
            if self._importing.ident is None:
                self._importing.start()
            self._samples.see(event)
        self.tell(event)

    def _import_what_finishes(self) -> None:
        import evenfall.produce.finishing  # noqa: F401

        for picture in self.plan.pictures:
            codec(picture.target.deliverable.format)

    def _give_up(self, mood: str, error: EvenfallError) -> None:
        self.outcome.give_up(mood, error)
        self.looks_left.discard(mood)

    def _finish(self, development: Development, *, keep_going: bool, workers: int) -> None:
        from evenfall.produce.crew import Crew, crew_of
        from evenfall.produce.finishing import (
            FileEncoded,
            MoodFailed,
            MoodFinished,
            MoodNoted,
            NextMood,
        )
        from evenfall.produce.sheet import SheetEncoded

        crew: Crew[FileEncoded | MoodFailed | MoodFinished | MoodNoted | SheetEncoded]
        with crew_of(workers) as crew:
            first = NextMood(
                self.plan, development, crew.share, workers=workers, keep_going=keep_going
            )
            sheet = [] if self.looks_left else self._sheet()
            for result in crew.results([first, *sheet]):
                match result:
                    case MoodNoted():
                        self.tell(TakesTime(result.text))
                    case MoodFinished():
                        self._mood_finished(result)
                    case MoodFailed():
                        self._give_up(result.mood, result.error)
                    case FileEncoded():
                        self._write_picture(result)
                    case SheetEncoded():
                        self._write_sheet(result)
                if isinstance(result, MoodFinished | MoodFailed) and not self.looks_left:
                    for step in self._sheet():
                        crew.add(step)

    def _mood_finished(self, result: MoodFinished) -> None:
        self.outcome.finished(result.mood, result.report, result.openings)
        self.looks_left.discard(result.mood)
        if result.thumbnail is not None:
            self.thumbnails[result.mood] = result.thumbnail
            made_of = result.report.made_of
            if made_of is not None and self.part is not None:
                self.part(made_of.digest, result.thumbnail)
            elif made_of is not None:
                store_thumbnail(made_of.digest, result.thumbnail)

    def _sheet(self) -> list[DrawSheet]:
        """Give the contact sheet's step, once all moods have their small pictures."""
        plan = self.plan
        if plan.sheet is None:
            return []
        from evenfall.produce.sheet import DrawSheet

        moods = {name: mood for name, mood in self.outcome.moods.items() if name in self.thumbnails}
        if not moods:
            return []
        record = plan.origins.sheet_record(moods)
        return [
            DrawSheet(
                plan.asked.recipe, moods, self.thumbnails, record, plan.draft, plan.sheet.logo
            )
        ]

    def _write_picture(self, result: FileEncoded) -> None:
        target = result.picture.target
        file = FileReport(
            path=target.path,
            mood=target.mood,
            format=target.deliverable.format,
            made_of=result.made_of,
            bytes=len(result.data),
            sha256=result.sha256,
        )
        self._put(file, result.data, result.notes)

    def _write_sheet(self, result: SheetEncoded) -> None:
        plan = self.plan
        assert plan.sheet is not None
        parts = [mood.made_of for mood in self.outcome.moods.values()]
        is_whole = not self.outcome.is_missing_moods  # else it must never be taken for that
        file = FileReport(
            path=plan.sheet.path,
            mood="",
            format=plan.asked.recipe.model.sheet.format,
            made_of=made_of_all(plan.sheet.facts, parts) if is_whole else None,
            bytes=len(result.data),
            sha256=result.sha256,
        )
        self._put(file, result.data, result.notes)

    def _put(self, file: FileReport, data: bytes, notes: tuple[str, ...] = ()) -> None:
        self.in_flight = file
        self._write_report("begun")  # should this process die, the next run knows whose file it is
        write_atomically(file.path, data, overwrite=self.overwrite)
        self.outcome.wrote(file, notes)
        self.in_flight = None
        self.tell(FileDone(file.path, file.mood))

    def _write_report(self, state: State) -> RunReport:
        report = self.outcome.report(state, self.report_path, self.in_flight)
        self._put_report(report)
        return report

    def _put_report(self, report: RunReport) -> None:
        write_atomically(self.report_path, report.to_bytes(), overwrite=True)
        self.notes.take_away()

    def end_early(self, error: BaseException) -> None:
        """Note in a report what was finished: it can be kept; and say so with the error."""
        if self.in_flight is not None and is_intact(self.in_flight):
            self.outcome.wrote(self.in_flight)  # it was stopped behind the last step of writing
        self.outcome.failed(error)
        state: State = "failed" if isinstance(error, Exception) else "stopped"
        report = self.outcome.report(state, self.report_path)
        for line in told_when_ended_early(report):
            error.add_note(line)
        with contextlib.suppress(EvenfallError):  # the first error is the one to tell of
            self._put_report(report)
