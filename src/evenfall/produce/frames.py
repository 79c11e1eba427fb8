"""Frames of a sequence or a walk-through: which there are, and each made by a run of its own.

Several frames are made at once, each by one thread from its passes to its files, so that reading,
mixing and encoding go on beside each other all the time. What all have in common is worked out
before the first: exposure, ratios, plates, and passes that are the same in all frames.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, wait
from dataclasses import dataclass, replace
from pathlib import Path

from evenfall.develop.asked import Asked
from evenfall.develop.engine import measure_elsewhere
from evenfall.develop.opening import open_passes
from evenfall.develop.shelf import Shelf
from evenfall.errors import EvenfallError, Fault, UsageError
from evenfall.passes.standing import Standing
from evenfall.produce.events import OnEvent
from evenfall.produce.running import run
from evenfall.produce.shared import Shared
from evenfall.recipe import Recipe
from evenfall.recipe.choosing import choose_moods
from evenfall.recipe.clock import frames_text
from evenfall.recipe.file_names import asks_for, filled_in
from evenfall.recipe.files import frames_there
from evenfall.recipe.framed import framed, where_metered
from evenfall.record.values import FileReport
from evenfall.system.processors import passes_at_once, workers_of

__all__ = [
    "FrameMade",
    "Strip",
    "claimed_names",
    "frames_of_films",
    "make_frame",
    "make_frames",
    "missing_frames",
    "shared_of",
    "strip_of",
]

_SHELF_BYTES = _STANDING_BYTES = 1 << 30
_READ_BYTES = 10  # a pixel of the pass that is being read: three half floats, and its file
_MOOD_BYTES = 16  # a pixel of a picture: sums in single precision, finished codes, the file


@dataclass(frozen=True)
class Strip:
    """Frames that are made of one recipe.

    Parameters
    ----------
    recipe : Recipe
        The recipe.
    hour : bool
        Whether its sequence goes by; else its moods stay as they are, and only the passes change.
    moods : tuple of str
        What is shown: the sequence's name, or moods.
    frames : tuple of int
        Their numbers.
    first : int
        The first of all, whichever are made now: grain and dither move on from there.
    """

    recipe: Recipe
    hour: bool
    moods: tuple[str, ...]
    frames: tuple[int, ...]
    first: int

    def at(self, frame: int) -> tuple[Recipe, tuple[str, ...]]:
        """Give the recipe of a frame, and what is made of it."""
        recipe, metered = self.recipe, self.metered
        sequence = recipe.model.sequence
        if self.hour and sequence is not None:
            key = self._key_alone(frame)
            found = framed(
                recipe, frame, hour=not key, first=self.first, metered=metered, called=sequence.name
            )
            return found, (key,) if key else self.moods
        return framed(recipe, frame, hour=False, first=self.first, metered=metered), self.moods

    @property
    def metered(self) -> int | None:
        """Frame in which exposure is measured; None: each for itself."""
        passes, sequence = self.recipe.model.passes, self.recipe.model.sequence
        if self.hour and sequence is not None and sequence.meter == "each frame":
            return None
        return passes.frame if passes.metered_frame is None else passes.metered_frame

    def _key_alone(self, frame: int) -> str:
        """Name the mood that a frame is and nothing else, so that it is the still; or nothing."""
        sequence = self.recipe.model.sequence
        assert sequence is not None
        place = sequence.place(frame)
        lights = self.recipe.model.lights.values()
        moves = sequence.daylight is not None or any(light.is_on_its_way for light in lights)
        if place.share or moves or self.recipe.has_frames or sequence.phase(frame):
            return ""
        return sequence.keys[place.first].mood


@dataclass(frozen=True)
class FrameMade:
    """A frame that is done, or why it could not be made.

    Parameters
    ----------
    frame : int
        Its number.
    files : tuple of FileReport
        What was made or kept of it.
    faults : tuple of Fault
        Why it could not be made.
    """

    frame: int
    files: tuple[FileReport, ...]
    faults: tuple[Fault, ...] = ()

    @property
    def is_kept(self) -> bool:
        """Whether all its files stood already."""
        return not self.faults and all(file.kept for file in self.files)


def strip_of(
    recipe: Recipe, moods: str | Sequence[str] = (), frames: Sequence[int] | None = None
) -> Strip:
    """Say which frames are made of a recipe.

    Parameters
    ----------
    recipe : Recipe
        With a sequence, or with #### in the names of passes.
    moods : str or sequence of str
        The sequence by its name, or moods; the sequence where there is one, otherwise all moods.
    frames : sequence of int, optional
        Only these; all of the sequence otherwise.

    Raises
    ------
    UsageError
        When there are no such frames.
    """
    sequence = recipe.model.sequence
    names = (moods,) if isinstance(moods, str) else tuple(moods)
    if sequence is not None and (not names or names == (sequence.name,)):
        numbers = sequence.numbers
        chosen = numbers if frames is None else tuple(frames)
        strangers = sorted(set(chosen).difference(numbers))
        if strangers:
            raise UsageError(
                f"the sequence has frames {frames_text(numbers)}, and no {frames_text(strangers)}"
            )
        return Strip(recipe, True, (sequence.name,), chosen, numbers[0])
    if not recipe.has_frames:
        raise UsageError(
            "there are no frames: no light's file has #### in its name, and the recipe has no "
            "[sequence]"
        )
    chosen_moods = choose_moods(recipe, names)
    if frames is None:
        raise UsageError("which frames? Say --frames 1-100")
    first = recipe.model.passes.frame
    first = min(frames) if first is None else first
    return Strip(recipe, False, tuple(chosen_moods), tuple(frames), first)


def missing_frames(strip: Strip) -> dict[int, tuple[str, ...]]:
    """Name the files of passes that are not there, by frame, before anything is made."""
    recipe, names = strip.recipe, _names_by_frame(strip.recipe)
    view, found = recipe.model.passes.view, {}
    for frame in strip.frames:
        files = (filled_in(name, frame=frame, view=view) for name in names)
        gone = tuple(file for file in files if not (recipe.passes_folder / file).is_file())
        if gone:
            found[frame] = gone
    return found


def _names_by_frame(recipe: Recipe) -> list[str]:
    """Names of passes that are other files in every frame."""
    sources = (source for light in recipe.model.lights.values() for source in light.sources)
    return [name for name in dict.fromkeys(source.file for source in sources)
            if asks_for(name, "frame")]  # fmt: skip


def frames_of_films(strip: Strip) -> tuple[int, ...]:
    """Frames that films need: those of the sequence; of a walk those whose passes are all there."""
    recipe = strip.recipe
    if strip.hour and recipe.model.sequence is not None:
        return recipe.model.sequence.numbers
    view, folder = recipe.model.passes.view, recipe.passes_folder
    there = [frames_there(name, folder, view=view) for name in _names_by_frame(recipe)]
    return tuple(sorted(set.intersection(*there)))


def shared_of(strip: Strip, workers: int | None = None) -> Shared:
    """Work out what the frames have in common.

    Raises
    ------
    RecipeError, PassError, PixelSourceError
        When exposure cannot be measured, or ratios not be solved.
    """
    shared = Shared(None, None, Shelf(_SHELF_BYTES), Standing(_STANDING_BYTES))
    for frame in strip.frames[:2]:  # one of them may be that in which all are measured
        one = framed(strip.recipe, frame, hour=strip.hour, first=strip.first, metered=strip.metered)
        asked = Asked(one)
        if asked.metered is not None:
            _, moods = strip.at(frame)
            held = measure_elsewhere(asked.metered, moods, workers=workers)
            return replace(shared, metered=asked.metered, held=held)
    return shared


def _frame_size(strip: Strip, *, draft: bool) -> tuple[int, int] | None:
    """Width and height of the first frame; None where it cannot be opened, which its run tells."""
    recipe, _ = strip.at(strip.frames[0])
    try:
        return open_passes(recipe, draft=draft, keep_going=True).size
    except EvenfallError:
        return None


def _at_once(strip: Strip, workers: int | None, *, draft: bool) -> tuple[int, int]:
    """How many frames are made at once, and with how many threads each."""
    threads = workers_of(workers)
    size = _frame_size(strip, draft=draft) if threads > 1 else None
    if size is None:
        return threads, 1
    bytes_a_pixel = _READ_BYTES + _MOOD_BYTES * len(strip.moods)
    frames = passes_at_once(size, threads, bytes_a_pixel=bytes_a_pixel, least=1)
    return frames, threads // frames


def make_frame(
    strip: Strip,
    frame: int,
    out: Path,
    shared: Shared,
    *,
    draft: bool = False,
    overwrite: bool = False,
    keep_going: bool = False,
    threads: int = 1,
    on_event: OnEvent | None = None,
) -> FrameMade:
    """Make a frame; why it cannot be made is given, not raised.

    Parameters
    ----------
    strip : Strip
        What it belongs to.
    frame : int
        Its number.
    out : Path
        Folder of the files.
    shared : Shared
        From `shared_of`.
    draft, overwrite, keep_going, on_event
        As for a run.
    threads : int
        The files do not depend on it.
    """
    recipe, moods = strip.at(frame)
    if where_metered(recipe) is None:  # it is the one in which others are measured, or a still
        shared = replace(shared, metered=None, held=None)
    try:
        report = run(
            recipe,
            moods=moods,
            out=out,
            draft=draft,
            overwrite=overwrite,
            keep_going=keep_going,
            workers=threads,
            shared=shared,
            on_event=on_event,
        )
    except EvenfallError as error:
        faults = getattr(error, "faults", None) or (Fault("", "", str(error)),)
        return FrameMade(frame, (), tuple(faults))
    return FrameMade(frame, report.files, report.faults)


def claimed_names(strip: Strip, out: Path) -> list[Path]:
    """Names by which the frames of a strip are claimed in their folder, for as long as it lasts."""
    stem = strip.recipe.path.stem
    return [out / f"{stem}_{mood}_{frame:04d}" for mood in strip.moods for frame in strip.frames]


def make_frames(
    strip: Strip,
    out: Path,
    *,
    draft: bool = False,
    overwrite: bool = False,
    keep_going: bool = False,
    workers: int | None = None,
    spent: Mapping[Path, str] | None = None,
    on_event: OnEvent | None = None,
) -> Iterator[FrameMade]:
    """Make frames, several at once; each is given as soon as it is done.

    A frame that cannot be made is told with its faults, and the others are made.

    Parameters
    ----------
    strip : Strip
        What is made.
    out : Path
        Folder of the files.
    draft, overwrite, keep_going
        As for a run.
    workers : int, optional
        Threads, one per processor otherwise. Each makes a frame; several make one together where
        memory does not allow as many frames at once.
    on_event : callable, optional
        Told of files, one event at a time, from any thread.
    spent : mapping of Path to str, optional
        SHA-256 of frames that have gone into films which still stand.

    Yields
    ------
    FrameMade
        In the order in which they are done.
    """
    at_once, threads = _at_once(strip, workers, draft=draft)
    shared = replace(shared_of(strip, workers), spent=spent or {})

    def make(frame: int) -> FrameMade:
        return make_frame(
            strip,
            frame,
            out,
            shared,
            draft=draft,
            overwrite=overwrite,
            keep_going=keep_going,
            threads=threads,
            on_event=on_event,
        )

    with ThreadPoolExecutor(at_once, "frame") as pool:
        waiting: set[Future[FrameMade]] = set()
        left = iter(strip.frames)
        try:
            for frame in left:
                waiting.add(pool.submit(make, frame))
                if len(waiting) <= at_once:
                    continue
                done, waiting = wait(waiting, return_when=FIRST_COMPLETED)
                yield from (task.result() for task in done)
            while waiting:
                done, waiting = wait(waiting, return_when=FIRST_COMPLETED)
                yield from (task.result() for task in done)
        finally:
            for task in waiting:
                task.cancel()
