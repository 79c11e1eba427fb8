"""What a person probably meant by a value of the wrong kind, and how to write it."""

from __future__ import annotations

import datetime
import re
from collections.abc import Mapping
from typing import Any, get_args, get_origin

from evenfall.recipe.base import Part
from evenfall.recipe.model import RecipeModel
from evenfall.recipe.places import Place, dotted
from evenfall.recipe.shorthand import is_light_setting
from evenfall.recipe.words.describing import kinds_at, parts_at, slot_at
from evenfall.recipe.words.suggesting import did_you_mean

__all__ = ["hint_for", "is_fixed_list", "shown"]

_LONGEST = 60
_LARGEST_BITS = 64
_NUMBER_AS_TEXT = re.compile(
    r"\s*(?P<before>(?:f\s*/?|iso)?)\s*(?P<number>[+-]?\d+(?:[.,]\d+)?)\s*(?P<unit>[^\d\s]*)\s*",
    re.IGNORECASE,
)
_PERCENT = re.compile(r"\s*(?P<number>\d{1,6}(?:[.,]\d{1,6})?)\s*(?:%|percent|per cent)\s*")
_STOPS_NAMED = re.compile(r"\s*(?P<stops>[+-]?[\d./ ]*\d)\s*(?:ev|f?-?\s?stops?)\s*", re.IGNORECASE)
_TURNED_STEP = re.compile(r"(?P<size>[\d./ ]*\d)\s*(?:stops?)?\s*(?P<way>up|down)", re.IGNORECASE)
_SIGNED_STEP = re.compile(r"(?P<way>up|down)\s*(?P<sign>[+-]?)\s*(?P<size>\d.*)", re.IGNORECASE)
_KELVIN = re.compile(r"\s*(?P<number>[1-9]\d{3,4})(?:\.0)?\s*[kK]?\s*")
_TRUTHS = ("true", "false")
_OTHER_WORDS = {
    "sun": "key",
    "lamp": "fixture",
    "light": "fixture",
    "interior": "fixture",
    "exterior": "outdoor fixture",
    "outdoor": "outdoor fixture",
    "ambient": "fill",
    "environment": "sky",
    "dome": "sky",
    "emissive": "glow",
}


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
        plain = "".join(sign if sign.isprintable() else repr(sign)[1:-1] for sign in text)
        return '"' + plain.replace('"', '\\"') + '"'
    if isinstance(value, Mapping):
        return "a table"
    if isinstance(value, list | tuple):
        text = "[" + ", ".join(shown(item) for item in value[:_LONGEST]) + "]"
        return text if len(text) <= _LONGEST else f"a list of {len(value)} entries"
    return _scalar(value)


def _scalar(value: Any) -> str:
    if isinstance(value, datetime.date | datetime.time):
        return value.isoformat()
    if isinstance(value, int) and value.bit_length() > _LARGEST_BITS:
        return "a number of very many digits"
    return str(value)


def hint_for(place: Place, value: Any, allowed: str) -> str:
    """Say how to write what was probably meant; empty when there is no telling.

    Examples
    --------
    >>> hint_for(("lights", "sun", "role"), "Key", "")
    'did you mean "key"?'
    """
    if kelvin := _kelvin_meant(place, value):
        return f"a colour temperature is {{ kelvin = {kelvin} }}"
    if isinstance(value, str):
        nearest = _stops_meant(value, allowed) or _nearest_word(place, value)
        return nearest or _for_text(place, value, allowed)
    if isinstance(value, Mapping | list):
        return _for_many(place, value, allowed)
    return _for_scalar(place, value, allowed)


def _for_scalar(place: Place, value: Any, allowed: str) -> str:
    if allowed.startswith("expected text"):
        return f'text stands in quotes: "{_scalar(value)}"'
    if isinstance(value, bool) and '"off"' in allowed:
        return 'write "on"' if value else 'write "off"'
    if allowed.startswith("expected a list of") and "numbers" in allowed:
        return f"a list stands in brackets: [{_scalar(value)}]"
    return _as_table(place, value) if allowed.startswith("expected a table") else ""


def _kelvin_meant(place: Place, value: Any) -> str:
    """Digits of a short form that is no stops and can only be kelvin; empty otherwise."""
    if not is_light_setting(place) or isinstance(value, bool):
        return ""
    match = _KELVIN.fullmatch(str(value))
    return match["number"] if match else ""


