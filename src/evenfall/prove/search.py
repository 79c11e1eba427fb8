"""Which faults, undone, make passes and beauty agree: one, then two, then one beside missing light.

A fault is credited with what it takes away of the residual beyond noise. A single fault that leaves
noise is preferred to two; among those that leave noise the likelier one is, by how well it fits
below the noise too. Light in no pass can be of any shape, so it explains every residual that is
nowhere negative: it is named where nothing simpler does, and for what the best one leaves.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace

from evenfall.prove.fit import Judge
from evenfall.prove.found import Found, nothing_found, report, rivals
from evenfall.prove.joint import guesses
from evenfall.prove.rules import better_than_one, firsts, go_together, is_firm, likeliest
from evenfall.prove.scored import ROUGHLY, Parts, Scored, cost_of, stretched, unlikelihood
from evenfall.prove.state import Fault, Kind, Picture, Scene, Seen, State, Trial
from evenfall.prove.trials import ON_PIXELS, operations, tried, tried_again
from evenfall.prove.verdict import broad_chi, glanced, judged

__all__ = ["Found", "search"]

_SINGLES = 8  # that are judged by the grain that is then there
_PAIRS = 6
_SECONDS = 8  # beside a first fault, that are looked at closely
_HARDLY = 0.5
_ONE_SIGNED = 0.08
_TAMED = 0.15  # of what the passes have too much
_MOSTLY = 0.3
_SPECIFIC = ("curve", "primaries", "twin", "off", "shift")  # without a free factor
_PARTLY = 0.25  # of the residual beyond noise is left by what is named without explaining it
_ROUNDS = 3
_SURELY, _SURELY_BESIDE = 200.0, 150.0  # in chi square; honest sets: under 60, single faults: 10
_SKEWED = 0.25  # factors that the skewness of strong grain may feign
_BORNE_OUT = 0.25  # of what groups of blocks should gain; feigned: under 0.17, mostly below 0
_FREE: tuple[Kind, ...] = ("some curve", "shift")
_COSTLY: tuple[Kind, ...] = ("shift", "glare", "vignette")
_LENS = ("glare", "vignette")
_SIMPLE = 2  # cost of two faults that are likelier than one odd one
_LOOKS = 8
_WORTH = 0.8  # of the residual beyond noise is left on means, by what is worth a look at pixels
_ALPHAS: tuple[Kind, ...] = ("alpha twice", "alpha never")

Look = Callable[[Iterable[Seen]], Mapping[Seen, Picture]]
"""Undo things on pixels."""


class _Searching:
    """One search, with what was looked at on pixels so far."""

    def __init__(
        self, root: State, judge: Judge, scene: Scene, look: Look, *, is_first: bool = True
    ) -> None:
        self.root, self.judge, self.scene, self.look = root, judge, scene, look
        self.is_first = is_first
        self.unlikely: tuple[Kind, ...] = ()
        self.before = judged(judge, root)
        self.costs: dict[Judge, float] = {}

    def all(self) -> Found | None:
        """Search what is wrong; None if passes and beauty agree."""
        return self.found() if self.before.loud else self.hidden()

    def found(self) -> Found:
        """Search the faults that explain most of a residual that stands out."""
        before, singles = self.before, self.singles()
        resolved = likeliest(singles, before)
        sure = resolved is not None and resolved.faults[0].kind != "some curve"
        if resolved is not None and sure and not resolved.result.loud:
            return self._and_hidden(report(resolved, singles, before, singles), resolved)
        first_ones = firsts(singles, before)
        if resolved is not None and sure:
            first_ones = [resolved, *(each for each in first_ones if each is not resolved)]
        pairs = self.pairs(first_ones) if first_ones or before.surplus else []
        alone = {each.faults[0].what: each.result.misfit for each in reversed(singles)}
        better = [each for each in pairs if better_than_one(each, alone)]
        if resolved is not None:
            pair = likeliest(better, before)
            if pair is None or (not sure and (pair.result.loud or pair.cost > _SIMPLE)):
                return report(resolved, singles, before, singles)
            if unlikelihood(resolved) - unlikelihood(pair) < _SURELY_BESIDE:
                return report(resolved, singles, before, singles)
            return report(pair, singles, before, pairs)
        return self._beyond_one(singles, better)

    def _beyond_one(self, singles: Sequence[Scored], pairs: Sequence[Scored]) -> Found:
        """No single fault explains the residual: two, or one beside light that is missing."""
        before = self.before
        only_missing = not before.surplus
        pair = likeliest(pairs, before)
        if pair is not None and (not only_missing or is_firm(pair, before)):
            return report(pair, singles, before, pairs)
        beside = self._beside_missing(singles)
        if beside is not None:
            return report(beside, singles, before, singles, missing=True)
        if only_missing:
            return nothing_found(self.root, 1.0, missing=True, surplus=False)
        best = min([*singles[:1], *pairs[:1]], key=lambda each: each.score, default=None)
        if best is not None and best.result.misfit < _PARTLY * before.misfit:
            return report(best, singles, before, pairs if len(best.parts) == 2 else singles)
        missing = before.positive > _ONE_SIGNED * before.misfit
        return nothing_found(self.root, 1.0, missing=missing, surplus=True)

    def _beside_missing(self, singles: Sequence[Scored]) -> Scored | None:
        """Give the fault that leaves nothing but light in no pass.

        Where the residual has one sign before, light in no pass explains it by itself: a fault
        without a free factor must then explain much of it.
        """
        before, fitting = self.before, []
        for each in singles:
            fault = each.faults[0]
            if each.cost > _SIMPLE or each.result.chi > before.chi:
                continue
            tamed = each.result.negative < _TAMED * before.negative
            specific = fault.subject == "pass" and fault.kind in _SPECIFIC
            explains = specific and each.result.misfit < _MOSTLY * before.misfit
            if explains or (before.surplus and tamed):
                fitting.append(self._by_itself(each))
        left = [each for each in fitting if not each.result.surplus] or [
            each for each in fitting if each.result.negative < _ONE_SIGNED * before.misfit
        ]
        return min(left, key=unlikelihood, default=None)

    def hidden(self) -> Found | None:
        """Find what stands out of the noise in no place and is sure over all, and what it hides."""
        every = [Fault("shift", "pass", index) for index in range(len(self.root.passes))]
        shifts = [
            each
            for fault in (*every, Fault("shift", "beauty"))
            for each in self._scored(tried_again(fault, self.root, self.judge, self.scene))
            if each.result.chi < self.before.chi and self._is_borne_out(each)
        ]
        sure = [min(shifts, key=unlikelihood)] if shifts else []
        rough = self._scored(tried(self.root, self.judge, self.scene, leave=_FREE))
        likely = [each for each in rough if self._is_sure(each) and self._is_borne_out(each)]
        likely = sorted(likely, key=unlikelihood)[:_LOOKS]
        self._look_for([each.faults for each in (*sure, *likely)])
        found = [
            self._by_itself(each)
            for fault in {each.faults[0].what: each.faults[0] for each in (*sure, *likely)}.values()
            for each in self._scored(tried_again(fault, self.root, self.judge, self.scene))
        ]
        found = [each for each in found if each.faults[0].kind == "shift" or self._is_sure(each)]
        if not found:
            return None
        best = min(found, key=unlikelihood)
        others = (rivals(best, 0, found, self.before),) * len(best.faults)
        explained = (1.0,) * len(best.faults)
        told = Found(best.faults, explained, others, best.state, 0.0, missing=False, surplus=False)
        return self._and_hidden(told, best)

    def _is_sure(self, each: Scored) -> bool:
        fault = each.faults[0]
        if fault.kind in ("gain", "colour") and fault.subject == "pass":
            least, most = min(fault.numbers), max(fault.numbers)
            if least > 1 - _SKEWED or most > 1:  # light in no pass may as well be missing
                return False
        least = _SURELY if self.is_first else _SURELY_BESIDE
        return self._gained(each)[0] > least * (1 + each.cost / 4)

    def _gained(self, each: Scored) -> tuple[float, float]:
        """Chi square that blocks and groups of blocks lose, beyond what goes with any blocks."""
        kept = float(each.state.keep.sum()) / max(float(self.root.keep.sum()), 1.0)
        before, after = self.before, each.result
        return kept * before.chi - after.chi, kept * before.broad_chi - after.broad_chi

    def _is_borne_out(self, each: Scored) -> bool:
        """Whether groups of blocks gain what they should where that is undone.

        Light that few paths find is mostly too dark and now and then far too bright. Single blocks
        then fit a smaller factor best, which their means contradict.
        """
        undone = self.root.residual - each.state.residual
        owed = broad_chi(self.judge, undone, each.state.keep)
        return self._gained(each)[1] > max(_BORNE_OUT * owed, 0.0)

    def _and_hidden(self, found: Found, single: Scored) -> Found:
        """Add what a single fault has hidden, where that one was undone exactly."""
        if not self.is_first or any(fault.kind in ROUGHLY for fault in single.faults):
            return found
        state = single.state
        rest = _Searching(state, state.judge, self.scene, self.look, is_first=False).all()
        if rest is None:
            return found
        return replace(
            rest,
            faults=(*found.faults, *rest.faults),
            explained=(*found.explained, *rest.explained),
            rivals=(*found.rivals, *rest.rivals),
        )

    def score(self, parts: Parts, state: State, judge: Judge, *, by_itself: bool = False) -> Scored:
        result = judged(judge, state)
        if by_itself:
            result = replace(result, chi=self._unlikely(result.chi, state, judge))
        elif judge is not self.judge:
            result = replace(result, chi=self._as_unlikely(result.chi, judge))
        score = result.misfit + 0.012 * cost_of(parts) * self.before.misfit
        return Scored(parts, state, judge, result, score)

    def _unlikely(self, chi: float, state: State, judge: Judge) -> float:
        """Chi square with what noise that is taken for greater costs, as in a likelihood.

        A beauty that is stretched stretches its noise, which says nothing for or against it.
        """
        cost = judge.log_variance(state.keep) - self.judge.log_variance(state.keep)
        if state.beauty is not self.root.beauty:
            cost -= stretched(state.beauty, self.root.beauty, state.keep)
        self.costs[judge] = cost
        return self._as_unlikely(chi, judge)

    def _as_unlikely(self, chi: float, judge: Judge) -> float:
        return (chi * judge.spread + self.costs.get(judge, 0.0)) / self.judge.spread

    def singles(self) -> list[Scored]:
        """Undo each fault alone, on pixels where that is worth it."""
        rough = self._scored(tried(self.root, self.judge, self.scene))
        worth = [each.faults[0] for each in rough if self._is_worth_a_look(each)][:_LOOKS]
        seams: list[Fault] = []
        for kind in _ALPHAS:
            seams += [Fault(kind, "pass", index) for index in sorted(self.scene.seams)]
            seams += [Fault(kind, "passes")] * (len(self.scene.seams) == len(self.root.passes))
        self._look_for([[each] for each in (*worth, *seams)])
        kept = [each for each in rough if each.faults[0].kind not in ON_PIXELS]
        for fault in {each.what: each for each in (*worth, *seams)}.values():
            kept += self._scored(tried_again(fault, self.root, self.judge, self.scene))
        kept.sort(key=lambda each: each.score)
        likely = sorted(kept, key=unlikelihood)[:_SINGLES]
        closer = {id(each) for each in (*kept[:_SINGLES], *likely)}
        likelier = {each.faults[0].kind for each in kept if each.result.chi < self.before.chi}
        self.unlikely = ("some curve", *(kind for kind in _COSTLY if kind not in likelier))
        judged_again = [self._by_itself(each) if id(each) in closer else each for each in kept]
        return sorted(judged_again, key=lambda each: each.score)

    def _scored(self, trials: Iterable[Trial]) -> list[Scored]:
        found = [self.score((each.faults,), each.state, self.judge) for each in trials]
        return sorted(found, key=lambda each: each.score)

    def _is_worth_a_look(self, each: Scored) -> bool:
        fault = each.faults[0]
        if fault.kind == "curve":
            return each.result.misfit < _WORTH * self.before.misfit
        return fault.kind in ON_PIXELS

    def _look_for(self, wanted: Iterable[Sequence[Fault]]) -> None:
        """Undo on pixels what was undone on means."""
        seen: list[Seen] = []
        before: dict[int | None, tuple[str, ...] | None] = {None: self.root.beauty.undone}
        before.update((index, each.undone) for index, each in enumerate(self.root.passes))
        lights = range(len(self.root.passes))
        for faults in wanted:
            done = dict(before)
            for fault in faults:
                every = lights if fault.subject == "passes" else (fault.light,)
                for index in every if fault.kind in ON_PIXELS else ():
                    chain = done[index]
                    if chain is not None:
                        words = operations(fault)
                        done[index] = (*chain, words[0])
                        seen += [(index, (*chain, word)) for word in words]
        new = [each for each in seen if each not in self.scene.looked_at]
        if new:
            looked = {**self.scene.looked_at, **self.look(new)}
            self.scene = replace(self.scene, looked_at=looked)

    def _by_itself(self, each: Scored) -> Scored:
        """Judge what reshapes grain by the grain that is then there."""
        if not any(_reshapes(fault) for fault in each.faults):
            return each
        found = self.score(each.parts, each.state, each.state.judge, by_itself=True)
        if len(each.faults) > 1 or each.faults[0].kind not in _LENS:
            return found
        for _ in range(_ROUNDS):  # where grain was thought stronger light had less of a say
            again = self._again(each.parts[0], (), self.root, found.judge)
            if again is None:
                break
            found = self.score(again.parts, again.state, again.state.judge, by_itself=True)
        return found

    def pairs(self, first_ones: Sequence[Scored]) -> list[Scored]:
        """Undo a second fault after each of some first ones."""
        found = [
            self.score((*first.parts, trial.faults), trial.state, first.judge)
            for first in first_ones
            for trial in self._seconds(first)
        ]
        most = (_HARDLY if self.before.surplus else _PARTLY) * self.before.misfit
        found = [each for each in found if each.result.misfit < most]
        found.sort(key=lambda each: each.score)
        best: dict[frozenset[object], Scored] = {}
        for each in found:
            best.setdefault(frozenset(fault.what for fault in each.faults), each)
        likely = sorted(best.values(), key=lambda each: each.result.chi)[:_PAIRS]
        chosen = list({id(each): each for each in (*likely, *[*best.values()][:_PAIRS])}.values())
        guessed = [((first,), (second,)) for first, second in self._guesses(chosen)]
        self._look_for([*(each.faults for each in chosen), *(sum(each, ()) for each in guessed)])
        refined = [self._refined(each.parts, each.judge) or each for each in chosen]
        for parts in guessed:
            first = self._again(parts[0], (), self.root, self.judge)
            pair = first and self._refined(parts, self._by_itself(first).judge)
            refined += [pair] if pair else []
        return sorted(refined, key=lambda each: each.score)

    def _seconds(self, first: Scored) -> list[Trial]:
        """Second faults beside a first one that leave least, at a glance."""
        trials = [
            trial
            for trial in tried(first.state, first.judge, self.scene, leave=self.unlikely)
            if go_together(first.faults[0], trial.faults[0])
        ]
        trials.sort(key=lambda trial: glanced(first.judge, trial.state))
        return trials[:_SECONDS]

    def _guesses(self, chosen: Iterable[Scored]) -> list[tuple[Fault, Fault]]:
        """Pairs that are found together only."""
        if not self.before.surplus:  # light in no pass is likelier
            return []
        known = {frozenset(fault.what for fault in each.faults) for each in chosen}
        return [
            pair
            for pair in guesses(self.root, self.judge, self.scene)
            if frozenset(fault.what for fault in pair) not in known
        ]

    def _refined(self, wanted: Parts, judge: Judge) -> Scored | None:
        """Undo two faults anew, each fitted beside the other, and judge what is left by itself."""
        state = self.root
        parts: Parts = ()
        for part in wanted:
            again = self._again(part, parts, state, judge)
            if again is None:
                return None
            state, parts = again.state, again.parts
        found = self._by_itself(self.score(parts, state, judge))
        places = [part[0].place for part in found.parts]
        if ("passes", None) in places or places[0] == places[1]:
            return found
        for _ in range(_ROUNDS):
            for number in (0, 1):
                part, other = found.parts[number], found.parts[1 - number]
                if not part[0].numbers or len(part) > 1:
                    continue
                reset = _reset(found.state, self.root, part[0])
                again = self._again(part, (other,), reset, found.judge)
                if again is not None:
                    ordered = again.parts if number else again.parts[::-1]
                    found = replace(again, parts=ordered)
        return self._by_itself(found)

    def _again(
        self,
        part: tuple[Fault, ...],
        beside: tuple[tuple[Fault, ...], ...],
        state: State,
        judge: Judge,
    ) -> Scored | None:
        options = [
            self.score((*beside, trial.faults), trial.state, judge)
            for trial in tried_again(part[0], state, judge, self.scene)
        ]
        return min(options, key=unlikelihood, default=None)


def _reshapes(fault: Fault) -> bool:
    """Whether it changes grain otherwise than factors of passes do."""
    of_one_pass = ("gain", "colour", "off", "twin")
    masks = ("clamp", "background missing", "background repeated")
    return fault.kind not in ((*of_one_pass, *masks) if fault.subject == "pass" else masks)


def _reset(state: State, root: State, fault: Fault) -> State:
    """Take back what was done to the picture of a fault."""
    if fault.light is None:
        return state.with_beauty(root.beauty)
    return state.with_pass(fault.light, root.passes[fault.light])


def search(root: State, judge: Judge, scene: Scene, look: Look) -> Found | None:
    """Search the faults that explain most of a residual; None if passes and beauty agree.

    What edges make of a shift looks like noise and hides it, and others behind it, and a lens
    touches every block a little: they are asked for by themselves.
    """
    return _Searching(root, judge, scene, look).all()
