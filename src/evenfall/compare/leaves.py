"""The values of a part of a recipe, one by one, by names that can be read."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from evenfall.recipe.base import Part
from evenfall.recipe.words.hints import shown
from evenfall.recipe.words.wording import stops_words

__all__ = ["leaves"]


def leaves(part: Part, name: str = "") -> dict[str, str]:
    """Give every value of a part by its name, in words; what has no value is left out.

    Examples
    --------
    >>> from evenfall.recipe import Plate
    >>> leaves(Plate(file="dusk.jpg", stops="-1/2"), "plate")["plate stops"]
    '-1/2'
    """
    return dict(_leaves(part, name))


def _leaves(value: object, name: str) -> Iterator[tuple[str, str]]:
    if isinstance(value, Part):
        for key in type(value).model_fields:
            yield from _leaves(getattr(value, key), f"{name} {key}".replace("_", " ").strip())
    elif isinstance(value, tuple) and any(isinstance(item, Part) for item in value):
        for number, item in enumerate(value, start=1):
            yield from _leaves(item, f"{name} {number}")
    elif isinstance(value, Mapping):
        for key, item in value.items():
            yield from _leaves(item, f"{name} {key}".strip())
    elif value is not None:
        yield name, _words(name, value)


def _words(name: str, value: object) -> str:
    if isinstance(value, float):
        return stops_words(value) if name.endswith("stops") else f"{value:g}"
    return value if isinstance(value, str) else shown(value)
