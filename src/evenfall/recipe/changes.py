"""One-off changes by dotted place, as `--set` takes them."""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from evenfall.errors import Fault, RecipeError
from evenfall.recipe.lights import GAIN_KEYS, TINT_KEYS
from evenfall.recipe.places import Place, dotted, parse_place

__all__ = ["Change", "apply_changes", "parse_change"]

_FAMILIES = (("on", *GAIN_KEYS), TINT_KEYS)


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
    return Change(place, _value(value_text.strip(), text), text)


def _value(text: str, change: str) -> Any:
    try:
        return tomllib.loads(f"value = {text}")["value"]
    except tomllib.TOMLDecodeError as error:
        if text[:1] in ("[", "{", '"', "'"):
            raise RecipeError(
                Fault(f"--set {change}", "", f"found {text}", "expected a TOML value",
                      f"{error}; mind the shell's own quotes")
            ) from None  # fmt: skip
        return text


def apply_changes(tree: dict[str, Any], changes: Sequence[Change]) -> None:
    """Apply changes to a tree of plain values, in place.

    A gain or tint that is set for a light in a mood takes the place of the one that was there.

    Raises
    ------
    RecipeError
        With every change whose place cannot be reached.
    """
    faults = []
    for change in changes:
        try:
            _apply(tree, change)
        except LookupError as error:
            faults.append(Fault(change.source, dotted(change.place), str(error.args[0])))
    if faults:
        raise RecipeError(faults)


def _apply(tree: dict[str, Any], change: Change) -> None:
    parent: Any = tree
    for depth, step in enumerate(change.place[:-1]):
        here = change.place[: depth + 1]
        child = _child(parent, step, here)
        if isinstance(child, str | int | float) and not isinstance(change.place[depth + 1], int):
            child = _opened(child, here)
            parent[step] = child
        if child is None:
            child = {}
            parent[step] = child
        parent = child
    last = change.place[-1]
    _child(parent, last, change.place)
    if is_light_setting(change.place[:-1]):
        for family in _FAMILIES:
            if last in family:
                for key in family:
                    parent.pop(key, None)
    parent[last] = change.value


def _child(parent: Any, step: str | int, place: Place) -> Any:
    above = dotted(place[:-1])
    if isinstance(step, int):
        if not isinstance(parent, list):
            raise LookupError(f"{above} is no list in this recipe")
        if step >= len(parent):
            raise LookupError(f"{above} has {len(parent)} entries, counted from 0")
        return parent[step]
    if not isinstance(parent, dict):
        hint = f"; name an entry, such as {above}[0]" if isinstance(parent, list) else ""
        raise LookupError(f"{above} is no table{hint}")
    return parent.get(step)


def _opened(value: Any, place: Place) -> dict[str, Any]:
    """Write a short form out as the table it stands for."""
    if is_light_setting(place):
        return {value: True} if value in ("on", "off") else {"stops": value}
    if place[-1] == "tone" and isinstance(value, str):
        return {"curve": value}
    if place[-1] == "meter" and value == "off":
        return {}
    raise LookupError(f"{dotted(place)} is a single value, no table")


def is_light_setting(place: Place) -> bool:
    """Whether a place is the setting of a light or group in a mood."""
    return len(place) == 4 and place[0] == "moods" and place[2] == "lights"
