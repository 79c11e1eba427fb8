"""Which picture holds all lights at once: proposed by names, decided by how pictures add up."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from evenfall.survey.names import role_from_name
from evenfall.survey.sums import Comparison, SumOf, sums_among
from evenfall.survey.verdicts import Folder, Stem, Verdict

__all__ = ["choose_beauty"]

_FEW = 4  # lights that a sentence names
_WORTH_SAYING = 0.005  # share of the light that the lights lack


@dataclass(frozen=True)
class _Proposal:
    """A picture that its names propose as the beauty.

    Parameters
    ----------
    rank : int
        0 where a word says so, 1 for an unnamed layer beside named ones, 2 where the name is that
        of the view.
    reason : str
        Why.
    needs_pixels : bool
        Whether the name alone is not enough.
    """

    rank: int
    reason: str
    needs_pixels: bool


def choose_beauty(folder: Folder, totals: Mapping[int, Stem]) -> int | None:
    """Choose the beauty among whole pictures, and judge all that hold others.

    Parameters
    ----------
    folder : Folder
        Gets the verdicts on the beauty, and on further sums and pictures of all lights.
    totals : mapping of int to tuple of str
        Whole pictures, with the words of their light.

    Returns
    -------
    int or None
        The number of the beauty.
    """
    proposals = _proposals(folder, totals)
    if all(number in proposals for number in totals) and len(totals) > 1:
        proposals = {n: proposal for n, proposal in proposals.items() if not totals[n]}
    sums = sums_among(folder.blocks(totals)) if len(totals) > 2 else []
    beauty = _from_pixels(folder, totals, proposals, sums)
    if beauty is None:
        held = {each.total for each in sums}
        beauty = _from_names(folder, totals, {n: p for n, p in proposals.items() if n not in held})
    for found in sums:
        if found.total not in folder.verdicts:
            said = f"the sum of {folder.labels(found.addends)}"
            if not found.is_whole:
                said = f"holds {folder.labels(found.addends)}, and more"
            folder.verdicts[found.total] = Verdict(
                "left out", "", f"{said}, which are there too", sure=found.is_whole
            )
    if beauty is not None:
        _leave_others_out(folder, proposals)
    return beauty


def _proposals(folder: Folder, totals: Mapping[int, Stem]) -> dict[int, _Proposal]:
    found: dict[int, _Proposal] = {}
    for number, stem in totals.items():
        each = folder.seen[number].found
        says = each.says
        shines = role_from_name(" ".join(stem)) is not None
        inside = says.unnamed and not each.is_alone
        if says.beauty_word and not shines:
            found[number] = _Proposal(0, f"named '{says.beauty_word}'", needs_pixels=bool(stem))
        elif inside and _others_inside(folder, number, totals):
            reason = "the unnamed layer beside named ones"
            found[number] = _Proposal(1, reason, needs_pixels=shines)
        elif not stem or (not shines and sum(_begins(o, stem) for o in totals.values()) > 1):
            found[number] = _Proposal(2, "named like the view itself", needs_pixels=True)
    return found


def _begins(stem: Stem, start: Stem) -> bool:
    return len(stem) > len(start) > 0 and stem[: len(start)] == start


def _others_inside(folder: Folder, number: int, totals: Mapping[int, Stem]) -> bool:
    """Whether the file of a picture holds other whole pictures, with names of their own."""
    file, stem = folder.seen[number].found.file, totals[number]
    return any(
        other != number and folder.seen[other].found.file == file and len(words) > len(stem)
        for other, words in totals.items()
    )


def _from_pixels(
    folder: Folder,
    totals: Mapping[int, Stem],
    proposals: Mapping[int, _Proposal],
    sums: Sequence[SumOf[int]],
) -> int | None:
    """Take the sum that names propose too, or else the one of most pictures."""
    if not sums:
        return None
    best = max(sums, key=lambda each: (each.total in proposals, len(each.addends)))
    if best.total not in proposals and not _holds_nearly_all(folder, totals, best):
        return None
    said = f"the sum of {folder.labels(best.addends)}"
    if not best.is_whole:
        missing = best.comparison.missing
        more = f"{100 * missing:.2g} % more light" if missing > _WORTH_SAYING else "a little more"
        said = f"holds {folder.labels(best.addends)}, and {more}: a light may have no pass"
    left = _not_held(totals, proposals, sums, best)
    if best.is_whole and not left and len(best.addends) > _FEW:
        said = "the sum of all lights"
    if left and any(set(left) <= set(each.addends) for each in sums if each is not best):
        return None  # sums of lights in groups; none holds all
    if left:
        said += f"; it does not hold {folder.labels(left)}"
    name = proposals.get(best.total)
    reason = said if name is None else f"{name.reason}; {said}"
    folder.verdicts[best.total] = Verdict("beauty", "", reason)
    return best.total


def _not_held(
    totals: Mapping[int, Stem],
    proposals: Mapping[int, _Proposal],
    sums: Sequence[SumOf[int]],
    best: SumOf[int],
) -> list[int]:
    """Lights that a sum does not hold."""
    no_lights = {*proposals, *(each.total for each in sums)}
    return [n for n in totals if n not in no_lights and n not in best.addends]


def _holds_nearly_all(folder: Folder, totals: Mapping[int, Stem], found: SumOf[int]) -> bool:
    """Whether few pictures are brighter, or beside the sum: a group of lamps is no beauty."""
    light = {number: float(folder.seen[number].blocks.means.sum()) for number in totals}
    return light[found.total] >= max(light.values()) and 2 * len(found.addends) >= len(totals) - 1


def _from_names(
    folder: Folder, totals: Mapping[int, Stem], proposals: Mapping[int, _Proposal]
) -> int | None:
    lights = [number for number in totals if number not in proposals]
    brightness = {n: float(folder.seen[n].blocks.means.sum()) for n in proposals}
    for number in sorted(proposals, key=lambda n: (proposals[n].rank, -brightness[n])):
        proposal = proposals[number]
        found = folder.holds(number, lights) if lights else None
        if found is None and proposal.rank > 1:
            continue
        if proposal.needs_pixels and (found is None or not found.holds):
            continue
        folder.verdicts[number] = Verdict(
            "beauty", "", f"{proposal.reason}{_judged(found)}", sure=found is None or found.holds
        )
        return number
    return None


def _judged(found: Comparison | None) -> str:
    if found is None:
        return ""
    if found.equals:
        return "; it is the sum of the lights"
    if found.holds:
        return "; it holds all lights, and more"
    return "; but the lights do not add up to it, and `evenfall prove` says why"


def _leave_others_out(folder: Folder, proposals: Mapping[int, _Proposal]) -> None:
    """Take further pictures of all lights for no lights, where their names say so."""
    for number, proposal in proposals.items():
        if number in folder.verdicts or proposal.rank > 1:
            continue
        if proposal.rank == 0 or not proposal.needs_pixels:
            said = f"{proposal.reason}: another picture of all lights"
            folder.verdicts[number] = Verdict("left out", "", said, sure=False)
