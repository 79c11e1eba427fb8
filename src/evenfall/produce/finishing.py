"""From mixed moods to files: camera, look, size, codes, encoding.

The work of all moods goes through one pool. The strips of a mood's look are queued before those of
the next; when the last of them is done its files are queued for encoding, so that one mood is
encoded while the next is being finished. Steps that need the whole picture are made for one mood
at a time. A mood's mix is let go as soon as nothing needs it.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from evenfall.camera.state import CameraState
from evenfall.deliver.formats import Display, codec, displays
from evenfall.deliver.frame import Frame, frame_of
from evenfall.deliver.provenance import Provenance
from evenfall.deliver.targets import Target
from evenfall.errors import EvenfallError, OutputError
from evenfall.light.output_spaces import output_space
from evenfall.light.primaries import RgbSpace
from evenfall.look.additions import Additions
from evenfall.look.chain import LookChain, build_chain
from evenfall.mix.engine import Mix
from evenfall.produce.canvas import STRIP_ROWS, Canvas
from evenfall.produce.encoding import FinishedMood
from evenfall.produce.pool import Crew
from evenfall.recipe import Deliverable, Recipe, ResolvedMood
from evenfall.system.scratch import BLOCK_PIXELS

__all__ = ["Finisher", "MoodWork", "Statistics"]

Floats = npt.NDArray[np.float32]
STRIP_PIXELS = BLOCK_PIXELS
_SHEET_DISPLAY = Display("sRGB")


@dataclass
class Statistics:
    """What a mood's picture came to.

    Parameters
    ----------
    mix_mean : tuple of float
        Mean R, G, B of the mix, in the passes' primaries and units.
    clipped_share : float or None
        Share of pixels with a display channel at full; None when no display picture was made.
    black_share : float or None
        Share of pixels with all display channels at 0.
    """

    mix_mean: tuple[float, float, float]
    clipped_share: float | None = None
    black_share: float | None = None


@dataclass
class MoodWork:
    """One mood on its way to files.

    Parameters
    ----------
    mood : ResolvedMood
        What it is to look like.
    mix : Mix
        Its sum.
    camera : CameraState
        Exposure and white balance.
    additions : callable
        Gives regions, plate and cut-outs, which it reads from files.
    targets : list of Target
        Files to make.
    thumbnail_size : tuple of int or None
        Width and height of the picture for the contact sheet, if one is wanted.
    """

    mood: ResolvedMood
    mix: Mix
    camera: CameraState
    additions: Callable[[], Additions]
    targets: list[Target]
    thumbnail_size: tuple[int, int] | None = None


class Finisher:
    """Brings the moods of a run to files.

    Parameters
    ----------
    recipe : Recipe
        The recipe.
    space : RgbSpace
        The passes' primaries.
    size : tuple of int
        Width and height of the mixes.
    luminance_scale : float or None
        cd/m2 of a pixel of luminance 1.
    provenance : callable
        Gives the record to embed in a target.
    write : callable
        Puts the bytes of a target under its final name.
    guides : tuple of str
        Composition guides to draw.
    pixel_aspect : float
        Width over height of a pixel of the mixes.
    keep_going : bool
        True: a plate, mask or LUT that cannot be used stops only the moods that need it, which
        are then in `failures`.
    """

    def __init__(
        self,
        recipe: Recipe,
        space: RgbSpace,
        size: tuple[int, int],
        luminance_scale: float | None,
        provenance: Callable[[Target], Provenance],
        write: Callable[[Target, bytes], None],
        guides: tuple[str, ...] = (),
        *,
        pixel_aspect: float = 1.0,
        keep_going: bool = False,
    ) -> None:
        self.recipe, self.space, self.size = recipe, space, size
        self.pixel_aspect = pixel_aspect
        self.luminance_scale = luminance_scale
        self.provenance, self.write, self.guides = provenance, write, guides
        self.keep_going = keep_going
        self.failures: dict[str, EvenfallError] = {}
        self.statistics: dict[str, Statistics] = {}
        self.thumbnails: dict[str, npt.NDArray[np.uint8]] = {}
        self.notes: dict[Path, tuple[str, ...]] = {}  # of formats on their files
        self._lock = threading.Lock()
        width, height = size
        rows = max(1, STRIP_PIXELS // width // STRIP_ROWS) * STRIP_ROWS
        self.strips = [slice(top, min(top + rows, height)) for top in range(0, height, rows)]

    def run(
        self, works: list[MoodWork], workers: int, afterwards: Callable[[Finisher], None]
    ) -> None:
        """Make all files.

        Parameters
        ----------
        works : list of MoodWork
            Emptied, so that mixes can be let go.
        workers : int
            Threads; the files do not depend on it.
        afterwards : callable
            Called when all moods have their small pictures, beside the encoding of files.
        """
        self._afterwards = afterwards
        jobs = [job for work in works if (job := self._job(work)) is not None]
        works.clear()
        jobs.reverse()
        self._looks_left = len(jobs)
        with Crew(workers) as crew:

            def begin() -> None:
                if jobs:
                    job = jobs.pop()
                    try:
                        job.begin(crew, workers)
                    except EvenfallError as error:
                        self.fail(job.work.mood.name, error)
                        self.look_ended(crew)
                    crew.add(begin)

            crew.add(begin if jobs else afterwards, *(() if jobs else (self,)))

    def _job(self, work: MoodWork) -> _MoodJob | None:
        try:
            return _MoodJob(self, work)
        except EvenfallError as error:
            self.fail(work.mood.name, error)
            return None

    def fail(self, mood: str, error: EvenfallError) -> None:
        """Give up a mood, or everything if the run is not to keep going."""
        if not self.keep_going:
            raise error
        with self._lock:
            self.failures[mood] = error

    def frame(self, deliverable: Deliverable) -> Frame:
        """Frame of a deliverable."""
        return frame_of(deliverable, *self.size, self.pixel_aspect)

    def look_ended(self, crew: Crew) -> None:
        """Take note that a mood has its small picture."""
        with self._lock:
            self._looks_left -= 1
            last = self._looks_left == 0
        if last:
            crew.add(self._afterwards, self)

    def chain(self, mood: ResolvedMood, camera: CameraState, space: str, peak: float) -> LookChain:
        """Make a mood's chain for one display."""
        return build_chain(
            mood.look,
            source=self.space,
            camera_matrix=camera.matrix,
            output=output_space(space),
            size=self.size,
            recipe_folder=self.recipe.path.parent,
            peak=peak,
        )


