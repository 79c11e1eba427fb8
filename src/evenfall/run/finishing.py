"""From mixed moods to files: camera, look, size, codes, encoding.

The work of all moods goes through one pool. The strips of a mood's look are queued before those of
the next; when the last of them is done its files are queued for encoding, so that one mood is
encoded while the next is being finished. A mood's mix is let go as soon as nothing needs it.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from evenfall.camera.state import CameraState
from evenfall.deliver.frame import frame_of
from evenfall.deliver.guides import draw_guides
from evenfall.deliver.provenance import Provenance
from evenfall.light.primaries import RgbSpace
from evenfall.look.chain import build_chain
from evenfall.look.output import output_space
from evenfall.mix.engine import Mix
from evenfall.recipe import Recipe, ResolvedMood
from evenfall.run.canvas import Canvas
from evenfall.run.encoding import codes_of_linear, encode_codes, encode_scene_linear
from evenfall.run.pool import Crew
from evenfall.run.targets import Target

__all__ = ["Finisher", "MoodWork", "Statistics"]

Floats = npt.NDArray[np.float32]
STRIP_PIXELS = 98_304
_SHEET_SPACE = "sRGB"


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
    mix : Mix or None
        Its sum; None once nothing needs it any more.
    camera : CameraState
        Exposure and white balance.
    targets : list of Target
        Files to make.
    provenance : callable
        Record to embed, by target.
    thumbnail_size : tuple of int or None
        Width and height of the picture for the contact sheet, if one is wanted.
    """

    mood: ResolvedMood
    mix: Mix | None
    camera: CameraState
    targets: list[Target]
    provenance: Callable[[Target], Provenance]
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
    write : callable
        Puts the bytes of a target under its final name.
    guides : tuple of str
        Composition guides to draw.
    """

    def __init__(
        self,
        recipe: Recipe,
        space: RgbSpace,
        size: tuple[int, int],
        luminance_scale: float | None,
        write: Callable[[Target, bytes], None],
        guides: tuple[str, ...] = (),
    ) -> None:
        self.recipe, self.space, self.size = recipe, space, size
        self.luminance_scale = luminance_scale
        self.write, self.guides = write, guides
        self.statistics: dict[str, Statistics] = {}
        self.thumbnails: dict[str, npt.NDArray[np.uint8]] = {}

    def run(self, works: list[MoodWork], workers: int) -> None:
        """Make all files; the list is emptied, so that mixes can be let go."""
        with Crew(workers) as crew:
            while works:
                _MoodJob(self, works.pop(0), crew).begin()

    def strips(self) -> Iterator[slice]:
        """Rows that are worked on together; their number does not depend on the threads."""
        width, height = self.size
        rows = max(1, STRIP_PIXELS // width)
        for first in range(0, height, rows):
            yield slice(first, min(first + rows, height))


class _MoodJob:
    """One mood's way through the pool."""

    def __init__(self, finisher: Finisher, work: MoodWork, crew: Crew) -> None:
        self.finisher, self.work, self.crew = finisher, work, crew
        self.lock = threading.Lock()
        self.canvases = self._canvases()
        self.strips = list(finisher.strips())
        self.left = len(self.strips)
        self.sums = np.zeros((len(self.strips), 3))
        self.clipped = self.black = 0
        self.finished: Floats | None = None

    def begin(self) -> None:
        for number in range(len(self.strips)):
            self.crew.add(self._strip, number)

    def _canvases(self) -> dict[str, Canvas]:
        """Make a canvas for every output space, asked for what its files need."""
        finisher, work = self.finisher, self.work
        canvases: dict[str, Canvas] = {}

        def canvas(space: str) -> Canvas:
            if space not in canvases:
                chain = build_chain(
                    work.mood.look,
                    source=finisher.space,
                    camera_matrix=work.camera.matrix,
                    output=output_space(space),
                    size=finisher.size,
                    recipe_folder=finisher.recipe.path.parent,
                )
                canvases[space] = Canvas(chain, finisher.size)
            return canvases[space]

        for target in work.targets:
            deliverable = target.deliverable
            if deliverable.format == "exr":
                continue
            if frame_of(deliverable, *finisher.size).is_resized:
                canvas(deliverable.space).want_linear()
            else:
                canvas(deliverable.space).want_codes(
                    deliverable.bit_depth, dither=deliverable.dither
                )
        if work.thumbnail_size is not None:
            canvas(_SHEET_SPACE).want_thumbnail(work.thumbnail_size)
        return canvases

    def _strip(self, number: int) -> None:
        work, rows = self.work, self.strips[number]
        assert work.mix is not None
        planes = work.mix.planes
        self.sums[number] = planes[:, rows].sum(axis=(1, 2), dtype=np.float32)
        clipped = black = 0
        for canvas in self.canvases.values():
            clipped, black = canvas.fill(planes, rows, exposed=False)
        with self.lock:
            self.clipped += clipped
            self.black += black
            self.left -= 1
            last = self.left == 0
        if last:
            self._finish_look()

    def _finish_look(self) -> None:
        work, finisher = self.work, self.finisher
        pixels = finisher.size[0] * finisher.size[1]
        red, green, blue = (float(value) for value in self.sums.sum(axis=0) / pixels)
        statistics = Statistics((red, green, blue))
        if self.canvases:
            statistics.clipped_share = self.clipped / pixels
            statistics.black_share = self.black / pixels
        finisher.statistics[work.mood.name] = statistics
        for canvas in self.canvases.values():
            thumbnail = canvas.thumbnail()
            if thumbnail is not None:
                finisher.thumbnails[work.mood.name] = thumbnail
        mix = work.mix
        work.mix = None
        for target in work.targets:
            if target.deliverable.format == "exr":
                self.crew.add(self._encode_scene_linear, target, mix)
            else:
                self.crew.add(self._encode, target)

    def _encode(self, target: Target) -> None:
        deliverable = target.deliverable
        canvas = self.canvases[deliverable.space]
        frame = frame_of(deliverable, *self.finisher.size)
        if frame.is_resized:
            assert canvas.linear is not None
            codes = codes_of_linear(canvas.linear, frame, deliverable)
        else:
            whole = canvas.codes[deliverable.bit_depth, deliverable.dither]
            codes = whole[frame.top : frame.bottom, frame.left : frame.right]
        if self.finisher.guides:
            codes = draw_guides(codes.astype(np.uint8, copy=False), self.finisher.guides)
        provenance = self.work.provenance(target)
        self.finisher.write(target, encode_codes(deliverable, codes, provenance, frame.dpi))

    def _encode_scene_linear(self, target: Target, mix: Mix) -> None:
        data = encode_scene_linear(
            target.deliverable,
            mix.planes,
            mix.alpha,
            frame_of(target.deliverable, *self.finisher.size),
            self.work.camera.matrix,
            self.finisher.space.chromaticities,
            self.finisher.luminance_scale,
            self.work.provenance(target),
        )
        self.finisher.write(target, data)
