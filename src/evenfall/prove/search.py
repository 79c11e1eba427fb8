"""Which faults, undone, make passes and beauty agree: one, then two, then one beside missing light.

A fault is credited with what it takes away of the residual beyond noise. A single fault that leaves
noise is preferred to two; among those that leave noise the likelier one is, by how well it fits
below the noise too. Light in no pass can be of any shape, so it explains every residual that is
nowhere negative: it is named where nothing simpler does, and for what the best one leaves.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from evenfall.prove.blocks import Float
from evenfall.prove.fit import Judge
from evenfall.prove.trials import COSTLY, Fault, Kind, Scene, State, Trial, tried

__all__ = ["LOUD_SIGMAS", "Found", "Judged", "judged", "look_closer", "search", "stands_out"]

LOUD_SIGMAS = (8.5, 7.5)
"""Standard errors that groups of 4 x 4 and of 16 x 16 blocks must pass; honest sets stay below."""

_QUIET = 3.0
_CAPPED = 25.0
_RESOLVED = 0.05  # of the residual beyond noise may be left
_EXACT = 0.03
_FIRSTS = 8
_PER_LIGHT = 2
_ONE_SIGNED = 0.08
_SPECIFIC = 0.5  # explained by a fault without a free factor, beside missing light
_RIVAL = 0.03
_LIKELIER = 16.0  # in chi square
_HELP = 0.1
_MUCH_HELP = 0.3  # one of two faults explains this much where light may as well be missing
_SIMPLE = 2  # cost of two faults that are likelier than one odd one
_COST: dict[Kind, int] = {
    "twin": 0, "off": 0, "gain": 1, "primaries": 0, "curve": 0, "alpha twice": 0,
    "alpha never": 0, "clamp": 1, "shift": 1, "background missing": 1, "background repeated": 1,
    "colour": 2, "vignette": 2, "glare": 3, "some curve": 4,
}  # fmt: skip


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
        Sum of the squares of standardised differences of blocks, capped.
    loud : bool
        Whether it stands out of the noise.
    surplus : bool
        Whether light that only the passes hold does.
    """

    misfit: float
    positive: float
    negative: float
    chi: float
    loud: bool
    surplus: bool


@dataclass(frozen=True, eq=False)
class Found:
    """Faults that were found, and what is left.

    Parameters
    ----------
    faults : tuple of Fault
        The one that explains most first.
    explained : tuple of float
        Share of the residual beyond noise that each explains, alone.
    rivals : tuple of tuple of int
        For each, other passes that the same could be said of.
    state : State
        With the faults undone.
    left : float
        Share of the residual beyond noise that is left.
    missing, surplus : bool
        Whether what is left is light in no pass, or light that the beauty does not hold.
    """

    faults: tuple[Fault, ...]
    explained: tuple[float, ...]
    rivals: tuple[tuple[int, ...], ...]
    state: State
    left: float
    missing: bool
    surplus: bool


@dataclass(frozen=True, eq=False)
class _Scored:
    faults: tuple[Fault, ...]
    state: State
    result: Judged
    score: float

    @property
    def cost(self) -> int:
        return sum(_COST[fault.kind] for fault in self.faults)


def stands_out(judge: Judge, state: State) -> bool:
    """Whether a residual is more than its own noise."""
    return judged(judge, state).loud


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
    chi = float(np.minimum(fine**2, _CAPPED).sum())
    return Judged(positive + negative, positive, negative, chi, more or surplus, surplus)


def look_closer(state: State, judge: Judge, scene: Scene, most: int) -> list[Fault]:
    """Curves that are worth another look at the pixels, the likeliest first."""
    before = judged(judge, state)
    curves = [
        (judged(judge, trial.state).misfit, number, trial.fault)
        for number, trial in enumerate(tried(state, judge, scene, ()))
        if trial.fault.kind == "curve"
    ]
    curves.sort()
    promising = [fault for misfit, _, fault in curves if misfit < 0.8 * before.misfit]
    return promising[:most]


