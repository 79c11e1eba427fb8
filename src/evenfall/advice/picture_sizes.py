"""Sizes of a recipe's deliverables, and of the parts of the passes that they show."""

from __future__ import annotations

from evenfall.advice.facts import FrameFacts
from evenfall.deliver.frame import frame_of
from evenfall.errors import OutputError
from evenfall.recipe import Recipe

__all__ = ["frame_facts"]


def frame_facts(
    recipe: Recipe, size: tuple[int, int], pixel_aspect: float = 1.0
) -> list[FrameFacts]:
    """Work out the size of every deliverable that can be made.

    Parameters
    ----------
    recipe : Recipe
        Its deliverables.
    size : tuple of int
        Width and height of the passes.
    pixel_aspect : float
        Width over height of their pixels; parts are told in square ones where deliverables are.

    Examples
    --------
    >>> from evenfall.develop.example import example_recipe
    >>> frame_facts(example_recipe(), (48, 32))
    [FrameFacts(number=0, width=48, height=32, part_width=48, part_height=32)]
    """
    facts = []
    for number, deliverable in enumerate(recipe.model.deliverables):
        try:
            frame = frame_of(deliverable, *size, pixel_aspect)
        except OutputError:  # a run says so
            continue
        stretch = pixel_aspect / frame.pixel_aspect
        part_width = round((frame.right - frame.left) * max(1.0, stretch))
        part_height = round((frame.bottom - frame.top) / min(1.0, stretch))
        facts.append(FrameFacts(number, frame.width, frame.height, part_width, part_height))
    return facts
