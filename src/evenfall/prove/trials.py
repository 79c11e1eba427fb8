"""Faults tried one by one: each undoes one thing and leaves another sum, which is then judged.

All of it works on means of blocks, so that a trial costs a millisecond. Curves, shifts and alpha
are undone on the pixels of those that the search has found worth it, and on the means of others.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator
from functools import cache

import numpy as np

from evenfall.light.primaries import RGB_SPACES, RgbSpace, conversion_matrix
from evenfall.prove.blocks import Float
from evenfall.prove.curves import CURVES, rising_curve, undo_curve
from evenfall.prove.fit import Judge, one_factor
from evenfall.prove.lens import bloomed, vignetted
from evenfall.prove.shift import fit_shift, whole_pixels
from evenfall.prove.state import Fault, Kind, Mask, Picture, Scene, State, Subject, Trial

__all__ = ["ON_PIXELS", "each_alone", "operations", "tried", "tried_again"]

ON_PIXELS: tuple[Kind, ...] = ("curve", "shift", "alpha twice", "alpha never")
"""Kinds that are undone on pixels."""

_SMALL_GAIN = 0.03
_NOTHING = 0.05  # a factor below it: the beauty needs nothing of the pass
_ENOUGH = 40  # blocks
_SUPPORT = 0.85  # of the residual of a cut-off or background, that has the sign it must have
_TOGETHER = 8.0  # standard errors of many blocks, none of which stands out
_SMALL_COLOUR = 0.03
_STEP = 0.02  # of the light, for the steepness of a curve

_Trials = Iterator[Trial]


def operations(fault: Fault) -> tuple[str, ...]:
    """Say what is to be undone on pixels; several words, where one of them will do."""
    if fault.kind == "curve":
        return (fault.name,)
    if fault.kind == "shift":
        vectors = whole_pixels(*fault.numbers)
        return tuple(_shift_words(vector, fault.light) for vector in vectors)
    return (fault.kind,)


def _shift_words(of_passes: tuple[float, float], index: int | None) -> str:
    """How a pass stands, or the beauty if the passes stand so."""
    across, down = of_passes if index is not None else (-each for each in of_passes)
    return f"shift {across:g} {down:g}"


def tried(state: State, judge: Judge, scene: Scene, *, leave: Collection[Kind] = ()) -> _Trials:
    """Undo every fault that can be thought of, each alone, but for kinds that are left."""
    for (kind, subject), make in _MAKERS.items():
        if kind not in leave:
            for index in range(len(state.passes)) if subject == "pass" else (None,):
                yield from make(state, judge, scene, index)


def tried_again(fault: Fault, state: State, judge: Judge, scene: Scene) -> _Trials:
    """Undo a fault again, in another state, with numbers as they are there."""
    for trial in _MAKERS[fault.kind, fault.subject](state, judge, scene, fault.light):
        if trial.faults[0].what == fault.what:
            yield trial


def each_alone(
    state: State, judge: Judge, scene: Scene, kinds: Collection[Kind], subject: Subject
) -> Iterator[tuple[Fault, State]]:
    """Undo every fault of some kinds in a pass, or in the beauty."""
    for kind in kinds:
        for index in range(len(state.passes)) if subject == "pass" else (None,):
            for trial in _MAKERS[kind, subject](state, judge, scene, index):
                if len(trial.faults) == 1:
                    yield trial.faults[0], trial.state


def _weights(state: State, judge: Judge) -> Float:
    weights: Float = judge.weights() * state.keep
    return weights


def _of(index: int | None) -> Subject:
    return "beauty" if index is None else "pass"


def _alone(fault: Fault, state: State) -> Trial:
    return Trial((fault,), state)


def _picture(state: State, index: int | None) -> Picture:
    return state.beauty if index is None else state.passes[index]


def _exchanged(state: State, index: int | None, picture: Picture) -> State:
    return state.with_beauty(picture) if index is None else state.with_pass(index, picture)


def _target(state: State, index: int) -> Float:
    """Give what the beauty holds beside the other passes."""
    return state.residual + state.passes[index].means


def _doubles(state: State, _: Judge, scene: Scene, index: int | None) -> _Trials:
    assert index is not None
    if index in scene.twins and state.passes[index].means.any():
        fault = Fault("twin", "pass", index, twin=scene.twins[index])
        yield _alone(fault, state.with_pass(index, state.passes[index].scaled(0.0)))


def _is_double(scene: Scene, index: int | None) -> bool:
    """Whether a pass shows the same as another: then that is wrong with it."""
    return index in scene.twins or index in scene.twins.values()


def _off(state: State, _: Judge, scene: Scene, index: int | None) -> _Trials:
    assert index is not None
    if not _is_double(scene, index) and state.passes[index].means.any():
        off = state.with_pass(index, state.passes[index].scaled(0.0))
        yield _alone(Fault("off", "pass", index), off)


def _gains(state: State, judge: Judge, scene: Scene, index: int | None) -> _Trials:
    assert index is not None
    picture, weights = state.passes[index], _weights(state, judge)
    if _is_double(scene, index) or not picture.means.any():
        return
    target = _target(state, index)
    least = _least_factor(target, picture.means, judge, weights)
    for factor in {one_factor(target, picture.means, weights), least}:
        if abs(factor - 1) > _SMALL_GAIN and factor > _NOTHING:
            gained = state.with_pass(index, picture.scaled(factor))
            yield _alone(Fault("gain", "pass", index, (factor,)), gained)


def _colours(state: State, judge: Judge, scene: Scene, index: int | None) -> _Trials:
    assert index is not None
    picture, weights = state.passes[index], _weights(state, judge)
    if _is_double(scene, index) or not picture.means.any():
        return
    target = _target(state, index)
    factors = np.array([one_factor(target[c], picture.means[c], weights[c]) for c in range(3)])
    if np.ptp(factors) > _SMALL_COLOUR and factors.min() > 0.1:
        fault = Fault("colour", "pass", index, tuple(map(float, factors)))
        yield _alone(fault, state.with_pass(index, picture.scaled(factors[:, None, None])))


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


@cache
def _matrices(space: RgbSpace) -> tuple[tuple[str, Float], ...]:
    """Give published primaries that differ from a space and from each other, with the way back."""
    found: list[tuple[str, Float]] = []
    for other in RGB_SPACES.values():
        matrix = conversion_matrix(other, space)
        known = (np.eye(3), *(each for _, each in found))
        if not any(np.allclose(matrix, each, atol=5e-3) for each in known):
            found.append((other.name, matrix))
    return tuple(found)


def _primaries(state: State, _: Judge, scene: Scene, index: int | None) -> _Trials:
    if _is_double(scene, index):
        return
    for name, matrix in _matrices(scene.space):
        fault = Fault("primaries", _of(index), index, name=name)
        yield _alone(fault, _exchanged(state, index, _picture(state, index).mixed(matrix)))


def _primaries_of_all(state: State, _: Judge, scene: Scene, __: int | None) -> _Trials:
    for name, matrix in _matrices(scene.space):
        passes = tuple(each.mixed(matrix) for each in state.passes)
        fault = Fault("primaries", "passes", name=name)
        yield _alone(fault, State(state.beauty, passes, state.keep))


def _undone(scene: Scene, index: int | None, word: str, picture: Picture) -> Picture | None:
    """Give a picture with something undone on its pixels, where they were looked at."""
    if picture.undone is None:
        return None
    return scene.looked_at.get((index, (*picture.undone, word)))


def _uncurved(scene: Scene, index: int | None, fault: Fault, picture: Picture) -> Picture:
    found = _undone(scene, index, fault.name, picture)
    return found or picture.known(fault.name, lambda: _uncurved_means(fault.name, picture))


def _uncurved_means(name: str, picture: Picture) -> Picture:
    curved, curved_details = picture.means, picture.lazy_details

    def details() -> Float:
        step = _STEP * np.maximum(np.abs(curved), 1e-9)
        steeper = (undo_curve(name, curved + step) - means) / step
        return np.asarray(steeper * curved_details())

    means = undo_curve(name, curved)
    return Picture(means, details)


def _curves(state: State, judge: Judge, scene: Scene, index: int | None) -> _Trials:
    """Undo published curves, and the ceiling of a picture that has one beside."""
    if _is_double(scene, index):
        return
    topped = scene.topped[-1 if index is None else index] & state.keep
    for name in CURVES:
        fault = Fault("curve", _of(index), index, name=name)
        undone = _exchanged(state, index, _uncurved(scene, index, fault, _picture(state, index)))
        yield _alone(fault, undone)
        if topped.any() and _supports(undone, judge, topped, -1.0 if index is None else 1.0):
            ceiling = Fault("clamp", fault.subject, index)
            yield Trial((fault, ceiling), undone.without(topped))


def _curves_of_all(state: State, _: Judge, scene: Scene, __: int | None) -> _Trials:
    for name in CURVES:
        fault = Fault("curve", "passes", name=name)
        passes = tuple(_uncurved(scene, i, fault, each) for i, each in enumerate(state.passes))
        yield _alone(fault, State(state.beauty, passes, state.keep))


def _some_curve(state: State, _: Judge, scene: Scene, index: int | None) -> _Trials:
    """Fit a rising curve: medians of what the beauty holds where the pass is alike."""
    if _is_double(scene, index):
        return
    picture = _picture(state, index)
    wanted = state.beauty.means - state.residual if index is None else _target(state, index)
    curve = rising_curve(picture.means, wanted, state.keep)
    if curve is not None:
        bent = picture.with_means(np.interp(picture.means, *curve))
        fault = Fault("some curve", _of(index), index)
        yield _alone(fault, _exchanged(state, index, bent))


def _clamps(state: State, judge: Judge, scene: Scene, index: int | None) -> _Trials:
    topped = scene.topped[-1 if index is None else index] & state.keep
    if topped.any() and _supports(state, judge, topped, -1.0 if index is None else 1.0):
        fault = Fault("clamp", _of(index), index)
        yield _alone(fault, state.without(topped))


def _supports(state: State, judge: Judge, where: Mask, sign: float) -> bool:
    """Whether the residual of some blocks has one sign: of each beyond noise, or of all."""
    error = np.sqrt(judge.variance + (0.005 * judge.level) ** 2)
    off = (sign * state.residual / error)[where]
    beyond = np.maximum(np.abs(off) - 3, 0)
    total = float(beyond.sum())
    if total > 3:
        return float(beyond[off > 0].sum()) > _SUPPORT * total
    return float(off.sum()) > _TOGETHER * float(np.sqrt(off.size))


def _background_missing(state: State, judge: Judge, scene: Scene, _: int | None) -> _Trials:
    where = state.keep & scene.background_missing
    if where.any() and _supports(state, judge, where, 1.0):
        fault = Fault("background missing", "passes")
        yield _alone(fault, state.without(scene.background_missing))


def _background_repeated(state: State, judge: Judge, scene: Scene, _: int | None) -> _Trials:
    where = state.keep & scene.background_repeated
    if where.any() and _supports(state, judge, where, -1.0):
        fault = Fault("background repeated", "passes")
        yield _alone(fault, state.without(scene.background_repeated))


def _alpha(kind: Kind) -> Callable[[State, Judge, Scene, int | None], _Trials]:
    def of_a_pass(state: State, _: Judge, scene: Scene, index: int | None) -> _Trials:
        assert index is not None
        fault = Fault(kind, "pass", index)
        found = _undone(scene, index, kind, state.passes[index])
        if found is not None:
            yield _alone(fault, state.with_pass(index, found))

    return of_a_pass


def _alpha_of_all(kind: Kind) -> Callable[[State, Judge, Scene, int | None], _Trials]:
    def of_all(state: State, _: Judge, scene: Scene, __: int | None) -> _Trials:
        fault = Fault(kind, "passes")
        found = [_undone(scene, index, kind, each) for index, each in enumerate(state.passes)]
        passes = tuple(each for each in found if each is not None)
        if len(passes) == len(state.passes):
            yield _alone(fault, State(state.beauty, passes, state.keep))

    return of_all


def _gain_of_beauty(state: State, judge: Judge, _: Scene, __: int | None) -> _Trials:
    total = state.beauty.means - state.residual
    factor = one_factor(state.beauty.means, total, _weights(state, judge))
    if abs(factor - 1) > _SMALL_GAIN and factor > 0:
        fault = Fault("gain", "beauty", numbers=(factor,))
        yield _alone(fault, state.with_beauty(state.beauty.scaled(1 / factor)))


def _colour_of_beauty(state: State, judge: Judge, _: Scene, __: int | None) -> _Trials:
    total, weights = state.beauty.means - state.residual, _weights(state, judge)
    factors = np.array([one_factor(state.beauty.means[c], total[c], weights[c]) for c in range(3)])
    if np.ptp(factors) > _SMALL_COLOUR and factors.min() > 0.05:
        fault = Fault("colour", "beauty", numbers=tuple(map(float, factors)))
        yield _alone(fault, state.with_beauty(state.beauty.scaled(1 / factors[:, None, None])))


def _vignette(state: State, judge: Judge, _: Scene, __: int | None) -> _Trials:
    for corner, light in vignetted(state.beauty.means, state.residual, _weights(state, judge)):
        fault = Fault("vignette", "beauty", numbers=(corner,))
        yield _alone(fault, state.with_beauty(state.beauty.scaled(1 / light)))


def _glare(state: State, judge: Judge, _: Scene, __: int | None) -> _Trials:
    for share, taken, spread in bloomed(state.beauty.means, state.residual, _weights(state, judge)):
        fault = Fault("glare", "beauty", numbers=(share,))
        kept = 1 / (1 - taken)
        scaled = state.beauty.scaled(kept)
        yield _alone(fault, state.with_beauty(scaled.with_means(scaled.means - kept * spread)))


def _shift(state: State, judge: Judge, scene: Scene, index: int | None) -> _Trials:
    """Undo how far a pass, or all, stand off the beauty."""
    picture = _picture(state, index)
    if any(word.startswith("shift") for word in picture.undone or ()):
        return
    slopes = [each.slopes for each in (state.passes if index is None else (picture,))]
    found = fit_shift(state.residual, _weights(state, judge), judge.spread, slopes, index)
    if found is None:
        return
    margin = np.zeros_like(state.keep)
    margin[:, [0, -1], :] = margin[:, :, [0, -1]] = True
    on_pixels = False
    for vector in whole_pixels(*found.numbers):
        moved = _undone(scene, index, _shift_words(vector, index), picture)
        if moved is not None:
            on_pixels = True
            fault = Fault("shift", _of(index), index, vector)
            yield _alone(fault, _exchanged(state, index, moved).without(margin))
    if not on_pixels:
        gone = state.residual - found.taken_from(state.residual, slopes)
        means = picture.means + (gone if index is not None else -gone)
        fault = Fault("shift", _of(index), index, found.numbers)
        yield _alone(fault, _exchanged(state, index, picture.with_means(means)))


_Maker = Callable[[State, Judge, Scene, int | None], _Trials]

_MAKERS: dict[tuple[Kind, Subject], _Maker] = {
    ("twin", "pass"): _doubles,
    ("off", "pass"): _off,
    ("gain", "pass"): _gains,
    ("gain", "beauty"): _gain_of_beauty,
    ("colour", "pass"): _colours,
    ("colour", "beauty"): _colour_of_beauty,
    ("primaries", "pass"): _primaries,
    ("primaries", "passes"): _primaries_of_all,
    ("primaries", "beauty"): _primaries,
    ("curve", "pass"): _curves,
    ("curve", "passes"): _curves_of_all,
    ("curve", "beauty"): _curves,
    ("some curve", "pass"): _some_curve,
    ("some curve", "beauty"): _some_curve,
    ("clamp", "pass"): _clamps,
    ("clamp", "beauty"): _clamps,
    ("alpha twice", "pass"): _alpha("alpha twice"),
    ("alpha twice", "passes"): _alpha_of_all("alpha twice"),
    ("alpha never", "pass"): _alpha("alpha never"),
    ("alpha never", "passes"): _alpha_of_all("alpha never"),
    ("background missing", "passes"): _background_missing,
    ("background repeated", "passes"): _background_repeated,
    ("shift", "pass"): _shift,
    ("shift", "beauty"): _shift,
    ("vignette", "beauty"): _vignette,
    ("glare", "beauty"): _glare,
}
