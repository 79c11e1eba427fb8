"""Broken, odd and extreme recipes made of a sound one: each follows from its number alone."""

from __future__ import annotations

import copy
import math
import tomllib
from collections.abc import Callable, Iterator
from typing import Any

import numpy as np

__all__ = ["KINDS", "mutate_recipe"]

Rng = np.random.Generator
Tree = dict[str, Any]
Step = str | int

_ODD_TEXTS = (
    "", " ", "\0", "\x1b[31mred\x1b[0m", "a" * 3000, "caf\u00e9", "cafe\u0301", "\u202eexr.nus",
    "\ud7ff", "../../etc/passwd", "/dev/zero", "sun\nsky", "C:\\passes\\sun.exr", "{mood}", "####",
    "\u592a\u967d", "off", "on", "none", "true", "2700 K", "50%", "+1 EV", "f/8", "1/0",
    "nan", "inf",
)  # fmt: skip
_ODD_NUMBERS = (
    0, 1, -1, 2, 7, 255, 2**30, 2**31, 2**32, 2**63, 2**64, 10**30, 0.5, -0.5, 1e-300, -1e-300,
    5e-324, 1e-9, 1e9, 1e30, -1e30, 1e300, 1.7e308, math.inf, -math.inf, math.nan,
)  # fmt: skip
_LIMITS = ("ge", "gt", "le", "lt")
_OTHERS: tuple[Any, ...] = (True, False, [], {}, [[]], [1, 2, 3], [1.0, 0.9, 0.8], {"a": 1}, ["a"])


def mutate_recipe(number: int, run_seed: int, seeds: list[str]) -> tuple[str, str, str]:
    """Make recipe `number` of a run: the kind of its mutation, the seed's name, and its text."""
    rng = np.random.default_rng((run_seed, number))
    at = int(rng.integers(0, len(seeds)))
    kind = list(KINDS)[int(rng.integers(0, len(KINDS)))]
    return kind, f"recipe {at}", KINDS[kind](seeds[at], rng)


def _choice(rng: Rng, items: Any) -> Any:
    return items[int(rng.integers(0, len(items)))]


def _odd(rng: Rng) -> Any:
    return copy.deepcopy(_choice(rng, (*_ODD_TEXTS, *_ODD_NUMBERS, *_OTHERS)))


def _places(tree: Any, place: tuple[Step, ...] = ()) -> Iterator[tuple[Step, ...]]:
    if place:
        yield place
    if isinstance(tree, dict):
        for key, value in tree.items():
            yield from _places(value, (*place, key))
    elif isinstance(tree, list):
        for index, value in enumerate(tree):
            yield from _places(value, (*place, index))


def _parent(tree: Any, place: tuple[Step, ...]) -> Any:
    for step in place[:-1]:
        tree = tree[step]
    return tree


def _on_tree(change: Callable[[Tree, Rng], None]) -> Callable[[str, Rng], str]:
    def mutated(text: str, rng: Rng) -> str:
        tree = tomllib.loads(text)
        for _ in range(int(rng.choice([1, 1, 1, 2, 4]))):
            change(tree, rng)
        return written(tree)

    return mutated


def _value(tree: Tree, rng: Rng) -> None:
    """Put something odd in the place of a value."""
    place = _choice(rng, list(_places(tree)))
    _parent(tree, place)[place[-1]] = _odd(rng)


def _number(tree: Tree, rng: Rng) -> None:
    """Put another number in the place of a number."""
    numbers = [
        place
        for place in _places(tree)
        if isinstance(value := _parent(tree, place)[place[-1]], int | float)
        and not isinstance(value, bool)
    ]
    place = _choice(rng, numbers)
    _parent(tree, place)[place[-1]] = _choice(rng, _ODD_NUMBERS)


def _extreme(tree: Tree, rng: Rng) -> None:
    """Put a number at the edge of what the model takes there, or as far as there is no edge."""
    numbers = [
        place
        for place in _places(tree)
        if isinstance(value := _parent(tree, place)[place[-1]], int | float)
        and not isinstance(value, bool)
    ]
    place = _choice(rng, numbers)
    parent = _parent(tree, place)
    low, high, whole = _limits_at(place)
    ends = [-1e300 if low is None else low, 1e300 if high is None else high, 1e-300, 0]
    inside = [end for end in ends if (low is None or end >= low) and (high is None or end <= high)]
    end = _choice(rng, inside or [parent[place[-1]]])
    parent[place[-1]] = int(end) if whole and abs(end) < 2**63 else 2**62 if whole else float(end)


def _limits_at(place: tuple[Step, ...]) -> tuple[float | None, float | None, bool]:
    """Least and greatest number that the model takes at a place, and whether it is a whole one."""
    from evenfall.recipe.model import RecipeModel
    from evenfall.recipe.words.describing import _options, slots_at

    for slot in slots_at(place, RecipeModel):
        for option, metadata in _options(slot.annotation, slot.metadata):
            if option in (int, float):
                said: dict[str, float] = {}
                for item in metadata:
                    said |= {
                        name: limit
                        for name in _LIMITS
                        if (limit := getattr(item, name, None)) is not None
                    }
                low, high = said.get("ge"), said.get("le")
                if "gt" in said:
                    low = math.nextafter(said["gt"], math.inf)
                if "lt" in said:
                    high = math.nextafter(said["lt"], -math.inf)
                return low, high, option is int
    return None, None, False


