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


def may_no_longer_hold(before: str, text: str, places: Iterable[Place]) -> list[str]:
    r"""Name the comments of a person's own hand behind figures that changed.

    Parameters
    ----------
    before, text : str
        The recipe as it stood, and as it stands now.
    places : iterable of Place
        Where something was put.

    Examples
    --------
    >>> may_no_longer_hold("lamp = 2  # low\n", "lamp = 1  # low\n", [("lamp",)])
    ['the comment of lamp in line 1, "low", was written for another figure; it stays']
    >>> may_no_longer_hold(
    ...     "lamp = { kelvin = 2700 }  # warm\n",
    ...     "lamp = { kelvin = 2700, stops = 1 }  # warm\n",
    ...     [("lamp", "stops")],
    ... )
    []
    """
    lines, found = text.split("\n"), {}
    for place in places:
        number = _line_of(text, place)
        comment = "" if number is None else _apart(lines[number - 1].rstrip("\r"))[1]
        if number is None or not comment or _is_own(comment):
            continue
        figures = _figures_beside(before, place, comment)
        if any(_figure_at(text, at) != figure for at, figure in figures.items()):
            found[number] = (
                f'the comment of {dotted(place)} in line {number}, "{comment}", was written for '
                "another figure; it stays"
            )
    return list(found.values())


def _figures_beside(text: str, place: Place, comment: str) -> dict[Place, str]:
    """Figures in the line of a place, or of the entry around it, which has that comment."""
    written = map_lines(text)
    above = (_line_of(text, place), written.lines.get(place[:-1]))
    number = next((one for one in above if one is not None), None)
    if number is None or _apart(text.split("\n")[number - 1].rstrip("\r"))[1] != comment:
        return {}
    return {
        at: text[begin:end]
        for at, (begin, end) in written.spans.items()
        if text.count("\n", 0, begin) + 1 == number
    }


def _figure_at(text: str, place: Place) -> str:
    """Give the figure at a place; a gain may be said alone, or beside a tint as stops."""
    spans = map_lines(text).spans
    begin, end = spans.get(place) or spans.get((*place, "stops"), (0, 0))
    return text[begin:end]


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
