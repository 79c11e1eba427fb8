"""A recipe under revision: edits to its values, and what it comes to after each."""

from __future__ import annotations

import copy
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import groupby
from pathlib import Path
from typing import Any

from evenfall.errors import Fault, UsageError
from evenfall.recipe import Recipe
from evenfall.recipe.changes import put
from evenfall.recipe.inheriting import Gathered, gather
from evenfall.recipe.laying import is_whole
from evenfall.recipe.lights import MoodSetting
from evenfall.recipe.places import Place, dotted
from evenfall.recipe.reading import parse_toml
from evenfall.recipe.recipe import load_tree
from evenfall.recipe.shorthand import is_light_setting
from evenfall.recipe.writing import remove_value, set_values

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
    recipe : Recipe, optional
        What the text says, where that is known already.

    Raises
    ------
    RecipeError
        When the recipe is not sound.

    Attributes
    ----------
    tree : dict
        What the file itself says, with the edits so far.
    edits : list of (Place, object)
        What is put where, or taken out.
    """

    def __init__(self, text: str, path: Path, recipe: Recipe | None = None) -> None:
        self.text, self.path = text, path
        self.tree = parse_toml(text, str(path))
        before = gather(copy.deepcopy(self.tree), text, path)
        self.bases = {base.name: base.text for base in before.bases}
        self.edits: list[tuple[Place, Any]] = []
        self._recipe = recipe
        self._stands: Recipe | None = None
        self._gathered: Gathered | None = before

    @property
    def recipe(self) -> Recipe:
        """What the recipe comes to with the edits so far; a RecipeError when that is not sound."""
        if self._stands is not None:
            return self._stands
        if self._recipe is None:
            self._recipe = load_tree(
                copy.deepcopy(self.tree), self.text, self.path, check_files=False, bases=self.bases
            )
        return self._recipe

    @property
    def gathered(self) -> Gathered:
        """What the file says with the edits so far, and what it builds on."""
        if self._gathered is None:
            tree = copy.deepcopy(self.tree)
            self._gathered = gather(tree, self.text, self.path, known=self.bases)
        return self._gathered

    def put(self, place: Place, value: Any) -> None:
        """Put a value at a place; a gain or tint takes the place of the one that stood there."""
        place, value = self._whole(place, value)
        put(self.tree, place, copy.deepcopy(value), may_be_inherited=bool(self.bases))
        self._edited(place, value)

    def _whole(self, place: Place, value: Any) -> tuple[Place, Any]:
        """Give place and value of the inherited table around, where it counts only as a whole."""
        for depth in range(1, len(place) if self.bases else 0):
            above = place[:depth]
            if is_whole(above) and _at(self.tree, above) is None:
                table = copy.deepcopy(self.raw(above))
                if isinstance(table, dict):
                    put(table, place[depth:], value)
                    return above, table
        return place, value

    def _edited(self, place: Place, value: Any) -> None:
        self.edits.append((place, value))
        self._recipe = self._gathered = None

    def remove(self, place: Place) -> None:
        """Take out what stands at a place, and a light's entry that would be left empty."""
        above = _at(self.tree, place[:-1])
        if isinstance(above, dict) and place[-1] in above:
            del above[place[-1]]
            self._edited(place, REMOVED)
            if not above and is_light_setting(place[:-1]):
                del _at(self.tree, place[:-2])[place[-2]]
        spot = self.gathered.origins.inherited.get(place) if self.bases else None
        if spot is not None and self.raw(place) is not None:
            found = f"{dotted(place)} is said in {spot[0]}:{spot[1]}, for every view"
            raise UsageError(Fault("", "", found, hint="change it there"))

    def written(self) -> str:
        """Give the text with the edits; every other line as it stood.

        Raises
        ------
        UsageError
            When the text is laid out in a way that cannot be edited without harm.
        """
        text = self.text
        for is_removed, edits in groupby(self.edits, lambda edit: edit[1] is REMOVED):
            if is_removed:
                for place, _ in edits:
                    text = remove_value(text, place)
            else:
                text = set_values(text, list(edits))
        return text

    def raw(self, place: Place) -> Any:
        """Give what stands at a place as written, or is inherited; None for nothing."""
        return _at(self.gathered.tree if self.bases else self.tree, place)

    def own(self, place: Place) -> Any:
        """Give what the file itself says at a place; None for nothing."""
        return _at(self.tree, place)

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

    @property
    def places(self) -> list[Place]:
        """Where the edits put something else."""
        return list(dict.fromkeys(place for place, value in self.edits if value is not REMOVED))

    @contextmanager
    def at_once(self) -> Iterator[None]:
        """Edit without looking at what the recipe comes to in between: no edit needs another."""
        self._stands = self.recipe
        try:
            yield
        finally:
            self._stands = None

    @contextmanager
    def trial(self) -> Iterator[_Trial]:
        """Try edits; they are undone unless the trial is kept."""
        before = (copy.deepcopy(self.tree), list(self.edits), self._recipe, self._gathered)
        trial = _Trial()
        yield trial
        if not trial.kept:
            self.tree, self.edits, self._recipe, self._gathered = before


def _at(tree: Any, place: Place) -> Any:
    for step in place:
        if not isinstance(tree, dict) or step not in tree:
            return None
        tree = tree[step]
    return tree


class _Trial:
    """Whether what was tried is kept."""

    kept = False
