"""Reading passes for a development: for ratios first, then for the mix."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from typing import Any

from evenfall.develop.grid import Grid
from evenfall.develop.kept import KeptPasses
from evenfall.errors import PassError
from evenfall.mix.engine import Mix, PassRead, mix_moods
from evenfall.mix.plan import MixPlan
from evenfall.passes.image import PassImage, PixelCensus
from evenfall.passes.source import PassSource
from evenfall.system.overtaken import going_on
from evenfall.system.processors import passes_at_once, workers_of

__all__ = ["Reading"]

_HELD_PASSES = 4
"""Decoded passes kept from solving ratios to mixing, where memory allows; others are read again."""


class Reading:
    """Reads the passes of one development, and tells of each once.

    Parameters
    ----------
    source : PassSource
        Where passes come from.
    workers : int, optional
        Threads; one per processor otherwise.
    onward : callable, optional
        Told of passes as they are read, one event at a time.
    sees_pixels : bool
        Whether it looks at pixels: then nothing is read in bands.

    Attributes
    ----------
    censuses : dict of str to PixelCensus
        By light, in the order of reading.
    """

    def __init__(
        self,
        source: PassSource,
        workers: int | None = None,
        onward: Callable[[PassRead], None] | None = None,
        *,
        sees_pixels: bool = False,
    ) -> None:
        self.source, self._workers = source, workers_of(workers)
        self._onward, self._sees_pixels = onward, sees_pixels
        self._go_on = going_on()
        self.censuses: dict[str, PixelCensus] = {}
        self._held: dict[str, PassImage] = {}
        self._lock = threading.Lock()

    def measure(self, grid: Grid, *, keep_going: bool) -> dict[str, PassError]:
        """Read the passes that a grid watches; some are held for the mix.

        Returns
        -------
        dict of str to PassError
            By light that could not be read; always empty unless `keep_going`.
        """
        lights = [light for light in self.source.headers if light in grid.missing]
        lights += sorted(grid.missing.difference(lights))  # without headers: reading says why
        batches = self.source.batches(lights)
        threads = self._workers if len(batches) == 1 else 1
        with ThreadPoolExecutor(passes_at_once(self.source.size, self._workers)) as pool:
            tasks = {batch: pool.submit(self._measure, batch, grid, threads) for batch in batches}
        errors: dict[str, PassError] = {}
        for batch, task in tasks.items():
            try:
                task.result()
            except PassError as error:
                if not keep_going:
                    raise
                errors |= dict.fromkeys(batch, error)
        return errors

    def _measure(self, batch: tuple[str, ...], grid: Grid, threads: int) -> None:
        self._go_on()
        bands = self._bands(batch, grid)
        if len(bands) > 1:
            from evenfall.develop.banded import read_in_bands

            images = read_in_bands(self.source, batch, bands, grid.lowered, threads)
            event = PassRead(batch, images)
        else:
            event = PassRead(batch, self.source.read(batch))
        self._hear(event, grid)
        with self._lock:
            room = len(self._held) < passes_at_once(self.source.size, _HELD_PASSES)
            if room and len(bands) == 1:
                self._held.update(event.images)

    def mix(
        self, plan: MixPlan, grid: Grid, *, keep_going: bool
    ) -> tuple[dict[str, Mix], dict[str, PassError]]:
        """Mix what is planned; as `mix_moods`."""
        further: dict[str, Any] = {
            "workers": self._workers,
            "on_event": lambda event: self._hear(event, grid),
            "keep_going": keep_going,
        }
        bands = self._bands(plan.lights, grid)
        source = self.source
        if isinstance(source, KeptPasses) and self._onward is None and not grid.missing:
            kept = source.sums.mix(
                plan,
                source.images,
                lambda: mix_moods(plan, source, **further)[0][plan.moods[0]],
            )
            if kept is not None:
                return {plan.moods[0]: kept}, {}
        if len(bands) == 1:
            return mix_moods(plan, self.source, held=self._held, **further)
        from evenfall.develop.banded import mix_in_bands

        self._held.clear()
        return mix_in_bands(
            plan, self.source, bands, watched=grid.watched, lower=grid.lowered, **further
        )

    def _bands(self, lights: Iterable[str], grid: Grid) -> list[slice]:
        if self._sees_pixels:
            return [slice(0, self.source.size[1])]
        return self.source.bands(lights, multiple=grid.rows_behind)

    def _hear(self, event: PassRead, grid: Grid) -> None:
        grid.see(event)
        with self._lock:
            again = self.censuses.keys() >= set(event.lights)
            for light in event.lights:
                self.censuses[light] = event.images[light].census
            if self._onward is not None and not again:
                self._onward(event)
