"""Findings in a recipe, with the file and the line that each stands in."""

from __future__ import annotations

from collections.abc import Sequence

from evenfall.errors import Fault
from evenfall.recipe.changes import Change
from evenfall.recipe.inheriting import Origins
from evenfall.recipe.places import dotted
from evenfall.recipe.words.findings import Finding

__all__ = ["located"]


def located(
    findings: Sequence[Finding], origins: Origins, changes: Sequence[Change]
) -> list[Fault]:
    """Give findings their file and line, in the order of the files; one-off changes come first."""
    faults = []
    for finding in findings:
        change = next((each for each in reversed(changes) if _touches(each, finding)), None)
        file, line = (change.source, None) if change else origins.spot(finding.place)
        hint = finding.hint if change else _hint(finding, origins)
        faults.append(
            Fault(file, dotted(finding.place), finding.found, finding.allowed, hint, line)
        )
    return sorted(faults, key=lambda fault: (_rank(fault, origins), fault.line or 0))


def _rank(fault: Fault, origins: Origins) -> int:
    return 0 if fault.line is None else 1 if fault.file == origins.file else 2


def _hint(finding: Finding, origins: Origins) -> str:
    """Add what to do about a light that is inherited and of which there is no pass here."""
    place, is_gone = finding.place, finding.found.startswith(("there is no file", "is missing"))
    if len(place) < 3 or place[0] != "lights" or place[2] != "file" or not is_gone:
        return finding.hint
    if place[:2] not in origins.inherited:
        return finding.hint
    drop = f'if this view does not have it, say {dotted(place[:2])} = "none" in {origins.file}'
    return "; ".join(part for part in (finding.hint, drop) if part)


def _touches(change: Change, finding: Finding) -> bool:
    shorter = min(len(change.place), len(finding.place))
    return shorter > 0 and change.place[:shorter] == finding.place[:shorter]
