"""One-off changes by dotted place, as `--set` takes them."""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from evenfall.errors import Fault, RecipeError
from evenfall.recipe.model import RecipeModel
from evenfall.recipe.places import Place, dotted, parse_place
from evenfall.recipe.shorthand import opened, replaced_by
from evenfall.recipe.words.describing import slot_at
from evenfall.recipe.words.suggesting import did_you_mean

__all__ = ["Change", "apply_changes", "parse_change", "parse_changes", "put"]


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
    >>> parse_change("look.tone=evenfall").value
    'evenfall'
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
    only_text = slot is not None and slot.takes.startswith(("text", '"'))
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
            put(tree, change.place, change.value)
        except LookupError as error:
            faults.append(Fault(change.source, "", *error.args))
    return faults


def put(tree: dict[str, Any], place: Place, value: Any, *, may_be_inherited: bool = False) -> None:
    """Put a value at a place of a tree, in place; tables on the way are made.

    A key takes the place of those that say the same thing another way, such as another gain. A
    light, group or mood that is not there is refused unless it may be inherited.

    Raises
    ------
    LookupError
        With what was found, allowed and a hint, when the place cannot be reached.
    """
    if place[0] == "deliverables" and "deliverables" not in tree:
        tree["deliverables"] = [{}]
    parent: Any = tree
    for depth, step in enumerate(place[:-1], start=1):
        here = place[:depth]
        child = _child(parent, step, here, may_be_inherited)
        if isinstance(child, str | int | float) and isinstance(place[depth], str):
            child = opened(here, child)
            if child is None:
                raise LookupError(f"{dotted(here)} is a single value, no table")
            parent[step] = child
        if child is None:
            child = parent[step] = {}
        parent = child
    if not (len(place) == 2 and isinstance(value, dict | list)):  # a new mood or group is no slip
        _child(parent, place[-1], place, may_be_inherited)
    if isinstance(parent, dict):
        _replace(parent, place, value)
    else:
        parent[place[-1]] = value


def _replace(table: dict[str, Any], place: Place, value: Any) -> None:
    """Put a value into a table where the first of the keys stood that it takes the place of."""
    key = str(place[-1])
    replaced = {key, *replaced_by(place)}
    before = list(table.items())
    table.clear()
    for name, old in before:
        if name not in replaced:
            table[name] = old
        elif key not in table:
            table[key] = value
    table[key] = value


def _child(parent: Any, step: str | int, place: Place, may_be_inherited: bool) -> Any:
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
    is_name = place[:-1] in (("lights",), ("groups",), ("moods",))
    if is_name and step not in parent and not may_be_inherited:
        known = f"known are {', '.join(parent)}"
        raise LookupError(
            f'there is no {above.removesuffix("s")} called "{step}"',
            known,
            did_you_mean(step, parent),
        )
    return parent.get(step)
