"""What each key of the recipe takes, in words, read off the model.

Faults and the reference both speak from here, so that neither can drift from the model.
"""

from __future__ import annotations

import types
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic.fields import FieldInfo

from evenfall.recipe.base import OrNone, Part, Takes
from evenfall.recipe.places import Place
from evenfall.recipe.words.suggesting import joined

__all__ = ["Slot", "kinds_at", "parts_at", "slot_at", "slots_at", "takes"]

_SPELLED = {2: "two", 3: "three", 4: "four"}


@dataclass(frozen=True)
class Slot:
    """One thing that the model has room for: an annotation, and the field it belongs to."""

    annotation: Any
    metadata: tuple[Any, ...] = ()
    field: FieldInfo | None = None

    @property
    def takes(self) -> str:
        """What goes there, in words."""
        return takes(self.annotation, self.metadata)

    @property
    def is_described(self) -> bool:
        """Whether what goes there is put into words of its own, beyond its type."""
        options = _options(self.annotation, self.metadata)
        return any(isinstance(item, Takes) for _, metadata in options for item in metadata)

    @property
    def description(self) -> str:
        """What it means."""
        return (self.field.description or "") if self.field else ""


def slots_at(place: Place, top: type[Part]) -> list[Slot]:
    """Everything the model has room for at a place; several when there are alternatives."""
    slots = [Slot(top)]
    for step in place:
        slots = [inner for slot in slots for inner in _inside(slot, step)]
    return slots


def slot_at(place: Place, top: type[Part]) -> Slot | None:
    """First of `slots_at`, or None when the model knows no such place."""
    return next(iter(slots_at(place, top)), None)


def kinds_at(place: Place, top: type[Part]) -> list[Any]:
    """Return every plain annotation of what a place may hold, unions taken apart."""
    return [
        option
        for slot in slots_at(place, top)
        for option, _ in _options(slot.annotation, slot.metadata)
    ]


def parts_at(place: Place, top: type[Part]) -> list[type[Part]]:
    """Return the classes of table that a place may hold."""
    kinds = kinds_at(place, top)
    return [kind for kind in kinds if isinstance(kind, type) and issubclass(kind, Part)]


def _inside(slot: Slot, step: str | int) -> Iterator[Slot]:
    for option, _ in _options(slot.annotation, slot.metadata):
        origin, arguments = get_origin(option), get_args(option)
        if isinstance(step, int):
            if origin is tuple and arguments:
                many = len(arguments) == 2 and arguments[1] is Ellipsis
                if many or step < len(arguments):
                    yield Slot(arguments[0 if many else step], field=slot.field)
        elif isinstance(option, type) and issubclass(option, Part):
            field = option.model_fields.get(step)
            if field is not None:
                yield Slot(field.annotation, tuple(field.metadata), field)
        elif origin is dict:
            yield Slot(arguments[1], field=slot.field)


def _options(annotation: Any, metadata: tuple[Any, ...]) -> Iterator[tuple[Any, tuple[Any, ...]]]:
    """Alternatives of a union, one after the other, each with the limits set on it."""
    origin = get_origin(annotation)
    if origin is Annotated:
        base, *more = get_args(annotation)
        yield from _options(base, (*metadata, *_flat(more)))
    elif origin in (Union, types.UnionType):
        for option in get_args(annotation):
            if option is not type(None):
                yield from _options(option, metadata)
    else:
        yield annotation, metadata


def _flat(metadata: Iterable[Any]) -> Iterator[Any]:
    for item in metadata:
        if isinstance(item, FieldInfo):
            yield from item.metadata
        else:
            yield item


def takes(annotation: Any, metadata: tuple[Any, ...] = ()) -> str:
    """Say in words what an annotation takes.

    Examples
    --------
    >>> takes(Literal["black", "neighbours"] | None)
    '"black" or "neighbours"'
    >>> takes(tuple[float, float])
    'a list of two numbers'
    """
    said = [item.text for item in metadata if isinstance(item, Takes)]
    if said:
        return said[-1]
    if any(isinstance(item, OrNone) for item in metadata):
        others = tuple(item for item in metadata if not isinstance(item, OrNone))
        return f'{takes(annotation, others)} or "none"'
    if get_origin(annotation) is Annotated:
        base, *more = get_args(annotation)
        return takes(base, (*metadata, *_flat(more)))
    if get_origin(annotation) in (Union, types.UnionType):
        options = [option for option in get_args(annotation) if option is not type(None)]
        return joined(dict.fromkeys(takes(option, metadata) for option in options))
    return _plain(annotation, metadata)


def _plain(annotation: Any, metadata: tuple[Any, ...]) -> str:
    origin, arguments = get_origin(annotation), get_args(annotation)
    if origin is Literal:
        return joined(_literal(value) for value in arguments)
    if origin is tuple:
        return _list(arguments)
    if origin is dict:
        inner = takes(arguments[1])
        return "tables by name" if inner == "a table" else f"by name: {inner}"
    if isinstance(annotation, type) and issubclass(annotation, Part):
        return "a table"
    words = {float: "a number", int: "a whole number", bool: "true or false", str: "text"}
    return words[annotation] + _limits(metadata) + _length(metadata)


def _literal(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    return f'"{value}"' if isinstance(value, str) else str(value)


def _list(arguments: tuple[Any, ...]) -> str:
    many = len(arguments) == 2 and arguments[1] is Ellipsis
    one = takes(arguments[0])
    if many:
        if one.startswith('"'):
            return f"a list of any of {one}"
        several = {"text": "texts", "a table": "tables", "a whole number": "whole numbers"}
        return f"a list of {several.get(one, one)}"
    numbers = one.replace("a number", "numbers", 1)
    return f"a list of {_SPELLED[len(arguments)]} {numbers}"


def _limits(metadata: tuple[Any, ...]) -> str:
    limits: dict[str, float] = {}
    for item in metadata:
        for name in ("ge", "gt", "le", "lt"):
            if getattr(item, name, None) is not None:
                limits[name] = getattr(item, name)
    low = _low(limits)
    if "le" in limits:
        high = f" {'to' if 'ge' in limits else 'up to'} {_number(limits['le'])}"
        return low + ("," + high if "gt" in limits else high)
    if "lt" in limits:
        return f"{low} to below {_number(limits['lt'])}"
    return low + (" or more" if "ge" in limits else "")


def _length(metadata: tuple[Any, ...]) -> str:
    longest = [item.max_length for item in metadata if getattr(item, "max_length", None)]
    return f" of up to {longest[0]:,} signs" if longest else ""


def _low(limits: dict[str, float]) -> str:
    if "ge" not in limits:
        return f" above {_number(limits['gt'])}" if "gt" in limits else ""
    preposition = "from" if {"le", "lt"} & limits.keys() else "of"
    return f" {preposition} {_number(limits['ge'])}"


def _number(limit: float) -> str:
    return str(int(limit)) if float(limit).is_integer() else f"{limit:g}"
