"""Weights of the areas that a recipe names, with the files they need."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from evenfall.mix.areas import area_weights
from evenfall.recipe import Area, Recipe, ResolvedMood
from evenfall.recipe.words.suggesting import joined

__all__ = ["AbsentObjects", "weights_of"]

_MOST_NUMBERS = 8  # in a note


@dataclass(eq=False)
class AbsentObjects:
    """Object numbers that areas ask for and their files do not hold, as far as they were read."""

    _found: dict[Area, tuple[tuple[int, ...], tuple[int, ...]]] = field(default_factory=dict)

    def look(self, area: Area, numbers: npt.NDArray[np.integer[Any]]) -> None:
        """Look for an area's objects among the numbers of its file.

        Parameters
        ----------
        area : Area
            By object numbers.
        numbers : ndarray of int
            What the file holds, a number a pixel.
        """
        absent = tuple(number for number in area.id if not (numbers == number).any())
        if absent and area not in self._found:
            self._found[area] = absent, tuple(int(number) for number in np.unique(numbers))

    def notes(self, mood: ResolvedMood) -> tuple[str, ...]:
        """Say which regions of a mood have objects that are nowhere.

        Examples
        --------
        >>> from evenfall.develop.example import example_recipe
        >>> AbsentObjects().notes(example_recipe().moods["day"])
        ()
        """
        return tuple(
            f"moods.{mood.name}.regions[{number}].area: "
            f"{_absence(region.area, *found, _consequence(region.area, found[0]))}"
            for number, region in enumerate(mood.regions)
            if (found := self._found.get(region.area)) is not None
        )

    def among(self, area: Area) -> str:
        """Say which objects of an area are nowhere; empty when all were found.

        Examples
        --------
        >>> objects, area = AbsentObjects(), Area(ids="ids.exr", id=(7,))
        >>> objects.look(area, np.array([[0, 3]]))
        >>> objects.among(area)
        'object 7 is nowhere in ids.exr; it holds 0 and 3'
        """
        found = self._found.get(area)
        return "" if found is None else _absence(area, *found, "")


def _consequence(area: Area, absent: tuple[int, ...]) -> str:
    if len(absent) < len(area.id):
        return ", and only the others count"
    return ", so the region " + ("is the whole picture" if area.invert else "changes nothing")


def _absence(
    area: Area, absent: tuple[int, ...], present: tuple[int, ...], comes_of_it: str
) -> str:
    several = len(absent) > 1
    return (
        f"object{'s' if several else ''} {_listed(absent)} {'are' if several else 'is'} nowhere in "
        f"{area.ids}{comes_of_it}; it holds {_listed(present)}"
    )


def _listed(numbers: tuple[int, ...]) -> str:
    more = len(numbers) - _MOST_NUMBERS
    words = [str(number) for number in numbers[:_MOST_NUMBERS]]
    return joined([*words, f"{more} more"] if more > 0 else words, "and")


def weights_of(
    recipe: Recipe, area: Area, size: tuple[int, int], absent: AbsentObjects | None = None
) -> npt.NDArray[np.float32]:
    """Weights of an area over a view of this width and height; shape (H, W), 0 to 1.

    Parameters
    ----------
    recipe : Recipe
        Where files lie.
    area : Area
        One shape.
    size : tuple of int
        Width and height of the view.
    absent : AbsentObjects, optional
        Takes note of objects that are nowhere in their file.

    Raises
    ------
    PixelSourceError
        When a mask or object-id file cannot be read.
    """

    def read_channel(file: str, channel: str | None) -> npt.NDArray[Any]:
        from evenfall.passes.side.pictures import read_object_ids, read_weights

        if area.ids is None:
            return read_weights(recipe.beside(file), channel)
        numbers = read_object_ids(recipe.pass_path(file), channel)
        if absent is not None:
            absent.look(area, numbers)
        return numbers

    return area_weights(area, *size, read_channel)
