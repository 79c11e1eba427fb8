"""A run, from a recipe to files under their final names."""

from __future__ import annotations

import hashlib
import threading
import time
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from pathlib import Path

from evenfall.deliver.atomic import remove_leftovers, write_atomically
from evenfall.deliver.provenance import Provenance
from evenfall.errors import Fault
from evenfall.mix.engine import default_workers
from evenfall.recipe import Recipe
from evenfall.run.choosing import choose_moods
from evenfall.run.describing import describe_light, describe_mood, versions
from evenfall.run.events import Event, FileDone, MoodMixed, Note, OnEvent, RunPlanned
from evenfall.run.finishing import Finisher, MoodWork
from evenfall.run.mixing import Exposed, mix_and_expose, open_view
from evenfall.run.report import FileReport, RunReport
from evenfall.run.targets import (
    Target,
    default_out,
    plan_targets,
    refuse_existing,
    refuse_inputs,
    report_path,
)

__all__ = ["run"]


def run(
    recipe: Recipe,
    *,
    moods: Sequence[str] = (),
    out: str | Path | None = None,
    proof: bool = False,
    overwrite: bool = False,
    dry_run: bool = False,
    keep_going: bool = False,
    changes: Sequence[str] = (),
    workers: int | None = None,
    on_event: OnEvent | None = None,
) -> RunReport:
    """Make the deliverables of a recipe.

    Everything is checked before anything is read or written; every file is written whole under
    its final name or not at all. Passes are read once for all moods.

    Parameters
    ----------
    recipe : Recipe
        From `evenfall.load`.
    moods : sequence of str
        Only these moods; all otherwise.
    out : str or Path, optional
        Folder of the files; `pictures` beside the recipe otherwise.
    proof : bool
        Quick reduced pictures, named `_proof`, with the recipe's composition guides.
    overwrite : bool
        Whether files that exist may be replaced.
    dry_run : bool
        Check everything and say what would be made; nothing is written.
    keep_going : bool
        A pass that cannot be used stops only the moods that need it; the report says which.
    changes : sequence of str
        One-off changes that were given to `load`, for the record.
    workers : int, optional
        Threads; one per processor otherwise. The files do not depend on it.
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
        When a file exists and may not be replaced, or cannot be written.

    Examples
    --------
    >>> from evenfall.run.example import example_recipe
    >>> report = run(example_recipe(), moods=["dusk"])
    >>> [file.path.name for file in report.files]
    ['corner_dusk.png']
    """
    job = _Run(recipe, choose_moods(recipe, moods), proof, keep_going, workers, on_event)
    job.plan(Path(out).absolute() if out is not None else default_out(recipe), tuple(changes))
    if dry_run:
        job.report.dry_run = True
        job.report.report = None
        return job.report
    refuse_existing(job.existing(), allowed=overwrite)
    job.work()
    return job.report


