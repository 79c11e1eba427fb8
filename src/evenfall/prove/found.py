"""What a search found, and how much of the residual each fault explains."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from evenfall.prove.scored import LIKELIER, ROUGHLY, Scored
from evenfall.prove.state import Fault, State
from evenfall.prove.verdict import Judged

__all__ = ["Found", "nothing_found", "report", "rivals"]

_RESOLVED = 0.05  # of the residual beyond noise may be left
_RIVAL = 0.03


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


def nothing_found(state: State, left: float, *, missing: bool, surplus: bool) -> Found:
    """No fault; what is left is light of some kind."""
    return Found((), (), (), state, left, missing, surplus)


def report(
    best: Scored,
    singles: Sequence[Scored],
    before: Judged,
    others: Sequence[Scored],
    *,
    missing: bool = False,
) -> Found:
    """Say of faults what each explains alone, and which other passes it may as well be.

    Parameters
    ----------
    best : Scored
        Faults, undone.
    singles : sequence of Scored
        Each fault undone alone.
    before : Judged
        Nothing undone.
    others : sequence of Scored
        What else was tried, as many faults at a time.
    missing : bool
        Whether light is in no pass beside them.
    """
    alone = {each.faults[0].what: each.result.misfit for each in reversed(singles)}
    explained = [
        1 - min(alone.get(fault.what, before.misfit), before.misfit) / before.misfit
        for fault in best.faults
    ]
    if len(best.parts) == 1:
        explained = [1 - best.result.misfit / before.misfit] * len(best.faults)
    left = best.result.misfit / before.misfit
    exact = not any(fault.kind in (*ROUGHLY, "clamp") for fault in best.faults)
    loud = best.result.loud and (left > _RESOLVED or exact)
    least = 0.25 if left > _RESOLVED else 0.9
    positive = best.result.positive > least * best.result.misfit
    negative = best.result.negative > least * best.result.misfit
    order = np.argsort(explained)[::-1]
    return Found(
        tuple(best.faults[i] for i in order),
        tuple(float(np.clip(explained[i], 0, 1)) for i in order),
        tuple(rivals(best, int(i), others, before) for i in order),
        best.state,
        left,
        missing=missing or (loud and positive),
        surplus=loud and negative,
    )


def rivals(best: Scored, which: int, others: Sequence[Scored], before: Judged) -> tuple[int, ...]:
    """Other passes of which the same fault explains the residual as well."""
    fault = best.faults[which]
    if fault.light is None:
        return ()
    rest = {each.what for each in best.faults} - {fault.what}
    found = []
    for each in others:
        different = [other for other in each.faults if other.what not in rest]
        if len(each.faults) != len(best.faults) or len(different) != 1:
            continue
        other = different[0]
        if other.light in (None, fault.light) or other.light in found:
            continue
        close = each.result.misfit < best.result.misfit + _RIVAL * before.misfit
        as_likely = each.result.chi < best.result.chi + LIKELIER * (1 + best.cost - each.cost)
        if close and as_likely and each.cost <= best.cost:
            found.append(other.light)
    return tuple(light for light in found if light is not None)
