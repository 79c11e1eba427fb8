"""Two faults guessed together, where undoing one of them alone makes matters no better.

A beauty that went through a curve and a pass that went through another hide each other. What each
fault of a pass adds to the difference is known, so that all pairs are compared at once, on a part
of the blocks; the search then looks at the best of them closely.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt

from evenfall.prove.blocks import Float
from evenfall.prove.fit import Judge
from evenfall.prove.state import Fault, Kind, Scene, State
from evenfall.prove.trials import each_alone

__all__ = ["guesses"]

_BLOCKS = 1500
_HEAVY = 25.0
_STRONGEST = 25
_BEST = 4
_OF_A_PASS: tuple[Kind, ...] = ("curve", "primaries", "off")
_CURVES: tuple[Kind, ...] = ("curve",)
_OF_A_LENS: tuple[Kind, ...] = ("vignette", "glare")

Pair = tuple[Fault, Fault]
Places = tuple[npt.NDArray[np.int_], ...]


def guesses(root: State, judge: Judge, scene: Scene) -> list[Pair]:
    """Give pairs of faults that explain most together: of two passes, of beauty and a pass."""
    places = _places(root.keep)
    if places[0].size < 10:
        return []
    sigma = np.sqrt(judge.variance + (0.005 * judge.level) ** 2)
    faults, added = _of_passes(root, judge, scene, places)
    if not faults:
        return []
    residual = root.residual[places]
    found = [*_two_passes(residual / sigma[places], added / sigma[places], faults)]
    with_beauty: list[tuple[float, Pair]] = []
    for curve, state in each_alone(root, judge, scene, _CURVES, "beauty"):
        stretch = _stretch(root, state)
        error = (sigma * stretch)[places]
        use = ~scene.topped[-1][places] & (error > 0)
        if not use.any():
            continue
        for lens, cleared in each_alone(state, judge, scene, _OF_A_LENS, "beauty"):
            score = _misfits(cleared.residual[places][use] / error[use])
            with_beauty.append((float(score), (curve, lens)))
        scores = _misfits((state.residual[places] - added)[:, use] / error[use])
        for index in np.argsort(scores)[:_BEST]:
            with_beauty.append((float(scores[index]), (curve, faults[index])))
    with_beauty.sort(key=lambda each: each[0])
    return [*found, *(pair for _, pair in with_beauty[:_BEST])]


def _places(keep: npt.NDArray[np.bool_]) -> Places:
    """Take some of the blocks, spread evenly, in all channels."""
    rows, columns = np.nonzero(keep.all(axis=0))
    step = max(1, rows.size // _BLOCKS)
    rows, columns = rows[::step], columns[::step]
    channels = np.repeat(np.arange(3), rows.size)
    return channels, np.tile(rows, 3), np.tile(columns, 3)


def _of_passes(
    root: State, judge: Judge, scene: Scene, places: Places
) -> tuple[list[Fault], Float]:
    """Faults of single passes, and what undoing each adds to their sum: shape (n, blocks)."""
    faults, added = [], []
    for fault, state in each_alone(root, judge, scene, _OF_A_PASS, "pass"):
        assert fault.light is not None
        faults.append(fault)
        change = state.passes[fault.light].means - root.passes[fault.light].means
        added.append(change[places])
    return faults, np.array(added)


def _two_passes(residual: Float, added: Float, faults: list[Fault]) -> Iterator[Pair]:
    alone = _misfits(residual - added)
    light = np.array([fault.light for fault in faults])
    found: list[tuple[float, Pair]] = []
    for first in np.argsort(alone)[:_STRONGEST]:
        together = _misfits(residual - added[first] - added)
        together[light == light[first]] = np.inf
        for second in np.argsort(together)[:_BEST]:
            found.append((float(together[second]), (faults[first], faults[second])))
    found.sort(key=lambda each: each[0])
    seen: set[frozenset[Fault]] = set()
    for score, pair in found:
        if frozenset(pair) not in seen and np.isfinite(score) and len(seen) < _BEST:
            seen.add(frozenset(pair))
            yield pair


def _misfits(standardised: Float) -> Float:
    """Mean over the last axis as with Student's distribution."""
    summed: Float = np.log1p(standardised**2 / _HEAVY).mean(axis=-1)
    return summed


def _stretch(root: State, state: State) -> Float:
    """How much the beauty's differences grew when it was changed."""
    before = np.sqrt(np.mean(root.beauty.details**2, axis=0))
    after = np.sqrt(np.mean(state.beauty.details**2, axis=0))
    return np.asarray(np.where(before > 0, after / np.where(before > 0, before, 1), 1))
