"""What is wrong with a tree of values, in words: the model's complaints made readable."""

from __future__ import annotations

import datetime
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, get_args

from pydantic_core import ErrorDetails

from evenfall.recipe.base import Part
from evenfall.recipe.describing import Slot, parts_at, slot_at
from evenfall.recipe.model import FORMAT_VERSION, RecipeModel
from evenfall.recipe.places import Place
from evenfall.recipe.strangers import stranger
from evenfall.recipe.suggesting import did_you_mean

__all__ = ["Finding", "finding_of", "shown"]

_LONGEST = 60
_QUOTED_NUMBER = re.compile(r"^\s*[+-]?\d+(?:[.,]\d+)?\s*$")
_TRUTHS = ("true", "false")


@dataclass(frozen=True)
class Finding:
    """A fault by its place, before file and line are known."""

    place: Place
    found: str
    allowed: str = ""
    hint: str = ""
    meant: str = ""  # for an unknown key: the known key that was probably meant


def shown(value: Any) -> str:
    """Show a value as it would stand in the recipe, shortened.

    Examples
    --------
    >>> shown("two"), shown(True), shown((1, 2.5)), shown({"a": 1})
    ('"two"', 'true', '[1, 2.5]', 'a table')
    """
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        text = value if len(value) <= _LONGEST else value[: _LONGEST - 3] + "..."
        return '"' + text.replace("\n", "\\n").replace('"', '\\"') + '"'
    if isinstance(value, Mapping):
        return "a table"
    if isinstance(value, list | tuple):
        text = "[" + ", ".join(shown(item) for item in value) + "]"
        return text if len(text) <= _LONGEST else f"a list of {len(value)} entries"
    if isinstance(value, datetime.date | datetime.time):
        return f"the unquoted date or time {value.isoformat()}"
    return str(value)


def finding_of(error: ErrorDetails, place: Place, value: Any) -> Finding:
    """Put one complaint of the model about the value at a place into words."""
    kind = error["type"]
    if place == ("format",):
        return _format(kind, value)
    if kind == "value_error":
        return _said_by_model(place, value, str(error["ctx"]["error"]))
    if kind == "extra_forbidden":
        return Finding(place, "is no key that is known here", *stranger(place))
    if kind == "too_short" and not value:
        return Finding(place, "is empty", "expected at least one entry")
    return _by_type(place, value, error)


def _by_type(place: Place, value: Any, error: ErrorDetails) -> Finding:
    kind = error["type"]
    slot = slot_at(place, RecipeModel)
    allowed = f"expected {slot.takes}" if slot else ""
    if kind == "missing" and place and place[-1] == error["loc"][-1]:
        return Finding(place, "is missing", allowed + _meaning(slot))
    if kind == "finite_number":
        return Finding(place, f"found {value}", "expected an ordinary number")
    hint = _nearest_literal(place, value) or _type_hint(place, value, allowed)
    return Finding(place, _found(value), allowed, hint)


def _found(value: Any) -> str:
    return f"found {shown(value)}"


def _meaning(slot: Slot | None) -> str:
    sentence = (slot.description if slot else "").partition(". ")[0].rstrip(".")
    return f", the {sentence[:1].lower()}{sentence[1:]}" if sentence else ""


def _format(kind: str, value: Any) -> Finding:
    known = f"this evenfall knows format {FORMAT_VERSION}"
    line = f"the first line of a recipe is 'format = {FORMAT_VERSION}'"
    if kind == "missing":
        return Finding(("format",), "is missing", known, line)
    newer = isinstance(value, int) and value > FORMAT_VERSION
    hint = "update evenfall to read this recipe" if newer else line
    return Finding(("format",), _found(value), known, hint)


def _said_by_model(place: Place, value: Any, message: str) -> Finding:
    if isinstance(value, Mapping):
        return Finding(place, message)
    slot = slot_at(place, RecipeModel)
    allowed = f"expected {slot.takes}" if slot and slot.is_described else message
    return Finding(place, _found(value), allowed)


def _nearest_literal(place: Place, value: Any) -> str:
    if not isinstance(value, str):
        return ""
    slot = slot_at(place, RecipeModel)
    words = _literals(slot.annotation) if slot else []
    if not words:
        words = [
            curve
            for part in parts_at(place[:-1] if place[-1] == "curve" else place, RecipeModel)
            if (curve := _curve_of(part)) is not None
        ]
    return did_you_mean(value, words)


def _curve_of(part: type[Part]) -> str | None:
    field = part.model_fields.get("curve")
    return field.default if field is not None else None


def _literals(annotation: Any) -> list[str]:
    if isinstance(annotation, str):
        return [annotation]
    return [word for item in get_args(annotation) for word in _literals(item)]


def _type_hint(place: Place, value: Any, allowed: str) -> str:
    if isinstance(value, str):
        if _QUOTED_NUMBER.match(value) and "number" in allowed:
            return f"numbers stand without quotes and with a point: {value.replace(',', '.')}"
        if value.casefold() in _TRUTHS and "true" in allowed:
            return f"{value.casefold()} stands without quotes"
        if allowed.startswith("expected a list"):
            return f"a list stands in brackets: [{shown(value)}]"
    elif allowed.startswith("expected text") and not isinstance(value, list | tuple | Mapping):
        return f'text stands in quotes: "{value}"'
    elif isinstance(value, bool) and '"off"' in allowed:
        return 'write "on"' if value else 'write "off"'
    return _table_hint(place, value) if allowed.startswith("expected a table") else ""


def _table_hint(place: Place, value: Any) -> str:
    if isinstance(value, Mapping):
        return ""
    keys = [key for part in parts_at(place, RecipeModel) for key in part.model_fields]
    if "file" in keys and isinstance(value, str):
        return f"write {{ file = {shown(value)} }}"
    return f"write {{ {keys[0]} = ... }}" if keys else ""