def _scaled(tree: Tree, rng: Rng) -> None:
    """Multiply all numbers of a table, which may stay within what is legal."""
    place = _choice(rng, list(_places(tree)))
    inside = _parent(tree, place)[place[-1]]
    factor = float(rng.choice([0.5, -1, 1e-4, 1e4]))
    for inner in list(_places(inside)):
        parent = _parent(inside, inner)
        if isinstance(parent[inner[-1]], float):
            parent[inner[-1]] *= factor


def _removed(tree: Tree, rng: Rng) -> None:
    """Take a key or an entry out."""
    place = _choice(rng, list(_places(tree)))
    del _parent(tree, place)[place[-1]]
    if not tree:
        tree["format"] = 1


def _renamed(tree: Tree, rng: Rng) -> None:
    """Give a key another name: misspelt, a neighbour's, or an odd one."""
    keys = [place for place in _places(tree) if isinstance(place[-1], str)]
    place = _choice(rng, keys)
    parent, name = _parent(tree, place), str(place[-1])
    other = _choice(rng, (name[:-1], name.upper(), name + "s", str(_choice(rng, keys)[-1]),
                          _choice(rng, _ODD_TEXTS)))  # fmt: skip
    parent[other] = parent.pop(name)


def _moved(tree: Tree, rng: Rng) -> None:
    """Put a part of the recipe somewhere else."""
    places = list(_places(tree))
    source, target = _choice(rng, places), _choice(rng, places)
    value = copy.deepcopy(_parent(tree, source)[source[-1]])
    _parent(tree, target)[target[-1]] = value


def _grown(tree: Tree, rng: Rng) -> None:
    """Repeat an entry of a list, or a table under other names, many times."""
    places = [
        place for place in _places(tree) if isinstance(_parent(tree, place)[place[-1]], list | dict)
    ]
    place = _choice(rng, places)
    inside = _parent(tree, place)[place[-1]]
    many = int(rng.choice([3, 30, 150]))
    if isinstance(inside, list) and inside:
        inside *= many
    elif isinstance(inside, dict) and inside:
        key = _choice(rng, list(inside))
        for number in range(many):
            inside[f"{key}_{number}"] = copy.deepcopy(inside[key])


def _nested(text: str, rng: Rng) -> str:
    """Nest lists, tables or keys deeply."""
    deep = int(rng.choice([20, 60, 200, 400, 500, 3000]))
    lines = (
        f"title = {'[' * deep}{']' * deep}\n",
        f"{'.'.join(['a'] * deep)} = 1\n",
        f"title = {'{a = ' * deep}1{'}' * deep}\n",
    )
    if rng.random() < 0.3:
        return text + f"\n[{'.'.join(['a'] * deep)}]\n"
    return _choice(rng, lines) + text


def _long(text: str, rng: Rng) -> str:
    """Say something at very great length."""
    size = int(rng.choice([1_000, 65_000, 1_000_000]))
    key = _choice(rng, ("title", "author", "copyright", "view", "studio"))
    return f'project.{key} = "{_choice(rng, ("a", "ä", "日")) * size}"\n' + text.replace(
        "[project]", "[unknown]"
    )


def _bytes(text: str, rng: Rng) -> str:
    """Change a few signs."""
    signs = list(text)
    for place in rng.integers(0, len(signs), rng.integers(1, 6)):
        signs[place] = _choice(rng, "[]{}\"'=,.#\n\t\\ \0\x1b\u202eä1aZ-+:")
    return "".join(signs)


def _lines(text: str, rng: Rng) -> str:
    """Lose, repeat, exchange or join lines."""
    lines = text.split("\n")
    first, second = (int(index) for index in rng.integers(0, len(lines), 2))
    match int(rng.integers(0, 4)):
        case 0:
            del lines[min(first, second) : max(first, second) + 1]
        case 1:
            lines[first:first] = lines[second : second + 3]
        case 2:
            lines[first], lines[second] = lines[second], lines[first]
        case _:
            lines[first] += lines[second]
    return "\n".join(lines)


def _cut(text: str, rng: Rng) -> str:
    """Cut the end off."""
    return text[: int(rng.integers(0, len(text)))]


KINDS: dict[str, Callable[[str, Rng], str]] = {
    "value": _on_tree(_value),
    "number": _on_tree(_number),
    "extreme": _on_tree(_extreme),
    "extreme again": _on_tree(_extreme),
    "numbers scaled": _on_tree(_scaled),
    "removed": _on_tree(_removed),
    "renamed": _on_tree(_renamed),
    "moved": _on_tree(_moved),
    "grown": _on_tree(_grown),
    "nested": _nested,
    "long": _long,
    "signs": _bytes,
    "lines": _lines,
    "cut": _cut,
}


def written(value: Any, *, top: bool = True) -> str:
    """Write a tree as TOML: a line a key, tables in braces."""
    if top:
        return "".join(f"{_key(key)} = {written(item, top=False)}\n" for key, item in value.items())
    if isinstance(value, dict):
        inside = ", ".join(
            f"{_key(key)} = {written(item, top=False)}" for key, item in value.items()
        )
        return "{ " + inside + " }"
    if isinstance(value, list):
        return "[" + ", ".join(written(item, top=False) for item in value) + "]"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return _key(value, always=True)
    if isinstance(value, float):
        return {math.inf: "inf", -math.inf: "-inf"}.get(
            value, "nan" if math.isnan(value) else repr(value)
        )
    return str(value)


def _key(text: str, *, always: bool = False) -> str:
    if text.isascii() and text.replace("_", "a").replace("-", "a").isalnum() and not always:
        return text
    escaped = "".join(
        sign if sign.isprintable() and sign not in '"\\' else f"\\u{ord(sign):04x}" for sign in text
    )
    return f'"{escaped}"'
