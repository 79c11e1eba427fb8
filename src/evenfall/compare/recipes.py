"""What differs between two recipes, in words: mood by mood, then what all moods share."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from evenfall.compare.difference import Difference, part_differences
from evenfall.compare.moods import mood_differences
from evenfall.recipe import Recipe

__all__ = ["RecipeDifferences", "recipe_differences"]


@dataclass(frozen=True)
class RecipeDifferences:
    """What differs between two recipes.

    Parameters
    ----------
    added, removed : tuple of str
        Moods that only the second or only the first has.
    moods : mapping of str to tuple of Difference
        By mood that both have; only those that differ.
    shared : tuple of Difference
        Passes, lights as rendered, deliverables and what else belongs to no mood.
    """

    added: tuple[str, ...]
    removed: tuple[str, ...]
    moods: Mapping[str, tuple[Difference, ...]]
    shared: tuple[Difference, ...]

    @property
    def any(self) -> bool:
        """Whether there is a difference."""
        return bool(self.added or self.removed or self.moods or self.shared)

    def lines(self) -> list[str]:
        """Everything as lines of text.

        Examples
        --------
        >>> from evenfall.develop.example import example_recipe
        >>> recipe = example_recipe()
        >>> recipe_differences(recipe, recipe).lines()
        []
        """
        return [
            *(f"{mood}: is new" for mood in self.added),
            *(f"{mood}: is gone" for mood in self.removed),
            *(f"{mood}: {one}" for mood, some in self.moods.items() for one in some),
            *(str(one) for one in self.shared),
        ]


def recipe_differences(before: Recipe, after: Recipe) -> RecipeDifferences:
    """Say what differs between two recipes, with inheritance applied.

    Parameters
    ----------
    before, after : Recipe
        Their files need not be there.
    """
    both = [mood for mood in after.moods if mood in before.moods]
    found = {mood: mood_differences(before, after, mood) for mood in both}
    return RecipeDifferences(
        added=tuple(mood for mood in after.moods if mood not in before.moods),
        removed=tuple(mood for mood in before.moods if mood not in after.moods),
        moods={mood: some for mood, some in found.items() if some},
        shared=tuple(_shared(before, after)),
    )


def _shared(before: Recipe, after: Recipe) -> Iterator[Difference]:
    one, other = before.model, after.model
    yield from part_differences("light", one.lights, other.lights)
    for key in ("passes", "project", "deliverables", "sheet", "draft"):
        name = "deliverable" if key == "deliverables" else key
        yield from part_differences(name, getattr(one, key), getattr(other, key))
