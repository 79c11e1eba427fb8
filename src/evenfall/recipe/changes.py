"""One-off changes by dotted place, as `--set` takes them."""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from evenfall.errors import Fault, RecipeError
from evenfall.recipe.describing import slot_at
from evenfall.recipe.model import RecipeModel
from evenfall.recipe.places import Place, dotted, parse_place
from evenfall.recipe.shorthand import opened, replaced_by
from evenfall.recipe.suggesting import did_you_mean

__all__ = ["Change", "apply_changes", "parse_change", "parse_changes"]


@dataclass(frozen=True)
class Change:
    """One change: where, to what, and as the person wrote it."""

    place: Place
    value: Any
    text: str

    @property
    def source(self) -> str:
        """How messages name the change, as a file would be named."""
        return f"--set {self.text}"


def parse_change(text: str) -> Change:
    """Read 'PLACE=VALUE'; the value is TOML, and bare words are text.

    Raises
    ------
    RecipeError
        When it is no such thing.

    Examples
    --------
    >>> parse_change("moods.dusk.lights.sun.stops=-1").value
    -1
    >>> parse_change("look.tone=filmic").value
    'filmic'
    """
    place_text, equals, value_text = text.partition("=")
    if not equals:
        raise RecipeError(
            Fault(f"--set {text}", "", "found no '='", "expected PLACE=VALUE, such as "
                  "moods.dusk.lights.sun.stops=-1")
        )  # fmt: skip
    try:
        place = parse_place(place_text.strip())
    except ValueError as error:
        raise RecipeError(
            Fault(f"--set {text}", "", f'found the place "{place_text.strip()}"', str(error))
        ) from None
    return Change(place, _value(place, value_text.strip(), text), text)


def parse_changes(texts: Sequence[str]) -> tuple[list[Change], list[Fault]]:
    """Read several changes; those that cannot be read come back as faults."""
    changes: list[Change] = []
    faults: list[Fault] = []
    for text in texts:
        try:
            changes.append(parse_change(text))
        except RecipeError as error:
            faults += error.faults
    return changes, faults


def _value(place: Place, text: str, change: str) -> Any:
    slot = slot_at(place, RecipeModel)
    only_text = slot is not None and (slot.takes == "text" or slot.takes.startswith('"'))
    try:
        value = tomllib.loads(f"value = {text}")["value"]
    except tomllib.TOMLDecodeError:
        if only_text or text[:1] not in ("[", "{", '"', "'"):
            return text
        hint = "mind the quotes that your shell takes away"
        raise RecipeError(
            Fault(f"--set {change}", "", f"found {text}", "expected a TOML value", hint)
        ) from None
    return value if isinstance(value, str | bool | list | dict) or not only_text else text


def apply_changes(tree: dict[str, Any], changes: Sequence[Change]) -> list[Fault]:
    """Apply changes to a tree of plain values, in place.

    A gain or tint that is set for a light in a mood takes the place of the one that was there.
    Changes whose place cannot be reached come back as faults.
    """
    faults = []
    for change in changes:
        try:
            _apply(tree, change)
        except LookupError as error:
            faults.append(Fault(change.source, "", *error.args))
    return faults


def _apply(tree: dict[str, Any], change: Change) -> None:
    if change.place[0] == "deliverables" and "deliverables" not in tree:
        tree["deliverables"] = [{}]
    parent: Any = tree
    for depth, step in enumerate(change.place[:-1], start=1):
        here = change.place[:depth]
        child = _child(parent, step, here)
        below = change.place[depth]
        if isinstance(child, str | int | float) and isinstance(below, str):
            child = opened(here, child)
            if child is None:
                raise LookupError(f"{dotted(here)} is a single value, no table")
            parent[step] = child
        if child is None:
            child = parent[step] = {}
        parent = child
    last = change.place[-1]
    _child(parent, last, change.place)
    for key in replaced_by(change.place):
        parent.pop(key, None)
    parent[last] = change.value


def _child(parent: Any, step: str | int, place: Place) -> Any:
    above = dotted(place[:-1])
    if isinstance(step, int):
        if not isinstance(parent, list):
            raise LookupError(f"{above} is no list in this recipe")
        if step >= len(parent):
            counted = f"{len(parent)} entr{'y' if len(parent) == 1 else 'ies'}"
            raise LookupError(f"{above} has {counted}, counted from 0")
        return parent[step]
    if isinstance(parent, list):
        raise LookupError(f"{above} is a list", "", f"name an entry, such as {above}[0]")
    if not isinstance(parent, dict):
        raise LookupError(f"{above} is no table")
    if place[:-1] in (("lights",), ("groups",), ("moods",)) and step not in parent:
        known = f"known are {', '.join(parent)}"
        raise LookupError(
            f'there is no {above.removesuffix("s")} called "{step}"',
            known,
            did_you_mean(step, parent),
        )
    return parent.get(step)
