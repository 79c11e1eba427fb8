"""One key of a recipe's text that takes the place of another, where that one stands."""

from __future__ import annotations

import re
from typing import Any

from evenfall.recipe.lines import map_lines
from evenfall.recipe.places import Place
from evenfall.recipe.shorthand import replaced_by
from evenfall.recipe.toml_values import toml_text

__all__ = ["with_key_renamed"]

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
