"""Mixing in bands of rows, for files that hold many lights in one part.

Such a part is decoded as a whole, or some rows of it: in bands, memory does not grow with the
lights in it. Every band is mixed as a picture of its own, several at once, and the result has the
same bytes: a pixel of a mix depends on no other.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Collection, Mapping, Sequence
from concurrent.futures import FIRST_EXCEPTION, ThreadPoolExecutor, wait
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
import numpy.typing as npt

from evenfall.errors import PassError
from evenfall.mix.engine import Mix, PassRead, mix_moods
from evenfall.mix.plan import MixPlan
from evenfall.passes.image import PassImage, join_rows
from evenfall.passes.source import PassSource
from evenfall.system.processors import passes_at_once

__all__ = ["mix_in_bands", "read_in_bands"]

OnEvent = Callable[[PassRead], None]
Lower = Callable[[PassImage], PassImage]
_NO_PIXELS = np.empty((0, 0), np.float16)


def mix_in_bands(
    plan: MixPlan,
    passes: PassSource,
    bands: Sequence[slice],
    *,
    watched: Collection[str],
    lower: Lower,
    workers: int,
    on_event: OnEvent,
    keep_going: bool = False,
) -> tuple[dict[str, Mix], dict[str, PassError]]:
    """Sum passes into moods, as `mix_moods` does, some rows at a time.

    Parameters
    ----------
    plan : MixPlan
        What is read and summed.
    passes : PassSource
        Where passes come from.
    bands : sequence of slice
        Bands of rows, from the top down; see `PassSource.bands`.
    watched : collection of str
        Lights whose pixels `on_event` looks at; of the others it is told all but pixels.
    lower : callable
        Makes of a band of a watched light what `on_event` needs of it, so that less is kept.
    workers : int
        Threads; the result does not depend on them.
    on_event : callable
        Told of every batch when all its rows have been read.
    keep_going : bool
        True: a pass that cannot be read stops only the moods that need it.

    Returns
    -------
    mixes, failures
        As of `mix_moods`.
    """
    width, height = passes.size
    totals = {mood: np.empty((3, height, width), np.float32) for mood in plan.moods}
    gathering = _Gathering(len(bands), watched, lower, on_event)

    def mix(number: int) -> tuple[dict[str, Mix], dict[str, PassError]]:
        rows = bands[number]
        mixes, failures = mix_moods(
            _only_rows(plan, rows),
            _Rows(passes, rows),
            workers=1,
            on_event=partial(gathering.hear, number),
            keep_going=keep_going,
        )
        for mood, band in mixes.items():
            totals[mood][:, rows] = band.planes
        nothing = np.empty((3, 0, width), np.float32)
        return {mood: replace(band, planes=nothing) for mood, band in mixes.items()}, failures

    at_once = min(passes_at_once(passes.size, workers), len(bands))
    with ThreadPoolExecutor(at_once, "band") as pool:
        try:
            tasks = [pool.submit(mix, number) for number in range(len(bands))]
            wait(tasks, return_when=FIRST_EXCEPTION)
            done = [task.result() for task in tasks if task.done()]
        finally:
            pool.shutdown(cancel_futures=True)
    failures: dict[str, PassError] = {}
    for _, failed in done:
        for mood, error in failed.items():
            earlier = failures[mood].faults if mood in failures else ()
            failures[mood] = PassError(dict.fromkeys((*earlier, *error.faults)))
    mixes = {
        mood: _joined(total, [band[mood] for band, _ in done], plan.lights)
        for mood, total in totals.items()
        if mood not in failures
    }
    return mixes, failures


def read_in_bands(
    passes: PassSource,
    batch: tuple[str, ...],
    bands: Sequence[slice],
    lower: Lower,
    workers: int = 1,
) -> dict[str, PassImage]:
    """Read a batch some rows at a time, and put together what `lower` makes of every band.

    Raises
    ------
    PassError
        As `PassSource.read`.
    """

    def read(rows: slice) -> dict[str, PassImage]:
        images = dict(passes.read(batch, rows))
        return {light: lower(images.pop(light)) for light in batch}

    with ThreadPoolExecutor(workers, "band") as pool:
        pieces = list(pool.map(read, bands))
    return {light: join_rows([piece.pop(light) for piece in pieces]) for light in batch}


def _joined(total: npt.NDArray[np.float32], bands: Sequence[Mix], lights: Sequence[str]) -> Mix:
    alphas = [band.alpha for band in bands if band.alpha is not None]
    gaps: dict[tuple[str, str], float] = {}
    for band in bands:
        for pair, gap in band.alpha_gaps.items():
            gaps[pair] = max(gap, gaps.get(pair, 0.0))
    in_order = sorted(gaps.items(), key=lambda item: lights.index(item[0][0]))
    alpha = np.concatenate(alphas) if alphas else None
    opened = dict.fromkeys(opened for band in bands for opened in band.opened)
    return Mix(total, alpha, dict(in_order), opened=tuple(opened))


def _only_rows(plan: MixPlan, rows: slice) -> MixPlan:
    regional = {
        mood: tuple(replace(gain, weights=gain.weights[rows]) for gain in gains)
        for mood, gains in plan.regional.items()
    }
    return replace(plan, regional=regional)


@dataclass(frozen=True)
class _Rows:
    """Some rows of the passes, as if they were all."""

    passes: PassSource
    rows: slice

    @property
    def size(self) -> tuple[int, int]:
        return self.passes.size[0], self.rows.stop - self.rows.start

    def read(self, batch: tuple[str, ...]) -> Mapping[str, PassImage]:
        return self.passes.read(batch, self.rows)


class _Gathering:
    """Tells of a batch when its last band has been read."""

    def __init__(
        self, bands: int, watched: Collection[str], lower: Lower, on_event: OnEvent
    ) -> None:
        self._bands, self._watched, self._lower = bands, watched, lower
        self._on_event = on_event
        self._lock = threading.Lock()
        self._read: dict[tuple[str, ...], dict[int, dict[str, PassImage]]] = {}

    def hear(self, number: int, event: PassRead) -> None:
        images = {
            light: self._lower(image) if light in self._watched else _without_pixels(image)
            for light, image in event.images.items()
        }
        with self._lock:
            read = self._read.setdefault(event.lights, {})
            read[number] = images
            if len(read) < self._bands:
                return
            del self._read[event.lights]
        in_order = [read[band] for band in range(self._bands)]
        whole = {light: join_rows([some.pop(light) for some in in_order]) for light in event.lights}
        self._on_event(PassRead(event.lights, whole))


def _without_pixels(image: PassImage) -> PassImage:
    return replace(image, planes=(_NO_PIXELS, _NO_PIXELS, _NO_PIXELS), alpha=None)
