"""Dotted places inside a recipe: `moods.dusk.lights.sun.stops`, `deliverables[0].format`."""

from __future__ import annotations

import re

__all__ = ["Place", "dotted", "parse_place"]

Place = tuple[str | int, ...]
"""Keys and list indices from the top of the recipe down to one value."""

_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_ESCAPE = re.compile(r"\\(?:U([0-9a-fA-F]{8})|(.))")
_STEP = re.compile(
    r"""\s*(?:
        (?P<index>\[\s*(?P<number>\d+)\s*\])
        | "(?P<double>(?:[^"\\]|\\.)*)"
        | '(?P<single>[^']*)'
        | (?P<bare>[^\s.\[\]"'=]+(?:\ +[^\s.\[\]"'=]+)*)
    )\s*""",
    re.VERBOSE,
)


def dotted(place: Place) -> str:
    """Write a place as a person would: keys with dots, list indices in brackets from 0.

    Examples
    --------
    >>> dotted(("deliverables", 0, "format"))
    'deliverables[0].format'
    >>> dotted(("lights", "big lamp", "file"))
    'lights."big lamp".file'
    """
    text = ""
    for step in place:
        if isinstance(step, int):
            text += f"[{step}]"
            continue
        quoted = "".join(_escaped(sign) for sign in step)
        name = step if _BARE_KEY.fullmatch(step) else f'"{quoted}"'
        text += f".{name}" if text else name
    return text


def _escaped(sign: str) -> str:
    if sign in '"\\':
        return f"\\{sign}"
    return sign if sign.isprintable() else f"\\U{ord(sign):08x}"


def _unescaped(match: re.Match[str]) -> str:
    return chr(int(match[1], 16)) if match[1] else str(match[2])


def parse_place(text: str) -> Place:
    """Read a dotted place; the inverse of `dotted`.

    Raises
    ------
    ValueError
        When the text is no dotted place.

    Examples
    --------
    >>> parse_place("deliverables[0].width")
    ('deliverables', 0, 'width')
    >>> parse_place('lights."big lamp".file')
    ('lights', 'big lamp', 'file')
    """
    steps: list[str | int] = []
    position = 0
    while position < len(text) or not steps:
        if steps and text[position] == ".":
            position += 1
        elif steps and text[position] != "[":
            raise ValueError(f"expected '.' or '[' after {dotted(tuple(steps))}")
        match = _STEP.match(text, position)
        if match is None or (match["index"] is not None and not steps):
            raise ValueError("expected a dotted place such as moods.dusk.lights.sun.stops")
        steps.append(_step(match))
        position = match.end()
    return tuple(steps)


def _step(match: re.Match[str]) -> str | int:
    if match["index"] is not None:
        return int(match["number"])
    if match["double"] is not None:
        return _ESCAPE.sub(_unescaped, match["double"])
    bare: str = match["single"] if match["single"] is not None else match["bare"]
    return bare
