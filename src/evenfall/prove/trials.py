"""Faults tried one by one: each undoes one thing and leaves another sum, which is then judged.

All of it works on means of blocks, so that a trial costs a millisecond. Curves are undone on the
means too until the search has found which of them are worth another look at the pixels.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Literal

import numpy as np
import numpy.typing as npt

from evenfall.light.primaries import RGB_SPACES, RgbSpace, conversion_matrix
from evenfall.prove.blocks import Float
from evenfall.prove.curves import CURVES, undo_curve
from evenfall.prove.fit import Judge, one_factor
from evenfall.prove.lens import bloomed, vignetted
from evenfall.prove.shift import Slopes, find_shift

__all__ = ["COSTLY", "Fault", "Kind", "Scene", "State", "Subject", "Trial", "shifted", "tried"]

Mask = npt.NDArray[np.bool_]
Subject = Literal["pass", "passes", "beauty"]
Kind = Literal[
    "gain", "off", "twin", "colour", "primaries", "curve", "some curve", "clamp", "shift",
    "alpha twice", "alpha never", "vignette", "glare", "background missing", "background repeated",
]  # fmt: skip

COSTLY: tuple[Kind, ...] = ("some curve", "shift", "glare")
"""Kinds that take longer to try."""

_SMALL_GAIN = 0.03
_NOTHING = 0.05  # a factor below it: the beauty needs nothing of the pass
_CURVE_BINS = 24
_ENOUGH = 40  # blocks of a bin
_SUPPORT = 0.85  # of the residual of a cut-off or background, that has the sign it must have
_SMALL_COLOUR = 0.03
_BENT = 0.05


@dataclass(frozen=True)
class Fault:
    """One thing that may be wrong, and that was undone.

    Parameters
    ----------
    kind : str
        What.
    subject : str
        A pass, all passes, or the beauty.
    light : int or None
        Which pass.
    numbers : tuple of float
        Factor, factors a channel, pixels right and down.
    name : str
        Of a curve or a colour space.
    twin : int or None
        The pass that shows the same light.
    """

    kind: Kind
    subject: Subject
    light: int | None = None
    numbers: tuple[float, ...] = ()
    name: str = ""
    twin: int | None = None


@dataclass(frozen=True, eq=False)
class Scene:
    """What trials need to know of a set besides the means of its blocks.

    Parameters
    ----------
    space : RgbSpace
        Primaries of the pictures.
    slopes : tuple of Slopes
        One a pass.
    topped : tuple of ndarray
        Blocks at a flat top, one mask (3, rows, columns) a pass; the beauty's last.
    background_missing, background_repeated : ndarray
        Masks of shape (rows, columns).
    twins : mapping of int to int
        Passes that show the same light as an earlier one.
    looked_at : mapping
        Means by subject, light and name of a curve or of alpha, from the pixels.
    """

    space: RgbSpace
    slopes: tuple[Slopes, ...]
    topped: tuple[Mask, ...]
    background_missing: Mask
    background_repeated: Mask
    twins: Mapping[int, int]
    looked_at: Mapping[tuple[Subject, int | None, str], Float]
    has_looked: bool = False


@dataclass(frozen=True, eq=False)
class State:
    """Means of a beauty and its passes, with some faults undone."""

    beauty: Float
    passes: tuple[Float, ...]
    keep: Mask

    @cached_property
    def residual(self) -> Float:
        """Beauty less the sum of the passes."""
        left = self.beauty.copy()
        for each in self.passes:
            left -= each
        return left

    def with_pass(self, index: int, means: Float) -> State:
        """Exchange one pass."""
        return replace(self, passes=(*self.passes[:index], means, *self.passes[index + 1 :]))


@dataclass(frozen=True, eq=False)
class Trial:
    """A fault, and what is left when it is undone."""

    fault: Fault
    state: State


def tried(
    state: State, judge: Judge, scene: Scene, costly: Collection[Kind] = COSTLY
) -> Iterator[Trial]:
    """Undo every fault that can be thought of, each alone; of the costly ones those said."""
    weights = judge.weights() * state.keep
    for index in range(len(state.passes)):
        yield from _gains(state, judge, weights, scene, index)
        yield from _primaries(state, scene, index)
        yield from _curves_of_pass(state, scene, index)
        if "some curve" in costly:
            yield from _some_curve(state, index)
        yield from _clamps(state, judge, scene, index)
        yield from _alphas(state, scene, index)
    yield from _as_a_whole(state, weights, scene)
    yield from _clamps(state, judge, scene, None)
    yield from _backgrounds(state, judge, scene)
    if "shift" in costly:
        yield from shifted(state, judge, scene)
    for factors, means in vignetted(state.beauty, state.residual, weights):
        fault = Fault("vignette", "beauty", numbers=factors)
        yield Trial(fault, replace(state, beauty=means))
    if "glare" in costly:
        for factors, means in bloomed(state.beauty, state.residual, weights):
            yield Trial(Fault("glare", "beauty", numbers=factors), replace(state, beauty=means))


def _gains(state: State, judge: Judge, weights: Float, scene: Scene, index: int) -> Iterator[Trial]:
    picture = state.passes[index]
    if not picture.any():
        return
    target = state.residual + picture
    if index in scene.twins:
        fault = Fault("twin", "pass", index, twin=scene.twins[index])
        yield Trial(fault, state.with_pass(index, np.zeros_like(picture)))
        return
    if index in scene.twins.values():
        return
    yield Trial(Fault("off", "pass", index), state.with_pass(index, np.zeros_like(picture)))
    found = {one_factor(target, picture, weights), _least_factor(target, picture, judge, weights)}
    for factor in found:
        if abs(factor - 1) > _SMALL_GAIN and factor > _NOTHING:
            fault = Fault("gain", "pass", index, (factor,))
            yield Trial(fault, state.with_pass(index, factor * picture))
    colours = np.array([one_factor(target[c], picture[c], weights[c]) for c in range(3)])
    if np.ptp(colours) > _SMALL_COLOUR and colours.min() > 0.1:
        fault = Fault("colour", "pass", index, tuple(map(float, colours)))
        yield Trial(fault, state.with_pass(index, colours[:, None, None] * picture))


def _least_factor(target: Float, picture: Float, judge: Judge, weights: Float) -> float:
    """Factor that leaves no light too much, though some may be missing."""
    noise = np.sqrt(judge.variance)
    telling = (weights > 0) & (picture > 5 * noise)
    if telling.sum() < _ENOUGH:
        return 1.0
    factor = max(0.0, float(np.quantile(target[telling] / picture[telling], 0.1)))
    error = np.sqrt(judge.variance + (_SMALL_GAIN * picture) ** 2)
    for _ in range(4):
        fits = telling & (np.abs(target - factor * picture) < 3 * error)
        if fits.sum() < _ENOUGH:
            return 1.0
        factor = one_factor(target[fits], picture[fits], weights[fits])
    return factor


def _matrices(space: RgbSpace) -> Iterator[tuple[str, Float]]:
    seen: list[Float] = []
    for other in RGB_SPACES.values():
        matrix = conversion_matrix(other, space)
        known = (np.allclose(matrix, each, atol=5e-3) for each in (np.eye(3), *seen))
        if not any(known):
            seen.append(matrix)
            yield other.name, matrix


def _primaries(state: State, scene: Scene, index: int) -> Iterator[Trial]:
    for name, matrix in _matrices(scene.space):
        means = np.tensordot(matrix, state.passes[index], 1)
        yield Trial(Fault("primaries", "pass", index, name=name), state.with_pass(index, means))


def _undone(
    scene: Scene, subject: Subject, index: int | None, name: str, means: Float
) -> Float | None:
    """Means with a curve undone: from the pixels where they were looked at, else as they are."""
    if scene.has_looked:
        return scene.looked_at.get((subject, index, name))
    return undo_curve(name, means)


def _curves_of_pass(state: State, scene: Scene, index: int) -> Iterator[Trial]:
    for name in CURVES:
        means = _undone(scene, "pass", index, name, state.passes[index])
        if means is not None:
            yield Trial(Fault("curve", "pass", index, name=name), state.with_pass(index, means))


def _some_curve(state: State, index: int) -> Iterator[Trial]:
    """Fit a rising curve: medians of what the beauty holds where the pass is alike."""
    picture = state.passes[index]
    curve = _rising(picture, state.residual + picture, state.keep)
    if curve is not None:
        means = np.interp(picture, *curve)
        yield Trial(Fault("some curve", "pass", index), state.with_pass(index, means))


def _rising(stored: Float, light: Float, keep: Mask) -> tuple[Float, Float] | None:
    from scipy.optimize import isotonic_regression

    use = keep & (stored > 0)
    values, wanted = stored[use], light[use]
    bins = min(_CURVE_BINS, values.size // _ENOUGH)
    if bins < 6:
        return None
    parts = np.array_split(np.argsort(values), bins)
    at = np.array([np.median(values[part]) for part in parts])
    found = isotonic_regression(np.array([float(np.median(wanted[part])) for part in parts])).x
    at, found = np.append(0.0, at), np.append(0.0, np.maximum(found, 0))
    slope = float((at * found).sum() / max((at * at).sum(), 1e-30))
    bent = np.abs(found - slope * at).max() > _BENT * max(float(np.ptp(found)), 1e-30)
    rising = np.append(True, np.diff(at) > 0)
    return (at[rising], found[rising]) if bent else None


def _clamps(state: State, judge: Judge, scene: Scene, index: int | None) -> Iterator[Trial]:
    topped = scene.topped[-1 if index is None else index] & state.keep
    if not topped.any():
        return
    sign = -1.0 if index is None else 1.0
    if _supports(state, judge, topped, sign):
        subject: Subject = "beauty" if index is None else "pass"
        fault = Fault("clamp", subject, index)
        yield Trial(fault, replace(state, keep=state.keep & ~topped))


def _supports(state: State, judge: Judge, where: Mask, sign: float) -> bool:
    """Whether the residual in some blocks has one sign, as far as it is beyond noise."""
    error = np.sqrt(judge.variance + (0.005 * judge.level) ** 2)
    off = (sign * state.residual / error)[where]
    beyond = np.maximum(np.abs(off) - 3, 0)
    total = float(beyond.sum())
    return total > 3 and float(beyond[off > 0].sum()) > _SUPPORT * total


def _backgrounds(state: State, judge: Judge, scene: Scene) -> Iterator[Trial]:
    masks: tuple[tuple[Kind, Mask, float], ...] = (
        ("background missing", scene.background_missing, 1.0),
        ("background repeated", scene.background_repeated, -1.0),
    )
    for kind, mask, sign in masks:
        where = state.keep & mask
        if where.any() and _supports(state, judge, where, sign):
            trial = replace(state, keep=state.keep & ~mask)
            yield Trial(Fault(kind, "passes"), trial)


def _alphas(state: State, scene: Scene, index: int) -> Iterator[Trial]:
    kinds: tuple[Kind, ...] = ("alpha twice", "alpha never")
    for kind in kinds:
        means = scene.looked_at.get(("pass", index, kind))
        if means is not None:
            yield Trial(Fault(kind, "pass", index), state.with_pass(index, means))


def _as_a_whole(state: State, weights: Float, scene: Scene) -> Iterator[Trial]:
    total = state.beauty - state.residual
    factor = one_factor(state.beauty, total, weights)
    if abs(factor - 1) > _SMALL_GAIN and factor > 0:
        means = state.beauty / factor
        yield Trial(Fault("gain", "beauty", numbers=(factor,)), replace(state, beauty=means))
    colours = np.array([one_factor(state.beauty[c], total[c], weights[c]) for c in range(3)])
    if np.ptp(colours) > _SMALL_COLOUR and colours.min() > 0.05:
        means = state.beauty / colours[:, None, None]
        fault = Fault("colour", "beauty", numbers=tuple(map(float, colours)))
        yield Trial(fault, replace(state, beauty=means))
    for name, matrix in _matrices(scene.space):
        passes = tuple(np.tensordot(matrix, each, 1) for each in state.passes)
        yield Trial(Fault("primaries", "passes", name=name), replace(state, passes=passes))
        turned = np.tensordot(matrix, state.beauty, 1)
        yield Trial(Fault("primaries", "beauty", name=name), replace(state, beauty=turned))
    yield from _curves_of_all(state, scene)


def _curves_of_all(state: State, scene: Scene) -> Iterator[Trial]:
    for name in CURVES:
        means = _undone(scene, "beauty", None, name, state.beauty)
        if means is not None:
            yield Trial(Fault("curve", "beauty", name=name), replace(state, beauty=means))
        undone = [
            _undone(scene, "passes", index, name, each) for index, each in enumerate(state.passes)
        ]
        passes = tuple(each for each in undone if each is not None)
        if len(passes) == len(state.passes):
            yield Trial(Fault("curve", "passes", name=name), replace(state, passes=passes))
    curve = _rising(state.beauty, state.beauty - state.residual, state.keep)
    if curve is not None:
        means = np.interp(state.beauty, *curve)
        yield Trial(Fault("some curve", "beauty"), replace(state, beauty=means))
    for kind in ("alpha twice", "alpha never"):
        found = [scene.looked_at.get(("passes", i, kind)) for i in range(len(state.passes))]
        passes = tuple(each for each in found if each is not None)
        if passes and len(passes) == len(state.passes):
            whole: Kind = "alpha twice" if kind == "alpha twice" else "alpha never"
            yield Trial(Fault(whole, "passes"), replace(state, passes=passes))


def shifted(state: State, judge: Judge, scene: Scene) -> Iterator[Trial]:
    """Undo the shift of one picture, if one stands off."""
    shift = find_shift(state.residual * state.keep, judge, scene.slopes)
    if shift is None:
        return
    numbers = (shift.across, shift.down)
    if shift.index is None:
        means = state.beauty - (state.residual - shift.taken_from(state.residual, scene.slopes))
        yield Trial(Fault("shift", "beauty", numbers=numbers), replace(state, beauty=means))
        return
    moved = state.residual - shift.taken_from(state.residual, scene.slopes)
    means = state.passes[shift.index] + moved
    fault = Fault("shift", "pass", shift.index, numbers)
    yield Trial(fault, state.with_pass(shift.index, means))
