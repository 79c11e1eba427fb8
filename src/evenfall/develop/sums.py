"""Mixes of passes that are kept in memory, remembered: what has not changed is not summed again.

A mix whose factors are as they were is given again as it is. Where only one light has another
factor, a mix that may be a hair off is that light added to the sum of all others, which is kept:
two sums of float32 in another order, so that the last digits differ and nothing else. Whoever wants
the bytes of a run does not ask for that.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from evenfall.mix.engine import STRIP_PIXELS, Mix
from evenfall.mix.halves import widen
from evenfall.mix.plan import MixPlan
from evenfall.passes.image import PassImage

__all__ = ["Sums"]

Floats = npt.NDArray[np.float32]
_MOST_MOODS = 4


@dataclass(eq=False)
class _Summed:
    """A mix, what it was made with, and the sum of all lights but one."""

    lights: tuple[str, ...]
    factors: Mapping[str, Floats]
    regional: tuple[tuple[int, tuple[tuple[str, float], ...]], ...]
    mix: Mix
    without: str = ""
    rest: Floats | None = None


class Sums:
    """Remembers mixes of a source whose passes do not change; safe to use from threads.

    Parameters
    ----------
    by_difference : bool
        Whether a mix may be made of the one before and the light that changed.
    """

    def __init__(self, *, by_difference: bool = False) -> None:
        self._by_difference = by_difference
        self._summed: dict[str, _Summed] = {}
        self._lock = threading.Lock()

    def mix(
        self, plan: MixPlan, images: Mapping[str, PassImage], make: Callable[[], Mix]
    ) -> Mix | None:
        """Give the mix of a plan of one mood; None for a plan of several.

        Parameters
        ----------
        plan : MixPlan
            What is summed.
        images : mapping of str to PassImage
            The passes by light.
        make : callable
            Sums all of it.
        """
        if len(plan.moods) != 1:
            return None
        (mood,) = plan.moods
        wanted = _Summed(plan.lights, plan.factors[mood], _regional(plan, mood), Mix(_NOTHING))
        with self._lock:
            kept = self._summed.get(mood)
            mix = None if kept is None else self._from(kept, wanted, images)
            if mix is None:
                wanted.mix = make()
                self._keep(mood, wanted)
                return wanted.mix
            return mix

    def _keep(self, mood: str, summed: _Summed) -> None:
        self._summed.pop(mood, None)
        while len(self._summed) >= _MOST_MOODS:
            del self._summed[next(iter(self._summed))]
        self._summed[mood] = summed

    def _from(self, kept: _Summed, wanted: _Summed, images: Mapping[str, PassImage]) -> Mix | None:
        """Give a mix from the one that is kept; None where too much has changed."""
        if kept.regional != wanted.regional or kept.factors.keys() != wanted.factors.keys():
            return None
        changed = [
            light
            for light, factors in wanted.factors.items()
            if not np.array_equal(factors, kept.factors[light])
        ]
        if not changed:
            return kept.mix
        if not self._by_difference or wanted.regional or len(changed) != 1:
            return None
        (light,) = changed
        if kept.rest is None or kept.without != light:
            others = [name for name in kept.factors if name != light]
            kept.rest, kept.without = _sum(kept.factors, others, images), light
        planes = _sum(wanted.factors, [light], images, kept.rest)
        kept.factors, kept.mix = wanted.factors, replace(kept.mix, planes=planes)
        return kept.mix


_NOTHING = np.empty((3, 0, 0), np.float32)


def _regional(plan: MixPlan, mood: str) -> tuple[tuple[int, tuple[tuple[str, float], ...]], ...]:
    return tuple(
        (id(gain.weights), tuple(gain.gains.items())) for gain in plan.regional.get(mood, ())
    )


def _sum(
    factors: Mapping[str, Floats],
    lights: list[str],
    images: Mapping[str, PassImage],
    rest: Floats | None = None,
) -> Floats:
    """Sum lights under factors, onto a sum that stays as it is."""
    shape = next(iter(images.values())).planes[0].shape
    total = np.zeros((3, *shape), np.float32) if rest is None else rest.copy()
    flat = total.reshape(3, -1)
    scratch = np.empty((2, min(STRIP_PIXELS, flat.shape[1])), np.float32)
    for start in range(0, flat.shape[1], STRIP_PIXELS):
        strip = slice(start, min(start + STRIP_PIXELS, flat.shape[1]))
        widened, product = scratch[:, : strip.stop - strip.start]
        for light in lights:
            for channel, plane in enumerate(images[light].planes):
                values = widen(plane.reshape(-1)[strip], widened)
                np.multiply(values, factors[light][channel], out=product)
                flat[channel, strip] += product
    return total
