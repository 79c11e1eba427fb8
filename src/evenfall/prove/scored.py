"""Faults undone, and how well what is left fits noise."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from evenfall.prove.blocks import Float
from evenfall.prove.fit import Judge
from evenfall.prove.state import Fault, Kind, Mask, Picture, State
from evenfall.prove.verdict import Judged

__all__ = ["LIKELIER", "ROUGHLY", "Parts", "Scored", "cost_of", "stretched", "unlikelihood"]

LIKELIER = 16.0
"""Chi square that a unit of cost must be worth."""

ROUGHLY: tuple[Kind, ...] = ("some curve", "glare")
"""Kinds that are undone roughly, so that something of them stays behind."""

_COST: dict[Kind, int] = {
    "twin": 0, "off": 0, "gain": 1, "primaries": 0, "curve": 0, "alpha twice": 0,
    "alpha never": 0, "clamp": 1, "shift": 1, "background missing": 1, "background repeated": 1,
    "colour": 2, "vignette": 2, "glare": 3, "some curve": 4,
}  # fmt: skip
Parts = tuple[tuple[Fault, ...], ...]
"""Faults, those together that were undone together."""


def cost_of(parts: Parts) -> int:
    """How odd faults are: what bends as far as it is let costs most."""
    return sum(_COST[fault.kind] for part in parts for fault in part)


@dataclass(frozen=True, eq=False)
class Scored:
    """Faults, the state without them, who judged it, the judgement, and a score: less is better."""

    parts: Parts
    state: State
    judge: Judge
    result: Judged
    score: float

    @property
    def faults(self) -> tuple[Fault, ...]:
        """All faults."""
        return tuple(fault for part in self.parts for fault in part)

    @property
    def cost(self) -> int:
        """How odd they are."""
        return cost_of(self.parts)


def unlikelihood(each: Scored) -> float:
    """Chi square of what is left, with a price on odd faults."""
    return each.result.chi + LIKELIER * each.cost


def stretched(picture: Picture, before: Picture, keep: Mask) -> float:
    """Logarithm of how much the variance of a picture grew, summed over the blocks."""
    from scipy.ndimage import uniform_filter

    def variance(each: Picture) -> Float:
        squares = np.mean(each.blocks.contrasts**2, axis=0)
        least = 1e-12 * float(squares.mean()) + 1e-30
        return np.asarray(uniform_filter(squares, size=(0, 5, 5), mode="nearest") + least)

    return float(np.log(variance(picture) / variance(before))[keep].sum())
