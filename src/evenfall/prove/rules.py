"""Rules of a search: what explains, what is worth a second fault, and which two are two."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from evenfall.prove.scored import Scored, unlikelihood
from evenfall.prove.state import Fault, What
from evenfall.prove.verdict import Judged

__all__ = ["better_than_one", "firsts", "go_together", "is_firm", "likeliest"]

_RESOLVED = 0.05  # of the residual beyond noise may be left
_EXACT = 0.03
_SECOND = 0.7  # of what one of two leaves, at most
_NOTHING_LEFT = 0.02  # where it is a factor; of light in no pass, factors leave more
_SPREAD_LEFT = 0.06  # by bloom of another shape than is tried
_CHANCE = 0.01  # misfit of noise
_FIRSTS = 6
_PER_KIND = 2  # and picture
_HELP = 0.1
_MUCH_HELP = 0.3  # one of two faults explains this much where light may as well be missing


def _resolves(each: Scored, before: Judged) -> bool:
    if each.result.chi > before.chi:
        return False
    if each.faults[-1].kind == "some curve":  # it bends as far as it is let
        return before.surplus and each.result.misfit < _EXACT * before.misfit
    if not before.surplus and _only_adds(each):
        share = _SPREAD_LEFT if each.faults[0].kind == "glare" else _NOTHING_LEFT
        return each.result.misfit < share * before.misfit + _CHANCE
    quiet = not each.result.loud and each.result.misfit < 0.5 * before.misfit
    return quiet or each.result.misfit < _RESOLVED * before.misfit


def _only_adds(each: Scored) -> bool:
    """Whether all it does is to add light by factors, as light in no pass does better."""
    kinds = {fault.kind for fault in each.faults}
    return kinds != {"primaries"} and kinds <= {"gain", "colour", "glare", "primaries"}


def likeliest(scored: Sequence[Scored], before: Judged) -> Scored | None:
    """Of all that leave noise, the one that fits best below the noise too.

    What does no better than a part of it does alone is left out, as a curve beside a ceiling is.
    """
    good = [each for each in scored if _resolves(each, before)]
    simple = [each for each in good if not any(_is_part(other, each) for other in good)]
    return min(simple, key=unlikelihood, default=None)


def _is_part(other: Scored, each: Scored) -> bool:
    own, whole = ({fault.what for fault in one.faults} for one in (other, each))
    return own < whole and other.result.misfit <= each.result.misfit


def firsts(singles: Sequence[Scored], before: Judged) -> list[Scored]:
    """Single faults that help, to which a second may be added."""
    chosen: list[Scored] = []
    least = _HELP if before.surplus else _MUCH_HELP
    helping = [
        each
        for each in singles
        if each.result.misfit < (1 - least) * before.misfit and each.result.chi < before.chi
    ]
    likely = sorted(helping, key=lambda each: each.result.chi)
    for ordered in (helping, likely):
        counts: dict[object, int] = {}
        for each in ordered:
            fault = each.faults[0]
            key = (fault.place, fault.kind)
            if counts.get(key, 0) < _PER_KIND and fault.kind != "some curve":
                counts[key] = counts.get(key, 0) + 1
                chosen.append(each)
            if sum(counts.values()) == _FIRSTS:
                break
    return list({id(each): each for each in chosen}.values())


def go_together(first: Fault, second: Fault) -> bool:
    """Whether two faults are two: on one picture only a curve and its ceiling are."""
    if (first.subject, first.light) != (second.subject, second.light):
        return True
    kinds = {first.kind, second.kind}
    if first.subject == "beauty" and ("shift" in kinds or kinds == {"vignette", "glare"}):
        return True
    return kinds in ({"curve", "clamp"}, {"gain", "clamp"}, {"curve", "gain"})


def better_than_one(pair: Scored, alone: Mapping[What, float]) -> bool:
    """Whether each of two faults takes away a good part of what the other leaves alone."""
    best = min((alone[fault.what] for fault in pair.faults if fault.what in alone), default=np.inf)
    return pair.result.misfit < _SECOND * best


def is_firm(pair: Scored, before: Judged) -> bool:
    """Whether a pair leaves so little that light of another shape is the less likely reason."""
    least = _NOTHING_LEFT if _only_adds(pair) else _RESOLVED
    return pair.cost <= 2 and pair.result.misfit < least * before.misfit