class _MoodJob:
    """One mood's way through the pool."""

    def __init__(self, finisher: Finisher, work: MoodWork) -> None:
        self.finisher, self.work = finisher, work
        self.planes: Floats = work.mix.planes
        self.canvases = self._canvases()
        self.exposed = False
        self.lock = threading.Lock()
        self.left = len(finisher.strips)
        self.sums = np.zeros((self.left, 3))
        self.counts = np.zeros((self.left, 2), np.int64)

    def _canvases(self) -> dict[Display, Canvas]:
        """Make a canvas for every kind of display, asked for what its files need."""
        finisher, work = self.finisher, self.work
        canvases: dict[Display, Canvas] = {}

        def canvas(display: Display) -> Canvas:
            if display not in canvases:
                chain = finisher.chain(work.mood, work.camera, *display)
                canvases[display] = Canvas(chain, finisher.size)
            return canvases[display]

        for target in work.targets:
            deliverable = target.deliverable
            resized = finisher.frame(deliverable).is_resized
            for shows, display in displays(deliverable).items():
                if resized or shows == "hdr":
                    canvas(display).want_linear()
                else:
                    canvas(display).want_codes(deliverable.bit_depth, dither=deliverable.dither)
        if work.thumbnail_size is not None:
            canvas(_SHEET_DISPLAY).want_thumbnail(work.thumbnail_size)
        return canvases

    def begin(self, crew: Crew, workers: int) -> None:
        """Make the steps of the whole picture, and queue the strips."""
        if self.canvases:
            chain = next(iter(self.canvases.values())).chain
            additions = self.work.additions()
            if chain.needs_whole or additions.any:
                self.planes = chain.whole(
                    self.planes, self.work.mix.alpha, additions, workers=workers
                )
                self.exposed = True
        for number in range(len(self.finisher.strips)):
            crew.add(self._strip, number, crew)

    def _strip(self, number: int, crew: Crew) -> None:
        rows = self.finisher.strips[number]
        self.sums[number] = self.work.mix.planes[:, rows].sum(axis=(1, 2), dtype=np.float32)
        for canvas in self.canvases.values():
            counts = canvas.fill(self.planes, rows, exposed=self.exposed)
            if canvas.is_encoded:
                self.counts[number] = counts
        with self.lock:
            self.left -= 1
            last = self.left == 0
        if last:
            self._end(crew)

    def _end(self, crew: Crew) -> None:
        """Sum up, let the mix go, and queue the files."""
        finisher, name = self.finisher, self.work.mood.name
        pixels = finisher.size[0] * finisher.size[1]
        red, green, blue = (float(value) for value in self.sums.sum(axis=0) / pixels)
        statistics = Statistics((red, green, blue))
        if any(canvas.is_encoded for canvas in self.canvases.values()):
            clipped, black = (int(count) for count in self.counts.sum(axis=0))
            statistics.clipped_share = clipped / pixels
            statistics.black_share = black / pixels
        finisher.statistics[name] = statistics
        for canvas in self.canvases.values():
            thumbnail = canvas.thumbnail()
            if thumbnail is not None:
                finisher.thumbnails[name] = thumbnail
        mix, camera = self.work.mix, self.work.camera
        targets = self.work.targets
        del self.work, self.planes
        for target in targets:
            holds_mix = "scene-linear" in target.deliverable.row.shows
            crew.add(self._encode, target, mix if holds_mix else None, camera, crew)
        finisher.look_ended(crew)

    def _encode(self, target: Target, mix: Mix | None, camera: CameraState, crew: Crew) -> None:
        finisher = self.finisher
        finished = FinishedMood(
            target.deliverable,
            finisher.frame(target.deliverable),
            self.canvases,
            mix,
            camera,
            finisher.space,
            finisher.luminance_scale,
            finisher.provenance(target),
            finisher.guides,
            crew.share,
        )
        try:
            encoded = codec(target.deliverable.format).encode(finished)
        except OutputError as error:
            found = f"{target.path.name}: {error}"
            raise OutputError(finisher.recipe.fault(target.place, found)) from None
        if encoded.notes:
            finisher.notes[target.path] = encoded.notes
        finisher.write(target, encoded.data)
