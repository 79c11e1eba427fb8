"""From developed moods to files in memory: look, size, codes, encoding.

The work of all moods goes through one crew. The strips of a mood's look are queued before those of
the next; when the last of them is done its files are queued for encoding, so that one mood is
encoded while the next is being finished. Steps that need the whole picture are made for one mood
at a time. A mood's mix is let go as soon as nothing needs it.
"""

from __future__ import annotations

import hashlib
import threading
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from evenfall.camera.state import CameraState
from evenfall.deliver.formats import Display, codec, displays
from evenfall.deliver.frame import frame_of
from evenfall.deliver.png_pixels import Each
from evenfall.develop.developed import DevelopedMood, Scene
from evenfall.develop.engine import Development
from evenfall.develop.figures import count_ends
from evenfall.develop.layers import shown_in_no_layer
from evenfall.errors import EvenfallError, OutputError
from evenfall.light.gain import stops_of
from evenfall.mix.engine import Mix
from evenfall.produce.canvas import STRIP_ROWS, Canvas
from evenfall.produce.crew import Step
from evenfall.produce.encoding import Apart, FinishedMood
from evenfall.produce.plan import Picture, RunPlan
from evenfall.record.describing import describe_mood
from evenfall.record.earlier import made_of
from evenfall.record.round_pictures import keep_picture
from evenfall.record.values import MadeOf, MoodReport, StatisticsReport
from evenfall.system.opened import Openings, listening
from evenfall.system.scratch import BLOCK_PIXELS

__all__ = ["FileEncoded", "MoodFailed", "MoodFinished", "NextMood"]

STRIP_PIXELS = BLOCK_PIXELS
_SHEET_DISPLAY = _COUNTED = Display("sRGB")


@dataclass(frozen=True)
class MoodFailed:
    """Result: a mood cannot be made."""

    mood: str
    error: EvenfallError


@dataclass(frozen=True, eq=False)
class MoodFinished:
    """Result: all pixels of a mood have been through its look; its files are being encoded.

    Parameters
    ----------
    mood : str
        Its name.
    report : MoodReport
        What it came to.
    openings : Openings
        What was opened for it.
    thumbnail : ndarray, shape (h, w, 3), uint8, or None
        Its picture for the contact sheet, if one is wanted.
    """

    mood: str
    report: MoodReport
    openings: Openings
    thumbnail: npt.NDArray[np.uint8] | None


@dataclass(frozen=True, eq=False)
class FileEncoded:
    """Result: a file is ready to be written.

    Parameters
    ----------
    picture : Picture
        Which.
    data : bytes
        All of it.
    sha256 : str
        Of it.
    made_of : MadeOf or None
        What it was made of; None when that cannot be told any more.
    notes : tuple of str
        What a person should know of it.
    """

    picture: Picture
    data: bytes
    sha256: str
    made_of: MadeOf | None
    notes: tuple[str, ...]


@dataclass(frozen=True)
class MoodNoted:
    """Something a person should know before a mood takes its time."""

    text: str


Finished: TypeAlias = MoodNoted | MoodFailed | MoodFinished | FileEncoded


class NextMood(Step[Finished]):
    """Takes the next developed mood, makes its steps of the whole picture, and queues its strips.

    Parameters
    ----------
    plan : RunPlan
        What is made of each mood.
    development : Development
        Gives the moods.
    each : callable
        Like `map`, but may work on several parts at once.
    workers : int
        Threads; the files do not depend on them.
    keep_going : bool
        True: a file of a look that cannot be used stops only the mood that needs it.
    """

    def __init__(
        self,
        plan: RunPlan,
        development: Development,
        each: Each,
        *,
        workers: int,
        keep_going: bool,
    ) -> None:
        self._plan, self._each = plan, each
        self._workers, self._keep_going = workers, keep_going
        self._moods = iter(development)

    def work(self) -> Iterator[Step[Finished] | Finished]:
        """Begin a mood, and queue behind it the one after."""
        developed = next(self._moods, None)
        if developed is None:
            return
        note = developed.noise_note
        if note is not None:
            yield MoodNoted(note)
        try:
            strips = _MoodWork(self._plan, developed, self._each).begin(self._workers)
        except EvenfallError as error:
            if not self._keep_going:
                raise
            yield MoodFailed(developed.name, error)
        else:
            yield from strips
        yield self


