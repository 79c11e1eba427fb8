"""Plain values written as TOML, and a whole recipe of them."""

from __future__ import annotations

import datetime
import json
import re
from collections.abc import Iterator, Mapping
from typing import Any

__all__ = ["toml_document", "toml_key", "toml_text"]

_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_BY_NAME = ("lights", "moods")  # tables of tables, each of which gets a heading


def toml_text(value: Any) -> str:
    """Write a plain value as TOML on one line.

    Examples
    --------
    >>> print(toml_text({"kelvin": 2700.0, "names": ["a", "b"]}))
    { kelvin = 2700.0, names = ["a", "b"] }
    """
    if isinstance(value, Mapping):
        inner = ", ".join(f"{toml_key(key)} = {toml_text(item)}" for key, item in value.items())
        return f"{{ {inner} }}" if inner else "{}"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(toml_text(item) for item in value) + "]"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):  # JSON escapes a subset of what TOML does, but for one sign
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, datetime.date | datetime.time):
        return value.isoformat()
    return repr(value)


def toml_key(key: str) -> str:
    """Write a key, in quotes where it has to.

    Examples
    --------
    >>> toml_key("sky"), toml_key("big lamp")
    ('sky', '"big lamp"')
    """
    return key if _BARE_KEY.fullmatch(key) else toml_text(key)


def toml_document(tree: Mapping[str, Any]) -> str:
    """Write a recipe from its values: without comments, with everything in its order.

    Parameters
    ----------
    tree : mapping
        Values as they are read.

    Examples
    --------
    >>> print(toml_document({"format": 1, "moods": {"dusk": {"lights": {"sun": "off"}}}}))
    format = 1
    <BLANKLINE>
    [moods.dusk]
    lights = { sun = "off" }
    <BLANKLINE>
    """
    blocks = [_pairs({key: value for key, value in tree.items() if not _has_heading(value)})]
    for key, value in tree.items():
        if not _has_heading(value):
            continue
        if isinstance(value, list):
            blocks += [f"[[{toml_key(key)}]]\n{_pairs(item)}" for item in value]
        elif key in _BY_NAME and all(isinstance(inner, Mapping) for inner in value.values()):
            blocks += [
                f"[{toml_key(key)}.{toml_key(name)}]\n{_pairs(inner)}"
                for name, inner in value.items()
            ]
        else:
            blocks.append(f"[{toml_key(key)}]\n{_pairs(value)}")
    return "\n".join(block for block in blocks if block)


def _has_heading(value: Any) -> bool:
    """Whether a value of the recipe itself is a table, or a list of tables."""
    if isinstance(value, list):
        return bool(value) and all(isinstance(item, Mapping) for item in value)
    return isinstance(value, Mapping)


def _pairs(table: Mapping[str, Any]) -> str:
    return "".join(_lines(table))


def _lines(table: Mapping[str, Any]) -> Iterator[str]:
    for key, value in table.items():
        yield f"{toml_key(key)} = {toml_text(value)}\n"
