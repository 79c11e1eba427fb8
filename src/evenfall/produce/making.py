"""The work of a planned run: read, mix, finish, write."""

from __future__ import annotations

import contextlib
import hashlib
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import TYPE_CHECKING

from evenfall.advice.doubling import advise_on_doublings
from evenfall.deliver.formats import codec
from evenfall.deliver.provenance import Provenance
from evenfall.deliver.targets import Target
from evenfall.develop.developed import DevelopedMood
from evenfall.develop.engine import Development, develop_moods
from evenfall.develop.samples import Samples
from evenfall.errors import EvenfallError
from evenfall.produce.events import Event, FileDone, MoodMixed, Note, OnEvent, PassRead, RunPlanned
from evenfall.produce.planning import RunPlan
from evenfall.record.describing import census_notes, describe_mood, note_census
from evenfall.record.kept import store_thumbnail
from evenfall.survey.doubling import find_doublings
from evenfall.system.atomic import write_atomically
from evenfall.system.partials import remove_leftovers

if TYPE_CHECKING:
    from evenfall.produce.finishing import Finisher

__all__ = ["make"]


def make(plan: RunPlan, *, keep_going: bool, workers: int, tell: OnEvent | None) -> None:
    """Make what a plan says is to be made; its report is filled in and written.

    Parameters
    ----------
    plan : RunPlan
        From `plan_run`.
    keep_going : bool
        A pass that cannot be used stops only the moods that need it.
    workers : int
        Threads; the files do not depend on it.
    tell : callable or None
        Told of progress, one event at a time, from any thread.
    """
    _Run(plan, keep_going=keep_going, workers=workers, tell=tell).work()


