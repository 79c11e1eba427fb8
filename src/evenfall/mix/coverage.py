"""The alpha of every mood, and which passes have another."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import numpy.typing as npt

from evenfall.mix.plan import MixPlan

__all__ = ["Coverage", "notes_of_gaps"]


class Coverage:
    """The alpha of every mood, seen in the order of the plan."""

    def __init__(self, plan: MixPlan) -> None:
        self.plan = plan
        self.first: dict[str, tuple[str, npt.NDArray[Any]]] = {}
        self.gaps: dict[str, dict[tuple[str, str], float]] = {mood: {} for mood in plan.moods}

    def see(self, light: str, alpha: npt.NDArray[Any] | None) -> None:
        """Take note of a light's alpha; called in the order of the plan."""
        if alpha is None:
            return
        for mood in self.plan.needed_by([light]):
            if mood not in self.first:
                same = (kept for kept in self.first.values() if np.array_equal(kept[1], alpha))
                self.first[mood] = (light, next(same, (light, alpha))[1])
                continue
            light_before, before = self.first[mood]
            if before is not alpha and not np.array_equal(before, alpha):
                gap = float(np.abs(np.subtract(before, alpha, dtype=np.float32)).max())
                self.gaps[mood][light, light_before] = gap

    def alpha(self, mood: str) -> npt.NDArray[Any] | None:
        """Alpha of the first light of a mood that has one."""
        return self.first[mood][1] if mood in self.first else None


def notes_of_gaps(gaps: Mapping[tuple[str, str], float]) -> tuple[str, ...]:
    """Say which alpha differs; see `Mix`."""
    return tuple(
        f"alpha of {light} differs from that of {used} by up to {gap:.3g}; "
        f"the one of {used} is used"
        for (light, used), gap in gaps.items()
    )
