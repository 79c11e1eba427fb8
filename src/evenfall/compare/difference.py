"""One thing that is not what it was, in words; and how two parts of a recipe differ."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import zip_longest

from evenfall.recipe.base import Part
from evenfall.recipe.words.hints import shown
from evenfall.recipe.words.wording import stops_words

__all__ = ["NOTHING", "Difference", "part_differences"]

NOTHING = "nothing"


@dataclass(frozen=True)
class Difference:
    """One thing that is not what it was.

    Parameters
    ----------
    subject : str
        A light, or a value by its name.
    before, after : str
        What was, and what is.
    way : str
        How far apart they are, in words; empty where that says nothing.
    """

    subject: str
    before: str
    after: str
    way: str = ""

    def __str__(self) -> str:
        way = f" ({self.way})" if self.way else ""
        return f"{self.subject}: {self.before} -> {self.after}{way}"


def part_differences(name: str, one: object, other: object) -> Iterator[Difference]:
    """Say how two values of a recipe differ, key by key where both are tables of one kind.

    Parameters
    ----------
    name : str
        What they are called.
    one, other : object
        Parts of a recipe, lists and mappings of them, or plain values; None is nothing.

    Examples
    --------
    >>> from evenfall.recipe import Plate
    >>> one, other = Plate(file="dusk.jpg"), Plate(file="dusk.jpg", stops="-1/2")
    >>> [str(found) for found in part_differences("plate", one, other)]
    ['plate stops: 0 -> -1/2']
    >>> [str(found) for found in part_differences("plate", None, other)]
    ['plate: nothing -> file dusk.jpg, stops -1/2']
    """
    if one == other:
        return
    if isinstance(one, Part) and type(one) is type(other):
        for key in type(one).model_fields:
            yield from part_differences(_named(name, key), getattr(one, key), getattr(other, key))
    elif _holds_parts(one) or _holds_parts(other):
        pairs = zip_longest(one or (), other or ())  # type: ignore[call-overload]
        for number, (inner, outer) in enumerate(pairs, start=1):
            yield from part_differences(f"{name} {number}", inner, outer)
    elif isinstance(one, Mapping) and isinstance(other, Mapping):
        for key in dict.fromkeys((*other, *one)):
            yield from part_differences(_named(name, key), one.get(key), other.get(key))
    else:
        yield Difference(name, _words(name, one), _words(name, other))


def _holds_parts(value: object) -> bool:
    return isinstance(value, tuple) and any(isinstance(item, Part) for item in value)


def _named(name: str, key: str) -> str:
    return f"{name} {key.replace('_', ' ')}".strip()


def _words(name: str, value: object) -> str:
    if value is None:
        return NOTHING
    if isinstance(value, Part):
        said = [key for key in type(value).model_fields if key in value.model_fields_set]
        words = (f"{key.replace('_', ' ')} {_words(key, getattr(value, key))}" for key in said)
        return ", ".join(words) or "as usual"
    if isinstance(value, float):
        return stops_words(value) if name.endswith("stops") else f"{value:g}"
    return value if isinstance(value, str) else shown(value)
