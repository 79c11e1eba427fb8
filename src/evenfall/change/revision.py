"""A recipe under revision: edits to its values, and what it comes to after each."""

from __future__ import annotations

import copy
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from evenfall.recipe import Recipe
from evenfall.recipe.changes import put
from evenfall.recipe.lights import MoodSetting
from evenfall.recipe.places import Place
from evenfall.recipe.reading import parse_toml
from evenfall.recipe.recipe import load_tree
from evenfall.recipe.shorthand import is_light_setting
from evenfall.recipe.writing import remove_value, set_value

__all__ = ["Revision"]

REMOVED = object()


class Revision:
    """Edits that are gathered before any is written.

    Parameters
    ----------
    text : str
        The recipe as it stands.
    path : Path
        Its file.

    Raises
    ------
    RecipeError
        When the recipe is not sound.
    """

    def __init__(self, text: str, path: Path) -> None:
        self.text, self.path = text, path
        self.tree = parse_toml(text, str(path))
        self.edits: list[tuple[Place, Any]] = []
        self._recipe: Recipe | None = None

    @property
    def recipe(self) -> Recipe:
        """What the recipe comes to with the edits so far; a RecipeError when that is not sound."""
        if self._recipe is None:
            self._recipe = load_tree(
                copy.deepcopy(self.tree), self.text, self.path, check_files=False
            )
        return self._recipe

    def put(self, place: Place, value: Any) -> None:
        """Put a value at a place; a gain or tint takes the place of the one that stood there."""
        put(self.tree, place, copy.deepcopy(value))
        self.edits.append((place, value))
        self._recipe = None

    def remove(self, place: Place) -> None:
        """Take out what stands at a place, and a light's entry that would be left empty."""
        above = self.raw(place[:-1])
        if not isinstance(above, dict) or place[-1] not in above:
            return
        del above[place[-1]]
        self.edits.append((place, REMOVED))
        self._recipe = None
        if not above and is_light_setting(place[:-1]):
            del self.raw(place[:-2])[place[-2]]

    def written(self) -> str:
        """Give the text with the edits; every other line as it stood.

        Raises
        ------
        UsageError
            When the text is laid out in a way that cannot be edited without harm.
        """
        text = self.text
        for place, value in self.edits:
            text = remove_value(text, place) if value is REMOVED else set_value(text, place, value)
        return text

    def raw(self, place: Place) -> Any:
        """Give what stands at a place as written; None for nothing."""
        value: Any = self.tree
        for step in place:
            if not isinstance(value, dict) or step not in value:
                return None
            value = value[step]
        return value

    def entry(self, mood: str, name: str) -> MoodSetting | None:
        """Give what a mood itself says of a light or group."""
        return self.recipe.model.moods[mood].lights.get(name)

    def governing(self, mood: str, light: str, keys: tuple[str, ...]) -> str | None:
        """Name the mood's own entry that decides over a light where one of these keys is said."""
        own = self.recipe.model.moods[mood].lights
        said = [
            name
            for name, setting in own.items()
            if setting.model_fields_set.intersection(keys) and light in self.recipe.members(name)
        ]
        return light if light in said else said[-1] if said else None

    @contextmanager
    def trial(self) -> Iterator[_Trial]:
        """Try edits; they are undone unless the trial is kept."""
        before = (copy.deepcopy(self.tree), list(self.edits), self._recipe)
        trial = _Trial()
        yield trial
        if not trial.kept:
            self.tree, self.edits, self._recipe = before


class _Trial:
    """Whether what was tried is kept."""

    kept = False