def _stops_meant(value: str, allowed: str) -> str:
    """Say how to write stops or a step that were written another way."""
    if "stops such as" not in allowed:
        return ""
    text = value.strip()
    if match := _PERCENT.fullmatch(text):
        factor = float(match["number"].replace(",", ".")) / 100
        return f"a share of its light is {{ factor = {factor:g} }}"
    if match := _STOPS_NAMED.fullmatch(text):
        return f'write "{match["stops"].strip()}", which are stops'
    if "a step such as" not in allowed:
        return ""
    match = _SIGNED_STEP.fullmatch(text) or _TURNED_STEP.fullmatch(text)
    if match is None:
        return ""
    words = {"up": "down", "down": "up"}
    way = match["way"].lower()
    against = "sign" in match.groupdict() and match["sign"] == "-"
    size = match["size"].strip()
    return f'write "{way} {size}"' + (f' or "{words[way]} {size}"' if against else "")


def _nearest_word(place: Place, value: str) -> str:
    slot = slot_at(place, RecipeModel)
    words = _literals(slot.annotation) if slot else []
    parts = parts_at(place[:-1] if place[-1] == "curve" else place, RecipeModel)
    words = words or [str(curve) for part in parts if (curve := _curve_of(part))]
    other = _OTHER_WORDS.get(value.casefold())
    return f'did you mean "{other}"?' if other in words else did_you_mean(value, words)


def _curve_of(part: type[Part]) -> str | None:
    field = part.model_fields.get("curve")
    return field.default if field is not None else None


def _literals(annotation: Any) -> list[str]:
    if isinstance(annotation, str):
        return [annotation]
    return [word for item in get_args(annotation) for word in _literals(item)]


def _for_text(place: Place, value: str, allowed: str) -> str:
    match = _NUMBER_AS_TEXT.fullmatch(value)
    if match and _takes_number(place):
        number = match["number"].replace(",", ".")
        plain = not (match["unit"] or match["before"])
        unit = " and units" if not plain else " and with a point" if "," in value else ""
        return f"numbers stand without quotes{unit}: {number}"
    if value.casefold() in _TRUTHS and "true" in allowed:
        return f"{value.casefold()} stands without quotes"
    if allowed.startswith("expected a list of tables"):
        return f"a list stands in brackets: [{_braced((*place, 0), value)}]"
    if allowed.startswith("expected a list"):
        return f"a list stands in brackets: [{shown(value)}]"
    return _as_table(place, value) if allowed.startswith("expected a table") else ""


def _takes_number(place: Place) -> bool:
    return any(
        kind in (int, float) or any(isinstance(each, int) for each in get_args(kind))
        for kind in kinds_at(place, RecipeModel)
    )


def _for_many(place: Place, value: Any, allowed: str) -> str:
    if isinstance(value, list) and allowed.startswith("expected tables by name"):
        return f"each has a heading of its own: [{dotted((*place, 'NAME'))}]"
    if isinstance(value, list) and len(value) == 1 and isinstance(value[0], str):
        return f"one text stands without brackets: {shown(value[0])}" if _is_text(allowed) else ""
    if isinstance(value, Mapping) and allowed.startswith("expected a list of tables"):
        return f"its heading has two brackets: [[{dotted(place)}]]"
    return ""


def _is_text(allowed: str) -> bool:
    return allowed.startswith(("expected text", 'expected "'))


def _as_table(place: Place, value: Any) -> str:
    table = _braced(place, value)
    return f"write {table}" if table else ""


def _braced(place: Place, value: Any) -> str:
    """Write a value as the table that was probably meant by it."""
    keys = [key for part in parts_at(place, RecipeModel) for key in part.model_fields]
    if not keys:
        return ""
    if "file" in keys and isinstance(value, str):
        return f"{{ file = {shown(value)} }}"
    number = isinstance(value, int | float) and not isinstance(value, bool)
    if number and _takes_number((*place, keys[0])):
        return f"{{ {keys[0]} = {_scalar(value)} }}"
    return f"{{ {keys[0]} = ... }}"


def is_fixed_list(place: Place) -> bool:
    """Whether the model has room for a list of a fixed number of entries at a place.

    Examples
    --------
    >>> is_fixed_list(("camera", "meter", "at")), is_fixed_list(("deliverables",))
    (True, False)
    """
    kinds = kinds_at(place, RecipeModel)
    return any(get_origin(kind) is tuple and Ellipsis not in get_args(kind) for kind in kinds)
