"""What a run has come to so far, and the report of it at any moment."""

from __future__ import annotations

import time
from collections.abc import Iterable, Mapping
from datetime import UTC, datetime
from pathlib import Path

from evenfall.errors import EvenfallError, Fault
from evenfall.passes.image import PixelCensus
from evenfall.produce.plan import RunPlan, was_not_made
from evenfall.record.describing import census_notes, describe_pass
from evenfall.record.earlier import Earlier, files_seen_from
from evenfall.record.report import RunReport, State
from evenfall.record.values import FileReport, InputReport, MoodReport, PassReport
from evenfall.record.versions import versions
from evenfall.system.opened import Opened, Openings

__all__ = ["Outcome", "told_when_ended_early"]


class Outcome:
    """Gathers what comes of a run; used by one thread.

    Parameters
    ----------
    plan : RunPlan
        What was to be made.
    earlier : Earlier
        What an earlier run left in the folder.
    """

    def __init__(self, plan: RunPlan, earlier: Earlier) -> None:
        self._plan, self._earlier = plan, earlier
        self._since = datetime.now(UTC).astimezone().isoformat(timespec="seconds")
        self._started = time.perf_counter()
        self._seconds: dict[str, float] = {}
        self._files = {file.path: file for file in plan.kept}
        self._moods = dict(plan.kept_moods)
        self._given_up: dict[str, None] = {}
        self._faults = list(plan.faults)
        self._notes = list(plan.notes)
        self._file_notes: dict[Path, tuple[str, ...]] = {}
        self._censuses: Mapping[str, PixelCensus] = {}
        self._openings = Openings()

    def clock(self, stage: str) -> None:
        """Note that a stage has ended."""
        spent = time.perf_counter() - self._started - sum(self._seconds.values())
        self._seconds[stage] = round(spent, 3)

    def note(self, notes: Iterable[str]) -> None:
        """Note what a person should know."""
        self._notes += notes

    def read(self, censuses: Mapping[str, PixelCensus]) -> None:
        """Note what was wrong with pixels of passes."""
        self._censuses = censuses
        for light, census in censuses.items():
            self._notes += census_notes(light, census)

    def give_up(self, mood: str, error: EvenfallError) -> None:
        """Note why a mood cannot be made."""
        self._note_faults(error)
        self._notes.append(was_not_made(mood))
        self._given_up[mood] = None

    def finished(self, mood: str, report: MoodReport, opened: Iterable[Opened]) -> None:
        """Note what a mood came to."""
        self._moods[mood] = report
        self._openings.note(opened)

    def wrote(self, file: FileReport, notes: tuple[str, ...] = ()) -> None:
        """Note a file that is under its final name."""
        self._files[file.path] = file
        if notes:
            self._file_notes[file.path] = notes

    @property
    def moods(self) -> dict[str, MoodReport]:
        """Moods that were made or kept, in the recipe's order."""
        return {
            mood: self._moods[mood] for mood in self._plan.asked.recipe.moods if mood in self._moods
        }

    @property
    def is_missing_moods(self) -> bool:
        """Whether a mood of the recipe is not there."""
        return len(self._moods) < len(self._plan.asked.recipe.moods)

    def failed(self, error: BaseException) -> None:
        """Note why the run ends early."""
        self._note_faults(error)

    def _note_faults(self, error: BaseException) -> None:
        faults = getattr(error, "faults", None)
        if faults is None and isinstance(error, EvenfallError):
            faults = (Fault("", "", str(error)),)
        self._faults += [fault for fault in faults or () if fault not in self._faults]

    def report(
        self, state: State, path: Path | None, in_flight: FileReport | None = None
    ) -> RunReport:
        """Give the report as it stands.

        Parameters
        ----------
        state : str
            How far the run has come.
        path : Path or None
            The report as a file.
        in_flight : FileReport, optional
            What is about to get its final name; it counts as being there.
        """
        plan, recipe = self._plan, self._plan.asked.recipe
        there = self._files if in_flight is None else {**self._files, in_flight.path: in_flight}
        made = [there[path] for path in plan.order if path in there]
        missing = [path for path in plan.order if path not in there]
        others, files = self._earlier.others(self._moods, there)
        width, height = plan.source.size
        return RunReport(
            recipe=recipe.path,
            changes=recipe.changes,
            out=plan.out,
            state=state,
            since=self._since,
            draft=plan.draft,
            width=width,
            height=height,
            report=path,
            lights=self._lights(),
            moods=self.moods,
            files=tuple(made),
            outstanding=() if state == "ended" else tuple(missing),
            faults=tuple(self._faults),
            notes=(*self._notes, *self._notes_on_files()),
            seconds=dict(self._seconds),
            versions=versions(),
            inputs=self._inputs([*made, *files], [*self._moods.values(), *others.values()]),
            earlier_files=files,
            earlier_moods=others,
        )

    def planned(self) -> RunReport:
        """Give the report of a dry run: what would be made."""
        plan = self._plan
        formats = {picture.target.path: picture.target for picture in plan.pictures}
        for path in plan.to_make:
            target = formats.get(path)
            self._files[path] = FileReport(
                path=path,
                mood="" if target is None else target.mood,
                format=plan.asked.recipe.model.sheet.format
                if target is None
                else target.deliverable.format,
            )
        return self.report("dry run", None)

    def _notes_on_files(self) -> list[str]:
        return [
            f"{path.name}: {note}"
            for path, notes in sorted(self._file_notes.items())
            for note in notes
        ]

    def _lights(self) -> dict[str, PassReport]:
        plan = self._plan
        space = plan.source.space
        needed = {light for mood in plan.moods for light in plan.asked.lights(mood, space)}
        known = {light: one for mood in self._moods.values() for light, one in mood.passes.items()}
        return {
            light: describe_pass(headers, known.get(light), self._censuses.get(light))
            for light, headers in plan.source.sources.items()
            if light in needed
        }

    def _inputs(
        self, files: Iterable[FileReport], moods: Iterable[MoodReport]
    ) -> dict[str, InputReport]:
        """Files that what is reported was made of, as they were last read."""
        parts = [*(file.made_of for file in files), *(mood.made_of for mood in moods)]
        used = {file for part in parts if part is not None for file in part.inputs}
        noted = self._earlier.report.inputs if self._earlier.report is not None else {}
        seen = files_seen_from(self._plan.out, self._openings, self._plan.hashes)
        return {file: one for file, one in {**noted, **seen}.items() if file in used}


def told_when_ended_early(report: RunReport) -> list[str]:
    """Say which files are new, which are older than the run, and which are not there.

    Parameters
    ----------
    report : RunReport
        Of a run that did not end.
    """
    new = [file.path.name for file in report.files if not file.kept]
    older = [path.name for path in report.outstanding if path.exists()]
    missing = [path.name for path in report.outstanding if not path.exists()]
    told = (("New", new), ("As before this run", older), ("Not made", missing))
    return [f"{what}: {', '.join(names)}." for what, names in told if names]