class _Run:
    """One run, as planned."""

    def __init__(
        self, plan: RunPlan, *, keep_going: bool, workers: int, tell: OnEvent | None
    ) -> None:
        self.plan, self.source, self.report = plan, plan.source, plan.report
        self.recipe = plan.asked.recipe
        self.keep_going, self.workers = keep_going, workers
        self._on_event, self._telling = tell, threading.Lock()
        self._hashing = ThreadPoolExecutor(1, "hash")
        self._samples = Samples(plan.source, self.recipe.model.passes.repair)
        self._importing = threading.Thread(target=self._import_what_finishes, daemon=True)
        self._started = time.perf_counter()

    def tell(self, event: Event) -> None:
        if self._on_event is not None:
            with self._telling:
                self._on_event(event)

    def work(self) -> None:
        """Read, mix, finish, write."""
        plan = self.plan
        lights = {light for mood in plan.to_make for light in plan.lights_behind(mood)}
        self.tell(RunPlanned(len(lights), plan.to_make, len(self.report.files) + 1))
        remove_leftovers(self.report.out)
        for file in self.report.files:
            if file.kept:
                self.tell(FileDone(file.path, file.mood, kept=True))
        development = develop_moods(
            self.source,
            plan.asked,
            plan.to_make,
            workers=self.workers,
            keep_going=self.keep_going,
            on_read=self._on_read,
        )
        self._clock("read and mix")
        self._describe(development)
        try:
            with self._hashing:
                self._finish(development)
        except BaseException as error:
            self._note_finished(error)
            raise
        self._clock("finish and write")
        self._write_report()

    def _on_read(self, event: PassRead) -> None:
        """Tell of a pass; while others are read, what is needed after them is imported."""
        if self._importing.ident is None:
            self._importing.start()
        self._samples.see(event)
        self.tell(event)

    def _import_what_finishes(self) -> None:
        import evenfall.produce.finishing  # noqa: F401

        for target in self.plan.targets_to_make:
            codec(target.deliverable.format)

    def _note_finished(self, error: BaseException) -> None:
        """Note in a report what a run that failed or was stopped had finished: it can be kept."""
        self.report.files = [file for file in self.report.files if file.sha256 is not None]
        if not all(file.kept for file in self.report.files):
            self.report.faults += tuple(getattr(error, "faults", ()))
            with contextlib.suppress(EvenfallError):  # the first error is the one to tell of
                self._write_report()

    def _clock(self, stage: str) -> None:
        spent = time.perf_counter() - self._started - sum(self.report.seconds.values())
        self.report.seconds[stage] = round(spent, 3)

    def _describe(self, development: Development) -> None:
        """Note in the report what was found out, and which moods cannot be made."""
        for light, census in development.censuses.items():
            note_census(self.report.lights[light], census)
            self.report.notes += census_notes(light, census)
        doublings = find_doublings(self._samples.known())
        self.report.notes += [
            f"{each.place}: {each.message}; {each.reason}"
            for each in advise_on_doublings(self.recipe, doublings)
        ]
        for mood in development.moods:
            self.tell(MoodMixed(mood))

    def _developed(self, developed: DevelopedMood) -> None:
        self.report.moods[developed.name] = describe_mood(developed)

    def _finish(self, development: Development) -> None:
        from evenfall.produce.finishing import Finisher

        plan, source = self.plan, self.source
        finisher = Finisher(
            self.recipe,
            source.space,
            source.size,
            source.luminance_scale,
            self._provenance,
            self._write,
            self._developed,
            self.recipe.model.draft.guides if self.report.draft else (),
            plan.thumbnail_size,
            pixel_aspect=source.pixel_aspect,
            keep_going=self.keep_going,
        )
        targets = {
            mood: [target for target in plan.targets_to_make if target.mood == mood]
            for mood in development.moods
        }
        try:
            finisher.run(development, targets, self.workers, self._sheet)
        finally:
            for mood, statistics in finisher.statistics.items():
                self.report.moods[mood].statistics = vars(statistics)
            order = list(self.recipe.moods)
            self.report.moods = dict(
                sorted(self.report.moods.items(), key=lambda item: order.index(item[0]))
            )
        for mood, error in {**development.failures, **finisher.failures}.items():
            self.plan.give_up(mood, error)
        self.report.notes += [
            f"{path.name}: {note}"
            for path, notes in sorted(finisher.notes.items())
            for note in notes
        ]

    def _sheet(self, finisher: Finisher) -> None:
        """Make the contact sheet, once all moods have their small pictures."""
        file = self.plan.sheet
        if file is None or file.kept:
            return
        from evenfall.produce.sheet import make_sheet

        for mood, codes in finisher.thumbnails.items():
            store_thumbnail(self.plan.mood_digests[mood], codes)
        pictures = {**self.plan.thumbnails, **finisher.thumbnails}
        moods = {mood: self.report.moods[mood] for mood in self.recipe.moods if mood in pictures}
        if not moods:
            self.report.files.remove(file)
            return
        if len(moods) < len(self.recipe.moods):
            file.made_of = ""  # never to be taken for the whole one
        provenance = self._record(
            "", self.plan.origins.sheet_text(tuple(self.recipe.moods)), self.recipe.changes, ""
        )
        data = make_sheet(self.recipe, moods, pictures, provenance, draft=self.report.draft)
        self._put(file.path, data)

    def _provenance(self, target: Target) -> Provenance:
        origins, mood = self.plan.origins, target.mood
        stops = self.report.moods[mood].exposure["stops"]
        return self._record(
            mood,
            origins.text(target),
            origins.recorded_changes(target, stops),
            self.recipe.moods[mood].title,
        )

    def _record(self, mood: str, text: str, changes: tuple[str, ...], title: str) -> Provenance:
        project, origins = self.recipe.model.project, self.plan.origins
        return Provenance(
            recipe=self.recipe.path.name,
            recipe_text=text,
            mood=mood,
            passes=origins.passes(mood) if mood else dict(origins.fingerprints),
            version=self.report.versions["evenfall"],
            changes=changes,
            draft=self.report.draft,
            is_told=self.recipe.model.record != "none",
            title=" - ".join(part for part in (project.title, project.view, title) if part),
            author=project.author or "",
            copyright=project.copyright or "",
        )

    def _write(self, target: Target, data: bytes) -> None:
        self._put(target.path, data)

    def _put(self, path: Path, data: bytes) -> None:
        digest = self._hashing.submit(hashlib.sha256, data)  # while the disk is waited for
        write_atomically(path, data, overwrite=True)
        file = next(file for file in self.report.files if file.path == path)
        file.bytes, file.sha256 = len(data), digest.result().hexdigest()
        self.tell(FileDone(path, file.mood))

    def _write_report(self) -> None:
        for note in self.report.notes:
            self.tell(Note(note))
        self.plan.earlier.carry_over(self.report)
        assert self.report.report is not None
        write_atomically(self.report.report, self.report.to_bytes(), overwrite=True)
        self.tell(FileDone(self.report.report, ""))
