"""What a state of passes and beauty leaves, held against its noise."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from evenfall.prove.blocks import Float
from evenfall.prove.fit import Judge
from evenfall.prove.state import Mask, State

__all__ = ["LOUD_SIGMAS", "Judged", "broad_chi", "glanced", "judged"]

LOUD_SIGMAS = (8.5, 7.5)
"""Standard errors that groups of 4 x 4 and of 16 x 16 blocks must pass; honest sets stay below."""

_QUIET = 3.0
_HEAVY = 25.0  # squares of standard errors beyond which a difference counts by its logarithm


@dataclass(frozen=True, eq=False)
class Judged:
    """What a state leaves.

    Parameters
    ----------
    misfit : float
        Standard errors beyond three, mean over all groups, summed over the scales.
    positive, negative : float
        Its parts where the beauty has more, and where the passes have more.
    chi : float
        Sum of the squares of standardised differences of blocks; large ones count less, as with
        Student's distribution.
    broad_chi : float
        The same of groups of blocks, where strong grain is less skewed than in single ones.
    loud : bool
        Whether it stands out of the noise.
    surplus : bool
        Whether light that only the passes hold does.
    """

    misfit: float
    positive: float
    negative: float
    chi: float
    broad_chi: float
    loud: bool
    surplus: bool


def glanced(judge: Judge, state: State) -> float:
    """Hold what a state leaves against its noise, in groups of blocks only; less is better."""
    sigmas = judge.standardised(state.residual, state.keep, finest=False)
    return float(np.log1p(sigmas[0] ** 2 / _HEAVY).sum())


def broad_chi(judge: Judge, residual: Float, keep: Mask) -> float:
    """Chi square of a residual in groups of blocks; as that of `Judged`."""
    return _chi(judge.standardised(residual, keep, finest=False)[0])


def judged(judge: Judge, state: State) -> Judged:
    """Hold what a state leaves against its noise."""
    scales = judge.standardised(state.residual, state.keep)
    positive = negative = 0.0
    for sigmas in scales:
        loud_ones = sigmas[np.abs(sigmas) > _QUIET]
        above = loud_ones[loud_ones > 0] - _QUIET
        below = -loud_ones[loud_ones < 0] - _QUIET
        positive += float(above.sum()) / sigmas.size
        negative += float(below.sum()) / sigmas.size
    fine = scales[0] / np.sqrt(judge.spread)
    groups = list(zip(scales[1:] or scales, LOUD_SIGMAS, strict=False))
    more = any(float(sigmas.max(initial=0)) > limit for sigmas, limit in groups)
    surplus = any(float(-sigmas.min(initial=0)) > limit for sigmas, limit in groups)
    return Judged(
        positive + negative,
        positive,
        negative,
        _chi(fine),
        _chi(groups[0][0]),
        more or surplus,
        surplus,
    )


def _chi(sigmas: Float) -> float:
    return _HEAVY * float(np.log1p(sigmas**2 / _HEAVY).sum())
