"""Passes that show the same light, and passes that another one may contain."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from evenfall.prove.blocks import BlockPicture, Float
from evenfall.prove.fit import BlockSet, Judge, one_factor

__all__ = ["SameLight", "holders_of", "same_lights"]

_ALIKE = 0.2  # mean relative difference of groups of blocks that is worth a closer look
_MODEL_SLACK = 0.01
_ALMOST_ALL = 0.995
_SIGNIFICANT = 8.0  # standard errors


@dataclass(frozen=True)
class SameLight:
    """Two passes that differ by a factor and noise only; the second is the first times factor."""

    first: int
    second: int
    factor: float


def same_lights(
    passes: tuple[BlockPicture, ...], keep: npt.NDArray[np.bool_]
) -> tuple[SameLight, ...]:
    """Find passes that show the same light.

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> lamp, sky = (BlockPicture(rng.gamma(2, 1, (3, 9, 9)), np.zeros((3, 9, 9))) for _ in "ab")
    >>> same_lights((lamp, sky, lamp), np.ones((3, 9, 9), bool))
    (SameLight(first=0, second=2, factor=1.0),)
    """
    found: list[SameLight] = []
    for first in range(len(passes)):
        for second in range(first + 1, len(passes)):
            if any(second == pair.second for pair in found):
                continue
            factor = _same(passes[first], passes[second], keep)
            if factor is not None:
                found.append(SameLight(first, second, factor))
    return tuple(found)


def _same(first: BlockPicture, second: BlockPicture, keep: npt.NDArray[np.bool_]) -> float | None:
    total = float(np.abs(first.means[keep]).sum())
    if total == 0:
        return None
    factor = float(np.abs(second.means[keep]).sum()) / total
    if factor == 0:
        return None
    level = np.abs(first.means) + 0.02 * total / keep.sum()
    difference = np.abs(second.means / factor - first.means)
    if float(np.mean((difference / level)[keep])) > _ALIKE:
        return None
    pair = BlockSet(("second",), second, (first,), keep)
    judge = Judge(pair, pair.residual(np.array([factor])))
    factor = one_factor(second.means, first.means, judge.weights())
    if factor == 0:
        return None
    residual = pair.residual(np.array([factor]))
    judge = Judge(pair, residual)
    # Grain common to both cancels; then rounding alone remains, which the judge tolerates.
    scales = judge.standardised(residual.means, keep)
    loudest = max(float(np.abs(sigmas).max(initial=0)) for sigmas in scales[1:] or scales)
    return factor if loudest < _SIGNIFICANT else None


def holders_of(index: int, passes: tuple[BlockPicture, ...], judge: Judge) -> tuple[int, ...]:
    """Find passes that are nowhere darker than the given one, and so may contain its light."""
    held = passes[index].means
    error = 3 * np.sqrt(judge.variance) + _MODEL_SLACK * held
    lit = judge.keep & (held > error)
    if not lit.any():
        return ()
    return tuple(
        other
        for other, picture in enumerate(passes)
        if other != index and _covers(picture.means, held, error, lit)
    )


def _covers(cover: Float, held: Float, error: Float, lit: npt.NDArray[np.bool_]) -> bool:
    return float(np.mean((cover >= held - error)[lit])) > _ALMOST_ALL
