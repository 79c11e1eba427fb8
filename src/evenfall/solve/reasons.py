"""Comments behind figures of a recipe: reasons are set, and what a person wrote stays.

A comment that evenfall wrote itself speaks of the figure that stood there, so another reason takes
its place. One of a person's own hand is never touched; where the figure before it changes, it is
named, as it may no longer hold.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

from evenfall.recipe.lines import map_lines
from evenfall.recipe.places import Place, dotted
from evenfall.solve.balanced import AT_DUSK, AT_NIGHT, BY_DAY

__all__ = ["AIMED", "MATCHED", "may_no_longer_hold", "with_reasons"]

AIMED, MATCHED = "solved for the aims", "as matched"
"""Reasons that take the place of reasons."""

_OWN = frozenset(
    (
        *BY_DAY.values(),
        *AT_DUSK.values(),
        *AT_NIGHT.values(),
        "the camera opens as daylight goes",
        "darker than the mood before",
        AIMED,
        MATCHED,
    )
)
_OWN_BEGINNINGS = ("so that the median lightness is ", "so that day has a median lightness of ")
_STRING = re.compile(r'"(?:[^"\\]|\\.)*"' + r"|'[^']*'")


def with_reasons(text: str, reasons: Mapping[Place, str], *, only_instead: bool = False) -> str:
    r"""Set reasons behind figures that have none, or one that evenfall wrote.

    Parameters
    ----------
    text : str
        A recipe.
    reasons : mapping of Place to str
        By the place of a figure, or of the light whose gain it is.
    only_instead : bool
        Whether figures without a comment stay without.

    Examples
    --------
    >>> text = "[moods.dusk.lights]\nlamp = 1  # on\nsky = -2  # by hand\nsun = 3\n"
    >>> place = ("moods", "dusk", "lights")
    >>> print(with_reasons(text, {(*place, light): AIMED for light in ("lamp", "sky", "sun")}))
    [moods.dusk.lights]
    lamp = 1  # solved for the aims
    sky = -2  # by hand
    sun = 3  # solved for the aims
    <BLANKLINE>
    """
    lines = text.split("\n")
    for place, reason in reasons.items():
        number = _line_of(text, place)
        if number is None:
            continue
        line = lines[number - 1].rstrip("\r")
        end = lines[number - 1][len(line) :]
        before, comment = _apart(line)
        if _is_own(comment) if comment else not only_instead:
            lines[number - 1] = f"{before.rstrip()}  # {reason}{end}"
    return "\n".join(lines)


def may_no_longer_hold(text: str, places: Iterable[Place]) -> list[str]:
    r"""Name the comments of a person's own hand behind figures that changed.

    Examples
    --------
    >>> may_no_longer_hold("lamp = 1  # low\n", [("lamp",)])
    ['the comment of lamp in line 1, "low", was written for another figure; it stays']
    """
    lines, found = text.split("\n"), {}
    for place in places:
        number = _line_of(text, place)
        comment = "" if number is None else _apart(lines[number - 1].rstrip("\r"))[1]
        if number is not None and comment and not _is_own(comment):
            found[number] = (
                f'the comment of {dotted(place)} in line {number}, "{comment}", was written for '
                "another figure; it stays"
            )
    return list(found.values())


def _line_of(text: str, place: Place) -> int | None:
    lines = map_lines(text).lines
    return lines.get((*place, "stops"), lines.get(place))


def _apart(line: str) -> tuple[str, str]:
    """Part a line into what it says and its comment; empty where it has none."""
    blank = _STRING.sub(lambda match: " " * len(match[0]), line)
    at = blank.find("#")
    return (line, "") if at < 0 else (line[:at], line[at + 1 :].strip())


def _is_own(comment: str) -> bool:
    return comment in _OWN or comment.startswith(_OWN_BEGINNINGS)
