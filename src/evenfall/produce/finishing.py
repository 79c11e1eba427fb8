"""From mixed moods to files: camera, look, size, codes, encoding.

The work of all moods goes through one pool. The strips of a mood's look are queued before those of
the next; when the last of them is done its files are queued for encoding, so that one mood is
encoded while the next is being finished. Steps that need the whole picture are made for one mood
at a time. A mood's mix is let go as soon as nothing needs it.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from evenfall.camera.state import CameraState
from evenfall.deliver.formats import Display, codec, displays
from evenfall.deliver.frame import Frame, frame_of
from evenfall.deliver.provenance import Provenance
from evenfall.deliver.targets import Target
from evenfall.develop.developed import DevelopedMood, Scene
from evenfall.develop.engine import Development
from evenfall.errors import EvenfallError, OutputError
from evenfall.light.primaries import RgbSpace
from evenfall.mix.engine import Mix
from evenfall.produce.canvas import STRIP_ROWS, Canvas
from evenfall.produce.encoding import FinishedMood
from evenfall.produce.pool import Crew
from evenfall.recipe import Deliverable, Recipe
from evenfall.system.scratch import BLOCK_PIXELS

__all__ = ["Finisher", "Statistics"]

STRIP_PIXELS = BLOCK_PIXELS
_SHEET_DISPLAY = _COUNTED = Display("sRGB")


@dataclass
class Statistics:
    """What a mood's picture came to.

    Parameters
    ----------
    mix_mean : tuple of float
        Mean R, G, B of the mix, in the passes' primaries and units.
    clipped_share : float or None
        Share of pixels with a channel at the top of an sRGB display of 8 bits; None when no picture
        was made for one.
    black_share : float or None
        Share of pixels with all channels at its bottom.
    """

    mix_mean: tuple[float, float, float]
    clipped_share: float | None = None
    black_share: float | None = None


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
    tell : callable
        Told of every mood as it is developed.
    guides : tuple of str
        Composition guides to draw.
    thumbnail_size : tuple of int or None
        Width and height of the pictures for the contact sheet, if they are wanted.
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
        tell: Callable[[DevelopedMood], None],
        guides: tuple[str, ...] = (),
        thumbnail_size: tuple[int, int] | None = None,
        *,
        pixel_aspect: float = 1.0,
        keep_going: bool = False,
    ) -> None:
        self.recipe, self.space, self.size = recipe, space, size
        self.pixel_aspect = pixel_aspect
        self.luminance_scale = luminance_scale
        self.provenance, self.write, self.tell, self.guides = provenance, write, tell, guides
        self.keep_going, self.thumbnail_size = keep_going, thumbnail_size
        self.failures: dict[str, EvenfallError] = {}
        self.statistics: dict[str, Statistics] = {}
        self.thumbnails: dict[str, npt.NDArray[np.uint8]] = {}
        self.notes: dict[Path, tuple[str, ...]] = {}  # of formats on their files
        self._lock = threading.Lock()
        width, height = size
        rows = max(1, STRIP_PIXELS // width // STRIP_ROWS) * STRIP_ROWS
        self.strips = [slice(top, min(top + rows, height)) for top in range(0, height, rows)]

    def run(
        self,
        development: Development,
        targets: Mapping[str, list[Target]],
        workers: int,
        afterwards: Callable[[Finisher], None],
    ) -> None:
        """Make all files.

        Parameters
        ----------
        development : Development
            Gives the moods, which are let go one by one.
        targets : mapping of str to list of Target
            Files to make, by mood.
        workers : int
            Threads; the files do not depend on it.
        afterwards : callable
            Called when all moods have their small pictures, beside the encoding of files.
        """
        self._afterwards, self._looks_left = afterwards, len(development.moods)
        moods = iter(development)
        with Crew(workers) as crew:

            def begin() -> None:
                left = len(development.moods)
                developed = next(moods, None)
                for _ in range(left - len(development.moods) - (developed is not None)):
                    self.look_ended(crew)  # of moods that failed on the way
                if developed is not None:
                    self.tell(developed)
                    try:
                        job = _MoodJob(self, developed, targets.get(developed.name, []))
                        job.begin(crew, workers)
                    except EvenfallError as error:
                        self.fail(developed.name, error)
                        self.look_ended(crew)
                    crew.add(begin)

            if development.moods:
                crew.add(begin)
            else:
                crew.add(afterwards, self)

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


class _MoodJob:
    """One mood's way through the pool."""

    def __init__(self, finisher: Finisher, developed: DevelopedMood, targets: list[Target]) -> None:
        self.finisher, self.developed, self.targets = finisher, developed, targets
        self.canvases = self._canvases()
        self.lock = threading.Lock()
        self.left = len(finisher.strips)
        self.sums = np.zeros((self.left, 3))
        self.counts = np.zeros((self.left, 2), np.int64)

    def _canvases(self) -> dict[Display, Canvas]:
        """Make a canvas for every kind of display, asked for what its files need."""
        finisher, developed = self.finisher, self.developed
        canvases: dict[Display, Canvas] = {}

        def canvas(display: Display) -> Canvas:
            if display not in canvases:
                chain = developed.chain(display.space, peak=display.peak)
                canvases[display] = Canvas(chain, finisher.size)
            return canvases[display]

        for target in self.targets:
            deliverable = target.deliverable
            resized = finisher.frame(deliverable).is_resized
            for shows, display in displays(deliverable).items():
                if resized or shows == "hdr":
                    canvas(display).want_linear()
                else:
                    canvas(display).want_codes(deliverable.bit_depth, dither=deliverable.dither)
        if finisher.thumbnail_size is not None:
            canvas(_SHEET_DISPLAY).want_thumbnail(finisher.thumbnail_size)
        return canvases

    def begin(self, crew: Crew, workers: int) -> None:
        """Make the steps of the whole picture, and queue the strips."""
        self.scene = Scene(self.developed.mix.planes, is_exposed=False)
        if self.canvases:
            chain = next(iter(self.canvases.values())).chain
            self.scene = self.developed.scene(chain, workers=workers)
        for number in range(len(self.finisher.strips)):
            crew.add(self._strip, number, crew)

    def _strip(self, number: int, crew: Crew) -> None:
        rows = self.finisher.strips[number]
        self.sums[number] = self.developed.mix.planes[:, rows].sum(axis=(1, 2), dtype=np.float32)
        for display, canvas in self.canvases.items():
            counts = canvas.fill(self.scene, rows)
            if display == _COUNTED:
                self.counts[number] = counts
        with self.lock:
            self.left -= 1
            last = self.left == 0
        if last:
            self._end(crew)

    def _end(self, crew: Crew) -> None:
        """Sum up, let the mix go, and queue the files."""
        finisher, name = self.finisher, self.developed.name
        pixels = finisher.size[0] * finisher.size[1]
        red, green, blue = (float(value) for value in self.sums.sum(axis=0) / pixels)
        statistics = Statistics((red, green, blue))
        if _COUNTED in self.canvases and self.canvases[_COUNTED].is_encoded:
            clipped, black = (int(count) for count in self.counts.sum(axis=0))
            statistics.clipped_share = clipped / pixels
            statistics.black_share = black / pixels
        finisher.statistics[name] = statistics
        for canvas in self.canvases.values():
            thumbnail = canvas.thumbnail()
            if thumbnail is not None:
                finisher.thumbnails[name] = thumbnail
        mix, camera = self.developed.mix, self.developed.camera
        del self.developed, self.scene
        for target in self.targets:
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