def search(state: State, judge: Judge, scene: Scene) -> Found:
    """Search the faults that explain most of a residual that stands out."""
    before = judged(judge, state)

    def score(faults: tuple[Fault, ...], trial: Trial) -> _Scored:
        result = judged(judge, trial.state)
        cost = sum(_COST[fault.kind] for fault in faults)
        return _Scored(faults, trial.state, result, result.misfit + 0.012 * cost * before.misfit)

    singles = [score((trial.fault,), trial) for trial in tried(state, judge, scene)]
    singles.sort(key=lambda each: each.score)
    resolved = _likeliest(singles, before)
    if resolved is not None and not resolved.result.loud:
        sure = resolved.faults[0].kind != "some curve"
        if sure:
            return _report(resolved, singles, before, singles)
    firsts = _firsts(singles, before)
    helping = {each.faults[0].kind for each in singles if _helps(each, before)}
    costly = [kind for kind in COSTLY if kind in helping and kind != "some curve"]
    if resolved is not None:  # nearly: something small of the same picture may be left
        firsts = [each for each in singles if _same_picture(each, resolved)][:_FIRSTS]
    pairs = [
        score((*first.faults, trial.fault), trial)
        for first in firsts
        for trial in tried(first.state, judge, scene, costly)
        if _go_together(first.faults[0], trial.fault)
    ]
    pairs.sort(key=lambda each: each.score)
    if resolved is not None:
        pair = _likeliest([each for each in pairs if not each.result.loud], before)
        if pair is None or pair.cost > _SIMPLE:
            return _report(resolved, singles, before, singles)
        return _report(pair, singles, before, pairs)
    return _beyond_one(state, before, singles, pairs)


def _same_picture(one: _Scored, other: _Scored) -> bool:
    first, second = one.faults[0], other.faults[0]
    same = (first.subject, first.light) == (second.subject, second.light)
    return same and first.kind != "some curve"


def _resolves(each: _Scored, before: Judged) -> bool:
    if each.faults[-1].kind == "some curve":  # it bends as far as it is let
        return before.surplus and each.result.misfit < _EXACT * before.misfit
    quiet = not each.result.loud and each.result.misfit < 0.5 * before.misfit
    return quiet or each.result.misfit < _RESOLVED * before.misfit


def _likeliest(scored: Sequence[_Scored], before: Judged) -> _Scored | None:
    """Of all that leave noise, the one that fits best below the noise too."""
    good = [each for each in scored if _resolves(each, before)]
    return min(good, key=lambda each: each.result.chi + _LIKELIER * each.cost, default=None)


def _helps(each: _Scored, before: Judged) -> bool:
    return each.result.misfit < (1 - _HELP) * before.misfit


def _firsts(singles: Sequence[_Scored], before: Judged) -> list[_Scored]:
    chosen: list[_Scored] = []
    counts: dict[tuple[str, int | None], int] = {}
    only_missing = not before.surplus
    least = _MUCH_HELP if only_missing else 0.0
    if not any(each.result.misfit < (1 - least) * before.misfit for each in singles):
        return []
    for each in singles:
        fault = each.faults[0]
        if not _helps(each, before):
            continue
        key = (fault.subject, fault.light)
        if counts.get(key, 0) < _PER_LIGHT and fault.kind != "some curve":
            counts[key] = counts.get(key, 0) + 1
            chosen.append(each)
        if len(chosen) == _FIRSTS:
            break
    return chosen


def _go_together(first: Fault, second: Fault) -> bool:
    """Whether two faults are two: on one picture only a curve and its ceiling are."""
    if (first.subject, first.light) != (second.subject, second.light):
        return True
    kinds = {first.kind, second.kind}
    if first.subject == "beauty" and kinds in ({"vignette", "glare"}, {"curve", "clamp"}):
        return True
    return kinds in ({"curve", "clamp"}, {"gain", "clamp"}, {"curve", "gain"})