class _Run:
    """One run: what is planned, then done."""

    def __init__(
        self,
        recipe: Recipe,
        moods: tuple[str, ...],
        proof: bool,
        keep_going: bool,
        workers: int | None,
        on_event: OnEvent | None,
    ) -> None:
        self.recipe, self.moods = recipe, moods
        self.proof, self.keep_going = proof, keep_going
        self.workers = workers or default_workers()
        self._on_event = on_event
        self._telling = threading.Lock()
        self.started = time.perf_counter()
        self.view = open_view(recipe, proof=proof, keep_going=keep_going)

    def tell(self, event: Event) -> None:
        if self._on_event is not None:
            with self._telling:
                self._on_event(event)

    def plan(self, out: Path, changes: tuple[str, ...]) -> None:
        """Name every file, and refuse what cannot be."""
        recipe, (width, height) = self.recipe, self.view.size
        self.targets = plan_targets(recipe, self.moods, out, width=width, proof=self.proof)
        refuse_inputs(recipe, [target.path for target in self.targets])
        self.report = RunReport(
            recipe=recipe.path,
            changes=changes,
            out=out,
            report=report_path(recipe, out, proof=self.proof),
            proof=self.proof,
            dry_run=False,
            width=width,
            height=height,
            files=[
                FileReport(target.path, target.mood, target.deliverable.format)
                for target in self.targets
            ],
            versions=versions(),
        )

    def existing(self) -> list[Path]:
        """Files that stand where this run writes."""
        return [file.path for file in self.report.files if file.path.exists()]

    def work(self) -> None:
        """Read, mix, finish, write."""
        self.tell(RunPlanned(len(self.view.files.headers), self.moods, len(self.targets) + 1))
        remove_leftovers(self.report.out)
        exposed = mix_and_expose(
            self.view,
            self.moods,
            workers=self.workers,
            keep_going=self.keep_going,
            on_read=self.tell,
        )
        self._clock("read and mix")
        self._fingerprint(exposed)
        self._clock("fingerprint")
        self._finish(exposed)
        self._clock("finish and write")
        self._close(exposed)

    def _clock(self, stage: str) -> None:
        spent = time.perf_counter() - self.started - sum(self.report.seconds.values())
        self.report.seconds[stage] = round(spent, 3)

    def _fingerprint(self, exposed: Exposed) -> None:
        """Fingerprint the files of all passes that were read."""
        headers = self.view.files.headers
        paths = list(dict.fromkeys(headers[light].path for light in exposed.censuses))
        with ThreadPoolExecutor(self.workers) as pool:
            prints = dict(zip(paths, pool.map(self.view.files.fingerprint, paths), strict=True))
        for light, census in exposed.censuses.items():
            header = headers[light]
            self.report.lights[light] = describe_light(header, census, prints[header.path])

    def _finish(self, exposed: Exposed) -> None:
        for mood, error in exposed.failures.items():
            faults = getattr(error, "faults", (Fault("", f"moods.{mood}", str(error)),))
            self.report.faults += faults
        files = [file for file in self.report.files if file.mood in exposed.mixes]
        self.report.files = files
        finisher = Finisher(
            self.recipe,
            self.view.space,
            self.view.size,
            self.view.files.luminance_scale,
            self._provenance,
            self._write,
            self.recipe.model.proof.guides if self.proof else (),
        )
        works = []
        for mood in list(exposed.mixes):
            self.tell(MoodMixed(mood))
            mix = exposed.mixes.pop(mood)
            works.append(
                MoodWork(
                    self.recipe.moods[mood],
                    mix,
                    exposed.cameras[mood],
                    partial(exposed.additions, self.view, mood),
                    [target for target in self.targets if target.mood == mood],
                )
            )
            self.report.moods[mood] = describe_mood(
                self.recipe.moods[mood],
                exposed.measuring.balances[mood],
                exposed.cameras[mood],
                mix.notes,
            )
            del mix
        finisher.run(works, self.workers)
        for mood, statistics in finisher.statistics.items():
            self.report.moods[mood].statistics = vars(statistics)

    def _provenance(self, target: Target) -> Provenance:
        project = self.recipe.model.project
        return Provenance(
            recipe=self.recipe.path.name,
            recipe_text=self.recipe.text,
            mood=target.mood,
            passes={light: facts.fingerprint or "" for light, facts in self.report.lights.items()},
            version=self.report.versions["evenfall"],
            changes=self.report.changes,
            title=" - ".join(
                part
                for part in (project.title, project.view, self.recipe.moods[target.mood].title)
                if part
            ),
            author=project.author or "",
            copyright=project.copyright or "",
        )

    def _write(self, target: Target, data: bytes) -> None:
        write_atomically(target.path, data, overwrite=True)
        file = next(file for file in self.report.files if file.path == target.path)
        file.bytes, file.sha256 = len(data), hashlib.sha256(data).hexdigest()
        self.tell(FileDone(target.path, target.mood))

    def _close(self, exposed: Exposed) -> None:
        for note in self.report.notes:
            self.tell(Note(note))
        assert self.report.report is not None
        write_atomically(self.report.report, self.report.to_json().encode(), overwrite=True)
        self.tell(FileDone(self.report.report, ""))
