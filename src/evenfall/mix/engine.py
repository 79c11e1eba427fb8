"""The engine: every pass is read once and added to all moods at once.

Worker threads each decode a batch of passes, then add it to the moods strip by strip, behind the
batch before it. A value is therefore always the sum of the same float32 products in the same
order, whatever the number of threads and the size of strips: the result has the same bytes. Numpy
rounds each product and each sum on its own (no fused operation), on any processor.

Memory is the moods' sums and one decoded batch per worker, whatever the number of lights.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextvars import Context
from dataclasses import dataclass, field
from typing import Any, Protocol

import numpy as np
import numpy.typing as npt

from evenfall.errors import Fault, PassError
from evenfall.mix.coverage import Coverage, notes_of_gaps
from evenfall.mix.halves import multiply, spread
from evenfall.mix.plan import MixPlan, RegionalGain
from evenfall.passes.image import PassImage
from evenfall.recipe.places import dotted
from evenfall.system.opened import Opened, Openings
from evenfall.system.overtaken import going_on
from evenfall.system.processors import default_workers, passes_at_once

__all__ = ["Mix", "PassRead", "Readable", "mix_moods"]

Floats = npt.NDArray[np.float32]
_PAGE_BYTES = 4096
STRIP_PIXELS = 131_072  # few enough that a strip of the sums stays in the shared cache


class Readable(Protocol):
    """What the engine asks of a source of passes."""

    @property
    def size(self) -> tuple[int, int]:
        """Width and height of every pass."""

    def read(self, batch: tuple[str, ...]) -> Mapping[str, PassImage]:
        """Decode a batch of lights; called from several threads at once."""


@dataclass(frozen=True)
class PassRead:
    """Event: a batch of passes has been decoded.

    Parameters
    ----------
    lights : tuple of str
        The batch.
    images : mapping of str to PassImage
        Its pictures; a listener looks at headers and censuses and keeps no pixels. Of passes that
        share a part of a file, pixels may be left out: planes of no size.
    """

    lights: tuple[str, ...]
    images: Mapping[str, PassImage] = field(repr=False)


@dataclass(frozen=True, eq=False)
class Mix:
    """The scene-linear sum of the passes under one balance.

    Parameters
    ----------
    planes : ndarray, shape (3, H, W), float32
        R, G, B in the passes' primaries: not exposed, not clipped.
    alpha : ndarray, shape (H, W), float16 or float32, or None
        Coverage: that of the first light that is on and has one, in the order of reading. All
        passes of a view have the same; one that differs is named in `notes`.
    alpha_gaps : mapping of (str, str) to float
        By a light whose alpha differs, and the one whose alpha is used: by how much at the most.
    remarks : tuple of str
        What else a person should know about the sum.
    opened : tuple of Opened
        Files that what was added up came from.
    """

    planes: Floats
    alpha: npt.NDArray[Any] | None = None
    alpha_gaps: Mapping[tuple[str, str], float] = field(default_factory=dict)
    remarks: tuple[str, ...] = ()
    opened: tuple[Opened, ...] = ()

    @property
    def notes(self) -> tuple[str, ...]:
        """What a person should know about the sum."""
        return (*notes_of_gaps(self.alpha_gaps), *self.remarks)

    def rgb(self) -> Floats:
        """Give the picture as (H, W, 3)."""
        return np.ascontiguousarray(np.moveaxis(self.planes, 0, -1))


@dataclass(frozen=True, eq=False)
class _Term:
    """What one light adds to one mood."""

    mood: str
    total: Floats
    factors: Floats
    regional: tuple[tuple[Floats, np.float32], ...]
    first: bool


def mix_moods(
    plan: MixPlan,
    library: Readable,
    *,
    held: dict[str, PassImage] | None = None,
    workers: int | None = None,
    on_event: Callable[[PassRead], None] | None = None,
    keep_going: bool = False,
    strip_pixels: int = STRIP_PIXELS,
) -> tuple[dict[str, Mix], dict[str, PassError]]:
    """Sum passes into moods.

    Parameters
    ----------
    plan : MixPlan
        What is read and summed.
    library : Readable
        Where passes come from: any `PassSource`.
    held : dict of str to PassImage, optional
        Passes that are decoded already, by light: not read again, and taken out as they are used.
    workers : int, optional
        Threads; one per processor otherwise, fewer for very large pictures. The result does not
        depend on it.
    on_event : callable, optional
        Told of every batch read here, in the thread that read it: several may call at once.
    keep_going : bool
        True: a pass that cannot be read stops only the moods that need it.
    strip_pixels : int
        Pixels per step of the summing. The result does not depend on it.

    Returns
    -------
    mixes : dict of str to Mix
        By mood. Negative values and values over 65,504 are kept. A mood without lights is black.
    failures : dict of str to PassError
        Moods that could not be made; always empty unless `keep_going`.

    Raises
    ------
    PassError
        When a pass cannot be read, or a sum leaves the range of float32.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> from evenfall.mix.plan import plan_mix
    >>> grey = np.full((1, 2), 0.25, np.float16)
    >>> image = SimpleNamespace(planes=(grey, grey, grey), alpha=None, opened=())
    >>> library = SimpleNamespace(size=(2, 1), read=lambda batch: {"lamp": image})
    >>> plan = plan_mix({"night": {"lamp": (2.0, 1.0, 0.5)}}, [("lamp",)])
    >>> mixes, failures = mix_moods(plan, library)
    >>> mixes["night"].rgb().tolist()
    [[[0.5, 0.25, 0.125], [0.5, 0.25, 0.125]]]
    """
    job = _Job(plan, library, {} if held is None else held, on_event, keep_going, strip_pixels)
    allowed = passes_at_once(library.size, workers or default_workers())
    return job.run(min(allowed, max(1, len(plan.batches))))


class _Job:
    """One run of the engine: the sums, and how far each batch has been added."""

    def __init__(
        self,
        plan: MixPlan,
        library: Readable,
        held: dict[str, PassImage],
        on_event: Callable[[PassRead], None] | None,
        keep_going: bool,
        strip_pixels: int,
    ) -> None:
        self.plan, self.library, self.held = plan, library, held
        self.on_event, self.keep_going = on_event, keep_going
        self.go_on = going_on()
        width, height = library.size
        self.pixels = width * height
        self.strips = [
            slice(start, min(start + strip_pixels, self.pixels))
            for start in range(0, self.pixels, strip_pixels)
        ]
        self.totals = {mood: np.empty((3, height, width), np.float32) for mood in plan.moods}
        self.terms = _terms(plan, self.totals)
        self.added = [0] * len(plan.batches)  # strips finished, by batch
        self.turn = threading.Condition()
        self.next_batch = 0
        self.stopped = False
        self.coverage = Coverage(plan)
        self.openings = {mood: Openings() for mood in plan.moods}
        self.failures: dict[str, PassError] = {}

    def run(self, workers: int) -> tuple[dict[str, Mix], dict[str, PassError]]:
        for mood, total in self.totals.items():
            if not self.plan.factors[mood]:
                total.fill(0.0)
        self.together = threading.Barrier(workers)
        if workers == 1:
            Context().run(self._work, 0)  # as in another thread, nobody listens to what it opens
        else:
            self._work_together(workers)
        mixes = {
            mood: Mix(
                total,
                self.coverage.alpha(mood),
                self.coverage.gaps[mood],
                opened=tuple(self.openings[mood]),
            )
            for mood, total in self.totals.items()
            if mood not in self.failures
        }
        return mixes, self.failures

    def _work_together(self, workers: int) -> None:
        with ThreadPoolExecutor(workers, "mix") as pool:
            try:
                # Not by a list of tasks, which would hold what was summed so far with an error.
                for _ in pool.map(self._work, range(workers)):
                    pass
            except BaseException:
                self._stop()
                raise

    def _work(self, number: int) -> None:
        try:
            self._claim(number, self.together.parties)
            self.together.wait()
            scratch = np.empty((2, self.strips[0].stop), np.float32)
            with np.errstate(over="raise", invalid="raise", under="ignore"):
                while (index := self._take()) is not None:
                    self.go_on()
                    images = self._read(index)
                    if images is not None:
                        self._add(index, images, scratch)
                    else:
                        self._wait(index, len(self.strips))  # the next one must not overtake
                    self._finish(index, len(self.strips) + 1)
                    del images  # so that the next pass can take its memory
        except threading.BrokenBarrierError:  # stopped before all had begun
            return
        except BaseException:
            self._stop()
            raise

    def _claim(self, number: int, workers: int) -> None:
        """Write to every page of this worker's share of the sums.

        The system hands out memory page by page as it is first written to; otherwise the worker
        of the first pass would wait for all of them, and the others for that worker.
        """
        for total in self.totals.values():
            pages = total.reshape(-1)[:: _PAGE_BYTES // total.itemsize]
            pages[number * len(pages) // workers : (number + 1) * len(pages) // workers] = 0.0

    def _take(self) -> int | None:
        with self.turn:
            if self.stopped or self.next_batch == len(self.plan.batches):
                return None
            self.next_batch += 1
            return self.next_batch - 1

    def _read(self, index: int) -> Mapping[str, PassImage] | None:
        batch = self.plan.batches[index]
        try:
            if all(light in self.held for light in batch):
                return {light: self.held.pop(light) for light in batch}
            images = self.library.read(batch)
        except PassError as error:
            if not self.keep_going:
                raise
            self._fail(self.plan.needed_by(batch), error)
            return None
        if self.on_event is not None:
            self.on_event(PassRead(batch, images))
        return images

    def _add(self, index: int, images: Mapping[str, PassImage], scratch: Floats) -> None:
        """Add a batch to the sums, each strip behind the batch before."""
        batch = self.plan.batches[index]
        flat = {light: [plane.reshape(-1) for plane in images[light].planes] for light in batch}
        for number, strip in enumerate(self.strips):
            if not self._wait(index, number):
                return
            self.go_on()
            for light in batch:
                terms = [term for term in self.terms[light] if term.mood not in self.failures]
                try:
                    _add_strip(flat[light], terms, strip, scratch)
                except FloatingPointError:
                    self._overflow(light, images[light], terms)
            self._finish(index, number + 1)
        if self._wait(index, len(self.strips)):
            for light in batch:
                self.coverage.see(light, images[light].alpha)
                for term in self.terms[light]:
                    self.openings[term.mood].note(images[light].opened)

    def _overflow(self, light: str, image: PassImage, terms: Sequence[_Term]) -> None:
        column, row, value = _farthest_from_0(image.planes)
        faults = {
            term.mood: Fault(
                "",
                dotted(("moods", term.mood, "lights", light)),
                "the pass times its factors is more than single precision holds (3.4e38); its "
                f"pixel at {column}, {row} is {value:.3g}",
                hint="render the pass again or take that pixel out, or lower the gain",
            )
            for term in terms
        }
        if not self.keep_going:
            raise PassError(faults.values())
        for mood, fault in faults.items():
            self._fail([mood], PassError(fault))

    def _fail(self, moods: Iterable[str], error: PassError) -> None:
        with self.turn:
            for mood in moods:
                earlier = self.failures.get(mood)
                faults = (*earlier.faults, *error.faults) if earlier else error.faults
                self.failures[mood] = PassError(faults)

    def _wait(self, index: int, step: int) -> bool:
        """Wait until the batch before has finished this step; False when the run has stopped."""
        with self.turn:
            self.turn.wait_for(lambda: self.stopped or index == 0 or self.added[index - 1] > step)
            return not self.stopped

    def _finish(self, index: int, steps: int) -> None:
        with self.turn:
            self.added[index] = steps
            self.turn.notify_all()

    def _stop(self) -> None:
        self.together.abort()
        with self.turn:
            self.stopped = True
            self.turn.notify_all()


def _terms(plan: MixPlan, totals: Mapping[str, Floats]) -> dict[str, list[_Term]]:
    """Say for every light what it adds to which mood."""
    terms: dict[str, list[_Term]] = {light: [] for light in plan.lights}
    begun: set[str] = set()
    for light in plan.lights:
        for mood in plan.needed_by([light]):
            terms[light].append(
                _Term(
                    mood,
                    totals[mood].reshape(3, -1),
                    plan.factors[mood][light],
                    tuple(_regional(plan.regional.get(mood, ()), light)),
                    mood not in begun,
                )
            )
            begun.add(mood)
    return terms


def _regional(gains: Iterable[RegionalGain], light: str) -> Iterable[tuple[Floats, np.float32]]:
    for gain in gains:
        if gain.gains.get(light, 1.0) != 1.0:
            yield gain.weights.reshape(-1), np.float32(gain.gains[light] - 1.0)


def _farthest_from_0(planes: Sequence[npt.NDArray[Any]]) -> tuple[int, int, float]:
    """Column, row and value of the largest number of a pass, whatever its sign."""
    at = [np.unravel_index(np.argmax(np.abs(plane)), plane.shape) for plane in planes]
    values = [plane[place] for plane, place in zip(planes, at, strict=True)]
    channel = int(np.argmax(np.abs(values)))
    return int(at[channel][1]), int(at[channel][0]), float(values[channel])


def _add_strip(
    planes: Sequence[npt.NDArray[Any]], terms: Sequence[_Term], strip: slice, scratch: Floats
) -> None:
    """Add one strip of one light to every mood it is on in."""
    length = strip.stop - strip.start
    widened, product = scratch[0, :length], scratch[1, :length]
    for channel, plane in enumerate(planes):
        values, is_spread = spread(plane[strip], widened), plane.dtype == np.float16
        for term in terms:
            total = term.total[channel, strip]
            target = total if term.first else product
            multiply(values, term.factors[channel], target, is_spread=is_spread)
            for weights, change in term.regional:
                target *= weights[strip] * change + np.float32(1.0)
            if not term.first:
                np.add(total, product, out=total)