def _beyond_one(
    state: State, before: Judged, singles: Sequence[_Scored], pairs: Sequence[_Scored]
) -> Found:
    """No single fault explains the residual: two, or one beside light that is missing."""
    only_missing = not before.surplus
    pair = _likeliest(pairs, before)
    if pair is not None and (not only_missing or _is_firm(pair, before)):
        return _report(pair, singles, before, pairs)
    beside = _beside_missing(singles, before, only_missing)
    if beside is not None:
        return _report(beside, singles, before, singles, missing=True)
    if only_missing:
        return Found((), (), (), state, 1.0, missing=True, surplus=False)
    best = min([*singles[:1], *pairs[:1]], key=lambda each: each.score, default=None)
    if best is not None and best.result.misfit < (1 - _SPECIFIC) * before.misfit:
        return _report(best, singles, before, pairs if len(best.faults) == 2 else singles)
    missing = before.positive > _ONE_SIGNED * before.misfit
    return Found((), (), (), state, 1.0, missing=missing, surplus=True)


def _is_firm(pair: _Scored, before: Judged) -> bool:
    """Whether a pair leaves so little that light of another shape is the less likely reason."""
    return pair.cost <= 2 and pair.result.misfit < _RESOLVED * before.misfit


def _beside_missing(
    singles: Sequence[_Scored], before: Judged, only_missing: bool
) -> _Scored | None:
    """Give the fault that leaves nothing but light in no pass, where there was more amiss."""
    fitting = []
    for each in singles:
        kind = each.faults[0].kind
        one_signed = not each.result.surplus or (each.result.negative < _ONE_SIGNED * before.misfit)
        less = each.result.misfit < before.misfit
        tamed = not only_missing and each.result.negative < 0.15 * before.negative
        specific = each.faults[0].subject == "pass" and kind in (
            "curve",
            "primaries",
            "twin",
            "off",
            "shift",
        )
        explains = specific and each.result.misfit < (1 - _SPECIFIC) * before.misfit
        if one_signed and less and (tamed or explains) and _COST[kind] < 3:
            fitting.append(each)
    return min(fitting, key=lambda each: each.score, default=None)


def _report(
    best: _Scored,
    singles: Sequence[_Scored],
    before: Judged,
    others: Sequence[_Scored],
    *,
    missing: bool = False,
) -> Found:
    alone = {each.faults[0]: each.result.misfit for each in singles}
    explained = [
        1 - min(alone.get(fault, before.misfit), before.misfit) / before.misfit
        for fault in best.faults
    ]
    if len(best.faults) == 1:
        explained = [1 - best.result.misfit / before.misfit]
    left = best.result.misfit / before.misfit
    loud = best.result.loud and left > _RESOLVED
    positive = best.result.positive > 0.25 * best.result.misfit
    negative = best.result.negative > 0.25 * best.result.misfit
    order = np.argsort(explained)[::-1]
    return Found(
        tuple(best.faults[i] for i in order),
        tuple(float(np.clip(explained[i], 0, 1)) for i in order),
        tuple(_rivals(best, int(i), others, before) for i in order),
        best.state,
        left,
        missing=missing or (loud and positive),
        surplus=loud and negative,
    )


def _rivals(
    best: _Scored, which: int, others: Sequence[_Scored], before: Judged
) -> tuple[int, ...]:
    """Other passes of which the same fault explains the residual as well."""
    fault = best.faults[which]
    if fault.light is None:
        return ()
    rest = set(best.faults) - {fault}
    found = []
    for each in others:
        different = [other for other in each.faults if other not in rest]
        if len(each.faults) != len(best.faults) or len(different) != 1:
            continue
        other = different[0]
        if other.light in (None, fault.light) or other.light in found:
            continue
        close = each.result.misfit < best.result.misfit + _RIVAL * before.misfit
        as_likely = each.result.chi < best.result.chi + _LIKELIER * (1 + best.cost - each.cost)
        if close and as_likely and each.cost <= best.cost:
            found.append(other.light)
    return tuple(light for light in found if light is not None)


Look = Callable[[Sequence[Fault]], Float]
