"""A run, from a recipe to files under their final names."""

from __future__ import annotations

import hashlib
import threading
import time
from collections.abc import Sequence
from functools import partial
from pathlib import Path

from evenfall.deliver.atomic import remove_leftovers, write_atomically
from evenfall.deliver.provenance import Provenance
from evenfall.errors import Fault
from evenfall.mix.engine import default_workers
from evenfall.recipe import Recipe
from evenfall.run.choosing import choose_moods
from evenfall.run.events import Event, FileDone, MoodMixed, Note, OnEvent, RunPlanned
from evenfall.run.finishing import Finisher, MoodWork
from evenfall.run.mixing import Exposed, mix_and_expose, open_view
from evenfall.run.planning import RunPlan, plan_run
from evenfall.run.report import RunReport
from evenfall.run.targets import Target, default_out, refuse_existing

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
    workers: int | None = None,
    on_event: OnEvent | None = None,
) -> RunReport:
    """Make the deliverables of a recipe.

    Everything is checked before anything is read or written; every file is written whole under
    its final name or not at all. Passes are read once for all moods. Files that an earlier run
    made of the same are kept, and only what they do not cover is read and made.

    Parameters
    ----------
    recipe : Recipe
        From `evenfall.load`.
    moods : sequence of str
        Only these moods; all otherwise. The contact sheet is made when all are.
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
    chosen = choose_moods(recipe, moods)
    folder = Path(out).absolute() if out is not None else default_out(recipe)
    view = open_view(recipe, proof=proof, keep_going=keep_going)
    plan = plan_run(
        view,
        chosen,
        folder,
        proof=proof,
        workers=workers or default_workers(),
    )
    refuse_existing(
        [file.path for file in plan.report.files if not file.kept], allowed=overwrite or dry_run
    )
    if dry_run:
        plan.report.dry_run = True
        plan.report.report = None
        return plan.report
    job = _Run(plan, keep_going=keep_going, workers=workers or default_workers(), tell=on_event)
    job.work()
    return plan.report


class _Run:
    """One run, as planned."""

    def __init__(
        self, plan: RunPlan, *, keep_going: bool, workers: int, tell: OnEvent | None
    ) -> None:
        self.plan, self.view, self.report = plan, plan.view, plan.report
        self.recipe = plan.view.recipe
        self.keep_going, self.workers = keep_going, workers
        self._on_event, self._telling = tell, threading.Lock()
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
        exposed = None
        if plan.to_make:
            exposed = mix_and_expose(
                self.view,
                plan.to_make,
                workers=self.workers,
                keep_going=self.keep_going,
                on_read=self.tell,
            )
            self._clock("read and mix")
            self._describe(exposed)
        self._finish(exposed)
        self._clock("finish and write")
        self._write_report()

    def _clock(self, stage: str) -> None:
        spent = time.perf_counter() - self._started - sum(self.report.seconds.values())
        self.report.seconds[stage] = round(spent, 3)

    def _describe(self, exposed: Exposed) -> None:
        """Note in the report what was found out, and which moods cannot be made."""
        from evenfall.run.describing import describe_mood, note_census

        for light, census in exposed.censuses.items():
            note_census(self.report.lights[light], census)
        for mood, error in exposed.failures.items():
            faults = getattr(error, "faults", (Fault("", f"moods.{mood}", str(error)),))
            self.report.faults += tuple(f for f in faults if f not in self.report.faults)
            self.report.files = [file for file in self.report.files if file.mood != mood]
        for mood, mix in exposed.mixes.items():
            self.report.moods[mood] = describe_mood(
                self.recipe.moods[mood],
                exposed.measuring.balances[mood],
                exposed.measuring.meters[mood],
                exposed.cameras[mood],
                mix.notes,
            )
        order = list(self.recipe.moods)
        self.report.moods = dict(
            sorted(self.report.moods.items(), key=lambda item: order.index(item[0]))
        )

    def _finish(self, exposed: Exposed | None) -> None:
        plan, view = self.plan, self.view
        finisher = Finisher(
            self.recipe,
            view.space,
            view.size,
            view.files.luminance_scale,
            self._provenance,
            self._write,
            self.recipe.model.proof.guides if self.report.proof else (),
        )
        works: list[MoodWork] = []
        for mood in list(exposed.mixes) if exposed is not None else ():
            assert exposed is not None
            self.tell(MoodMixed(mood))
            works.append(
                MoodWork(
                    self.recipe.moods[mood],
                    exposed.mixes.pop(mood),
                    exposed.cameras[mood],
                    partial(exposed.additions, view, mood),
                    [target for target in plan.targets_to_make if target.mood == mood],
                    plan.thumbnail_size,
                )
            )
        finisher.run(works, self.workers, self._sheet)
        for mood, statistics in finisher.statistics.items():
            self.report.moods[mood].statistics = vars(statistics)
        self.report.notes += [
            f"{path.name}: {count:,} values beyond half range were brought to 65,504; "
            "bits = 32 keeps them"
            for path, count in sorted(finisher.clamped.items())
        ]

    def _sheet(self, finisher: Finisher) -> None:
        """Make the contact sheet, once all moods have their small pictures."""
        file = self.plan.sheet
        if file is None or file.kept:
            return
        from evenfall.run.kept import store_thumbnail
        from evenfall.run.sheet import make_sheet

        for mood, codes in finisher.thumbnails.items():
            store_thumbnail(self.plan.mood_digests[mood], codes)
        pictures = {**self.plan.thumbnails, **finisher.thumbnails}
        moods = {mood: self.report.moods[mood] for mood in self.recipe.moods if mood in pictures}
        if not moods:
            self.report.files.remove(file)
            return
        provenance = self._record(
            "", self.plan.origins.sheet_text(tuple(self.recipe.moods)), self.recipe.changes, ""
        )
        data = make_sheet(self.recipe, moods, pictures, provenance, proof=self.report.proof)
        self._put(file.path, data)

    def _provenance(self, target: Target) -> Provenance:
        origins, mood = self.plan.origins, target.mood
        stops = self.report.moods[mood].exposure["stops"]
        return self._record(
            mood,
            origins.text(target),
            origins.recorded_changes(mood, stops),
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
            title=" - ".join(part for part in (project.title, project.view, title) if part),
            author=project.author or "",
            copyright=project.copyright or "",
        )

    def _write(self, target: Target, data: bytes) -> None:
        self._put(target.path, data)

    def _put(self, path: Path, data: bytes) -> None:
        write_atomically(path, data, overwrite=True)
        file = next(file for file in self.report.files if file.path == path)
        file.bytes, file.sha256 = len(data), hashlib.sha256(data).hexdigest()
        self.tell(FileDone(path, file.mood))

    def _write_report(self) -> None:
        for note in self.report.notes:
            self.tell(Note(note))
        self.plan.earlier.carry_over(self.report)
        assert self.report.report is not None
        write_atomically(self.report.report, self.report.to_json().encode(), overwrite=True)
        self.tell(FileDone(self.report.report, ""))
