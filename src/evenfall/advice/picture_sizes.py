"""Sizes of a recipe's deliverables, and of the parts of the passes that they show."""

from __future__ import annotations

from evenfall.advice.facts import FrameFacts
from evenfall.deliver.frame import frame_of
from evenfall.errors import OutputError
from evenfall.recipe import Recipe

__all__ = ["frame_facts"]


def frame_facts(recipe: Recipe, size: tuple[int, int]) -> list[FrameFacts]:
    """Work out the size of every deliverable that can be made.

    Parameters
    ----------
    recipe : Recipe
        Its deliverables.
    size : tuple of int
        Width and height of the passes.

    Examples
    --------
    >>> from evenfall.develop.example import example_recipe
    >>> frame_facts(example_recipe(), (48, 32))
    [FrameFacts(number=0, width=48, height=32, part_width=48, part_height=32)]
    """
    facts = []
    for number, deliverable in enumerate(recipe.model.deliverables):
        try:
            frame = frame_of(deliverable, *size)
        except OutputError:  # a run says so
            continue
        part_width, part_height = frame.right - frame.left, frame.bottom - frame.top
        facts.append(FrameFacts(number, frame.width, frame.height, part_width, part_height))
    return facts