class _MoodWork:
    """One mood on its way to files."""

    def __init__(self, plan: RunPlan, developed: DevelopedMood, each: Each) -> None:
        self.plan, self.developed, self.each = plan, developed, each
        self.pictures = plan.pictures_of(developed.name)
        self.thumbnail_size = plan.small_size
        self.canvases = self._canvases()
        width, height = developed.size
        rows = max(1, STRIP_PIXELS // width // STRIP_ROWS) * STRIP_ROWS
        self.strips = [slice(top, min(top + rows, height)) for top in range(0, height, rows)]
        self.lock, self.left = threading.Lock(), len(self.strips)
        self.sums = np.zeros((self.left, 3))
        self.counts = np.zeros((self.left, 2), np.int64)

    def _canvases(self) -> dict[Display, Canvas]:
        """Make a canvas for every kind of display, asked for what its files need."""
        developed = self.developed
        canvases: dict[Display, Canvas] = {}

        def canvas(display: Display) -> Canvas:
            if display not in canvases:
                chain = developed.chain(display.space, peak=display.peak)
                canvases[display] = Canvas(chain, developed.size, developed.mood.phase)
            return canvases[display]

        for picture in self.pictures:
            deliverable = picture.target.deliverable
            resized = frame_of(deliverable, *developed.size, developed.pixel_aspect).is_resized
            for shows, display in displays(deliverable).items():
                if resized or shows == "hdr":
                    canvas(display).want_linear()
                else:
                    canvas(display).want_codes(deliverable.bit_depth, dither=deliverable.dither)
        if self.thumbnail_size is not None:
            canvas(_SHEET_DISPLAY).want_thumbnail(self.thumbnail_size)
        return canvases

    def begin(self, workers: int) -> list[Step[Finished]]:
        """Make the steps of the whole picture; give the strips."""
        self.scene = Scene(self.developed.mix.planes, is_exposed=False)
        if self.canvases:
            chain = next(iter(self.canvases.values())).chain
            self.scene = self.developed.scene(chain, workers=workers)
        return [_Strip(self, number) for number in range(self.left)]

    def do_strip(self, number: int) -> bool:
        """Finish some rows; True when they were the last."""
        rows = self.strips[number]
        self.sums[number] = _sums(self.developed.mix.planes[:, rows])
        for display, canvas in self.canvases.items():
            encoded = canvas.fill(self.scene, rows)
            if display == _COUNTED and encoded is not None:
                self.counts[number] = count_ends(encoded)
        with self.lock:
            self.left -= 1
            return self.left == 0

    def end(self) -> Iterator[Step[Finished] | Finished]:
        """Sum up, and give the files; only they keep what they need."""
        developed, plan = self.developed, self.plan
        openings = Openings(developed.opened)
        passes = plan.fingerprints(openings)
        made = made_of(plan.mood_facts(developed.name), openings, plan.hashes, plan.out)
        report = describe_mood(developed, made, passes)
        report = report.model_copy(update={"statistics": self._statistics()})
        for picture in self.pictures:
            row = picture.target.deliverable.row
            yield _Encode(
                plan,
                picture,
                self.canvases,
                developed.mix if "scene-linear" in row.shows else None,
                self._apart(picture) if "layers" in row.shows else None,
                developed.camera,
                developed.openings if row.is_scene_linear else openings,
                self.each,
            )
        thumbnails = (canvas.thumbnail() for canvas in self.canvases.values())
        thumbnail = next((codes for codes in thumbnails if codes is not None), None)
        yield MoodFinished(developed.name, report, openings, thumbnail)

    def _apart(self, picture: Picture) -> Apart:
        developed, ids = self.developed, picture.target.deliverable.ids
        return Apart(
            developed.light_layers,
            None if ids is None else self.plan.asked.recipe.pass_path(ids),
            shown_in_no_layer(developed.mood),
        )

    def _statistics(self) -> StatisticsReport:
        width, height = self.developed.size
        pixels = width * height
        red, green, blue = (float(value) for value in self.sums.sum(axis=0) / pixels)
        if _COUNTED not in self.canvases or not self.canvases[_COUNTED].is_encoded:
            return StatisticsReport(mix_mean=(red, green, blue))
        clipped, black = (int(count) for count in self.counts.sum(axis=0))
        return StatisticsReport(
            mix_mean=(red, green, blue),
            clipped_share=clipped / pixels,
            black_share=black / pixels,
        )


@dataclass(frozen=True, eq=False)
class _Strip(Step[Finished]):
    """Some rows of a mood; the last of them ends it."""

    mood: _MoodWork
    number: int

    def work(self) -> Iterable[Step[Finished] | Finished]:
        return self.mood.end() if self.mood.do_strip(self.number) else ()


@dataclass(frozen=True, eq=False)
class _Encode(Step[Finished]):
    """A file of a mood, brought to its size and encoded."""

    plan: RunPlan
    picture: Picture
    canvases: Mapping[Display, Canvas]
    mix: Mix | None
    apart: Apart | None
    camera: CameraState
    openings: Openings
    each: Each

    def work(self) -> Iterable[Step[Finished] | Finished]:
        plan, target = self.plan, self.picture.target
        source = plan.source
        finished = FinishedMood(
            target.deliverable,
            frame_of(target.deliverable, *source.size, source.pixel_aspect),
            self.canvases,
            self.mix,
            self.apart,
            self.camera,
            source.space,
            source.luminance_scale,
            plan.origins.picture_record(
                target.mood,
                target.number,
                stops_of(self.camera.exposure_factor),
                plan.fingerprints(self.openings),
            ),
            plan.guides,
            self.each,
        )
        openings = Openings(self.openings)
        try:
            with listening(openings):
                encoded = codec(target.deliverable.format).encode(finished)
        except OutputError as error:
            found = f"{target.path.name}: {error}"
            raise OutputError(plan.asked.recipe.fault(target.place, found)) from None
        sha256 = hashlib.sha256(encoded.data).hexdigest()
        if plan.leaves_picture(target.deliverable, finished.frame):
            keep_picture(sha256, finished.codes(), target.deliverable.space)
        yield FileEncoded(
            self.picture,
            encoded.data,
            sha256,
            made_of(self.picture.facts, openings, plan.hashes, plan.out),
            encoded.notes,
        )


def _sums(planes: npt.NDArray[np.float32]) -> npt.NDArray[np.floating]:
    """Add up each channel; exactly enough in single precision, unless values are enormous."""
    with np.errstate(over="ignore", invalid="ignore"):
        sums: npt.NDArray[np.floating] = planes.sum(axis=(1, 2), dtype=np.float32)
        return sums if np.isfinite(sums).all() else planes.sum(axis=(1, 2), dtype=np.float64)
