"""A plain value of a recipe's text that gives way to another, with its key or without."""

from __future__ import annotations

import re
from typing import Any

from evenfall.recipe.lines import map_lines
from evenfall.recipe.places import Place
from evenfall.recipe.shorthand import replaced_by
from evenfall.recipe.toml_values import toml_text

__all__ = ["with_key_renamed", "with_value_replaced"]

_BARE = re.compile(r"[A-Za-z0-9_-]+")
_VALUE = r"""(?:"[^"\\\\]*"|'[^']*'|[\w.+-]+)(?=\s*(?:#|$))"""


def with_key_renamed(text: str, place: Place, value: Any) -> str | None:
    r"""Write key and value on the line of the one key that they take the place of.

    The line keeps its place and its comment. The caller sees to it that the text says what it
    should.

    Returns
    -------
    str or None
        None where no such key has a line of its own.

    Examples
    --------
    >>> text = "[moods.dusk.lights.fill]\nstops = -1  # soft\n"
    >>> print(with_key_renamed(text, ("moods", "dusk", "lights", "fill", "lumens"), 600))
    [moods.dusk.lights.fill]
    lumens = 600  # soft
    """
    key, lines = str(place[-1]), map_lines(text).lines
    old = [other for other in replaced_by(place) if (*place[:-1], other) in lines]
    if (
        len(old) != 1
        or place in lines
        or isinstance(value, dict | list)
        or not _BARE.fullmatch(key)
    ):
        return None
    pair = re.compile(rf"(?P<before>(?:^|\.)\s*){re.escape(old[0])}(?P<equals>\s*=\s*){_VALUE}")
    split = text.splitlines(keepends=True)
    number = lines[(*place[:-1], old[0])] - 1
    body = split[number].rstrip("\r\n")
    written = toml_text(value)
    changed, count = pair.subn(
        lambda match: f"{match['before']}{key}{match['equals']}{written}", body, count=1
    )
    split[number] = changed + split[number][len(body) :]
    return "".join(split) if count else None


def with_value_replaced(text: str, place: Place, value: Any) -> str | None:
    r"""Write a plain value where one stands; every other sign stays.

    The caller sees to it that the text says what it should.

    Returns
    -------
    str or None
        None where no plain value stands, or none is to be written.

    Examples
    --------
    >>> text = "[moods.dusk.lights]\nsky = { stops = -1,  kelvin = 9000 }  # soft\n"
    >>> print(with_value_replaced(text, ("moods", "dusk", "lights", "sky", "stops"), -2))
    [moods.dusk.lights]
    sky = { stops = -2,  kelvin = 9000 }  # soft
    """
    span = map_lines(text).spans.get(place)
    if span is None or isinstance(value, dict | list | tuple):
        return None
    return f"{text[: span[0]]}{toml_text(value)}{text[span[1] :]}"
