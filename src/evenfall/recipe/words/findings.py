"""What is wrong with a tree of values, in words: the model's complaints made readable."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any

from pydantic_core import ErrorDetails

from evenfall.recipe.model import FORMAT_VERSION, RecipeModel
from evenfall.recipe.places import Place
from evenfall.recipe.words.describing import Slot, slot_at
from evenfall.recipe.words.hints import hint_for, shown
from evenfall.recipe.words.strangers import stranger
from evenfall.recipe.words.suggesting import did_you_mean, joined

__all__ = ["Finding", "finding_of"]


@dataclass(frozen=True)
class Finding:
    """A fault by its place, before file and line are known."""

    place: Place
    found: str
    allowed: str = ""
    hint: str = ""
    meant: str = ""  # for an unknown key: the known key that was probably meant


def finding_of(
    error: ErrorDetails, place: Place, value: Any, lights: Collection[str] = ()
) -> Finding:
    """Put one complaint of the model about the value at a place into words.

    `lights` are the names of the recipe's lights and groups.
    """
    kind = error["type"]
    if place == ("format",):
        return _format(kind, value)
    if kind == "value_error":
        return _said_by_model(place, value, str(error["ctx"]["error"]))
    if kind == "extra_forbidden":
        return Finding(place, "is not a known key here", *stranger(place, lights))
    if kind == "too_short" and not value:
        return Finding(place, "is empty", "expected at least one entry")
    return _by_type(place, value, error)


def _by_type(place: Place, value: Any, error: ErrorDetails) -> Finding:
    kind = error["type"]
    slot = slot_at(place, RecipeModel)
    allowed = f"expected {slot.takes}" if slot else ""
    if kind == "missing" and place and place[-1] == error["loc"][-1]:
        return Finding(place, "is missing", allowed + _meaning(slot))
    if kind == "union_tag_invalid" and place[-1] != error["loc"][-1]:
        return _of_no_kind(place, value, error["ctx"]["expected_tags"])
    if kind == "finite_number":
        return Finding(place, f"found {value}", "expected an ordinary number")
    return Finding(place, _found(value), allowed, hint_for(place, value, allowed))


def _of_no_kind(place: Place, value: Any, tags: str) -> Finding:
    """Tell of a key that says which kind a table is, but none that there is."""
    known = [tag.strip("'") for tag in tags.split(", ")]
    allowed = f"expected {joined((shown(name) for name in known), 'or')}"
    meant = did_you_mean(value, known) if isinstance(value, str) else ""
    return Finding(place, _found(value), allowed, meant)


def _found(value: Any) -> str:
    return f"found {shown(value)}"


def _meaning(slot: Slot | None) -> str:
    sentence = (slot.description if slot else "").partition(". ")[0].rstrip(".")
    return f", the {sentence[:1].lower()}{sentence[1:]}" if " " in sentence else ""


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
    return Finding(place, _found(value), allowed, hint_for(place, value, allowed))
