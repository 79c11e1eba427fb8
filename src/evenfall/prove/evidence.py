"""What was found out about a set of passes and its beauty, before it is put into words."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from evenfall.prove.blocks import BlockGrid, BlockPicture
from evenfall.prove.diagnosis import Region
from evenfall.prove.duplicates import SameLight
from evenfall.prove.explanation import Explanation
from evenfall.prove.fit import BlockSet
from evenfall.prove.measure import Measured
from evenfall.prove.noise import GrainReport
from evenfall.prove.shift import Shift

__all__ = ["DENOISER_BIAS", "Evidence", "Mask", "loudest", "percent"]

Mask = npt.NDArray[np.bool_]

DENOISER_BIAS = 0.01  # a denoiser alone may move this share of light


@dataclass(frozen=True, eq=False)
class Evidence:
    """All that was found out about a set with a beauty."""

    names: tuple[str, ...]
    grid: BlockGrid
    beauty: Measured
    passes: tuple[Measured, ...]
    plain: BlockSet
    explanation: Explanation
    grain: GrainReport | None
    shift: Shift | None
    twins: tuple[SameLight, ...]
    background_missing: Mask
    background_repeated: Mask


def percent(share: float) -> str:
    """Write a share as a percentage of two digits.

    Examples
    --------
    >>> percent(0.0345), percent(0.5), percent(1.2)
    ('3.5 %', '50 %', '120 %')
    """
    hundredths = 100 * share
    return f"{hundredths:.0f} %" if hundredths >= 10 else f"{hundredths:.2g} %"


def loudest(evidence: Evidence, residual: BlockPicture) -> Region:
    """Find where a difference beyond noise is largest in light, among groups of 4 x 4 blocks."""
    excesses = evidence.explanation.judge.excess(residual)
    excess = excesses[min(1, len(excesses) - 1)]
    beyond = np.abs(excess.beyond).sum(0)
    row, column = (int(i) for i in np.unravel_index(int(beyond.argmax()), beyond.shape))
    grid, side = evidence.grid, excess.factor * evidence.grid.size
    left, top = column * side, row * side
    return Region(left, top, min(left + side, grid.width), min(top + side, grid.height))
