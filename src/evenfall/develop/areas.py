"""Weights of the areas that a recipe names, with the files they need."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from evenfall.develop.shelf import Shelf
from evenfall.mix.areas import area_weights
from evenfall.recipe import Area, Recipe, ResolvedMood
from evenfall.recipe.places import dotted
from evenfall.recipe.words.suggesting import joined

__all__ = ["Areas"]

Floats = npt.NDArray[np.float32]
_MOST_NUMBERS = 8  # in a note


class Areas:
    """Weights of areas over a view of one size, and which of their objects are nowhere.

    Parameters
    ----------
    recipe : Recipe
        Where files lie.
    size : tuple of int
        Width and height of the view.
    shelf : Shelf
        Where weights are kept for the next who asks.

    Examples
    --------
    >>> from evenfall.develop.example import example_recipe
    >>> areas = Areas(example_recipe(), (4, 2), Shelf())
    >>> areas.weights(Area(rectangle=(0, 0, 0.5, 1)))[0].tolist()
    [1.0, 1.0, 0.0, 0.0]
    """

    def __init__(self, recipe: Recipe, size: tuple[int, int], shelf: Shelf) -> None:
        self.recipe, self.size = recipe, size
        self._shelf = shelf
        self._absent: dict[Area, _Absence] = {}

    def weights(self, area: Area) -> Floats:
        """Weights of an area; shape (H, W), 0 to 1.

        Raises
        ------
        PixelSourceError
            When a mask or object-id file cannot be read.
        """
        key = "weights", self.recipe.path.parent, self.recipe.pass_path(area.ids or ""), area
        weights, absence = self._shelf.get(
            (*key, self.size), lambda: self._read(area), lambda made: made[0].nbytes
        )
        if absence is not None:
            self._absent[area] = absence
        return weights

    def _read(self, area: Area) -> tuple[Floats, _Absence | None]:
        found: list[_Absence] = []

        def read_channel(file: str, channel: str | None) -> npt.NDArray[Any]:
            from evenfall.passes.side.pictures import read_object_ids, read_weights

            if area.ids is None:
                return read_weights(self.recipe.beside(file), channel)
            numbers = read_object_ids(self.recipe.pass_path(file), channel)
            absent = tuple(number for number in area.id if not (numbers == number).any())
            if absent:
                found.append(_Absence(absent, tuple(int(n) for n in np.unique(numbers))))
            return numbers

        weights = area_weights(area, *self.size, read_channel)
        return weights, found[0] if found else None

    def notes(self, mood: ResolvedMood) -> tuple[str, ...]:
        """Say which regions of a mood have objects that are nowhere, as far as files were read."""
        return tuple(
            f"{dotted(('moods', mood.name, 'regions', number, 'area'))}: "
            f"{_in_words(region.area, found, _consequence(region.area, found.objects))}"
            for number, region in enumerate(mood.regions)
            if (found := self._absent.get(region.area)) is not None
        )

    def absent(self, area: Area) -> str:
        """Say which objects of an area are nowhere; empty when all were found."""
        found = self._absent.get(area)
        return "" if found is None else _in_words(area, found, "")


@dataclass(frozen=True)
class _Absence:
    """Objects that an area asks for and its file does not hold, and those it holds."""

    objects: tuple[int, ...]
    present: tuple[int, ...]


def _consequence(area: Area, absent: tuple[int, ...]) -> str:
    if len(absent) < len(area.id):
        return ", and only the others count"
    return ", so the region " + ("is the whole picture" if area.invert else "changes nothing")


def _in_words(area: Area, found: _Absence, comes_of_it: str) -> str:
    several = len(found.objects) > 1
    return (
        f"object{'s' if several else ''} {_numbers(found.objects)} {'are' if several else 'is'} "
        f"nowhere in {area.ids}{comes_of_it}; it holds {_numbers(found.present)}"
    )


def _numbers(numbers: tuple[int, ...]) -> str:
    return joined(map(str, numbers), "and", most=_MOST_NUMBERS)
