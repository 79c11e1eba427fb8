"""Recipes mangled at random: every one loads or is refused with faults, none crashes."""

from __future__ import annotations

import copy
import random
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from evenfall.errors import RecipeError
from evenfall.recipe import load
from evenfall.recipe.places import Place
from evenfall.recipe.toml_values import toml_text

ROUNDS = 150
SCRAPS = (
    '"', "{", "}", "[", "]", "=", ".", ",", "#", "\n", "1", "-", "nan", "stops", "[[x]]",
    "[moods.dusk]", '""', "é", "\\", "\x00", "'''", '"""', 'based_on = "dusk"\n', "mix",
)  # fmt: skip
VALUES: tuple[Any, ...] = (
    True, False, 0, -1, 3, 1e9, float("nan"), float("inf"), "", "sun", "dusk", "off", "none",
    "+1/3", [], [1], ["a"], {}, {"a": 1}, {"stops": 1}, [{}], [[]], {"file": "a"}, 10**400,
)  # fmt: skip


def places_of(value: Any, place: Place = ()) -> Iterator[Place]:
    yield place
    inner: list[tuple[str | int, Any]] = []
    if isinstance(value, dict):
        inner = list(value.items())
    elif isinstance(value, list):
        inner = list(enumerate(value))
    for step, item in inner:
        yield from places_of(item, (*place, step))


def mangled_text(text: str, rng: random.Random) -> str:
    signs = list(text)
    for _ in range(rng.choice((1, 1, 2, 5))):
        place = rng.randrange(len(signs))
        if rng.random() < 0.5:
            signs[place : place + rng.choice((1, 2, 5, 20))] = []
        else:
            signs.insert(place, rng.choice(SCRAPS))
    return "".join(signs)


def mangled_values(text: str, rng: random.Random) -> str:
    tree = tomllib.loads(text)
    for _ in range(rng.choice((1, 2, 4))):
        place = rng.choice([each for each in places_of(tree) if each])
        parent: Any = tree
        for step in place[:-1]:
            parent = parent[step]
        if rng.random() < 0.8:
            parent[place[-1]] = copy.deepcopy(rng.choice(VALUES))
        else:
            del parent[place[-1]]
    return "".join(f"{toml_text(key)} = {toml_text(value)}\n" for key, value in tree.items())


@pytest.mark.parametrize("mangled", [mangled_text, mangled_values])
@pytest.mark.parametrize("seed", [1, 2])
def test_a_mangled_recipe_loads_or_is_refused(
    write: Callable[..., Path],
    villa_text: str,
    mangled: Callable[[str, random.Random], str],
    seed: int,
) -> None:
    rng = random.Random(seed)
    refused = 0
    for _ in range(ROUNDS):
        path = write(mangled(villa_text, rng))
        try:
            load(path)
        except RecipeError as error:
            refused += 1
            for fault in error.faults:
                assert fault.found
                assert fault.line is None or fault.line >= 1
    assert refused > ROUNDS / 2
