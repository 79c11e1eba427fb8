"""Sizes of deliverables, and of the parts of the passes that they show; advice on enlarging."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from evenfall.advice.facts import FrameFacts
from evenfall.deliver.frame import frame_of
from evenfall.errors import Advice, OutputError
from evenfall.recipe import Recipe
from evenfall.recipe.places import dotted

__all__ = ["advise_on_sizes", "enlarged", "frame_facts"]

_ENLARGED = 1.05  # less is not seen


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


def advise_on_sizes(recipe: Recipe, frames: Sequence[FrameFacts]) -> list[Advice]:
    """Give the advice of `enlarged`, without what the recipe silences."""
    return [] if "enlarged" in recipe.model.silence else list(enlarged(recipe, frames))


def enlarged(recipe: Recipe, frames: Sequence[FrameFacts]) -> Iterator[Advice]:
    """Tell of deliverables that are larger than the part of the passes that they show."""
    for frame in frames:
        if frame.enlargement <= _ENLARGED:
            continue
        paper = recipe.model.deliverables[frame.number].print
        helps = f"render larger, or ask for a width of {frame.part_width} at the most"
        if paper is not None:
            detail = paper.dpi / frame.enlargement
            helps = (
                f"the passes give {detail:.0f} dpi on {paper.width_mm:g} mm; render larger or "
                "print smaller: 300 dpi for the hand, 150 for a wall (common practice)"
            )
        yield Advice(
            "enlarged",
            dotted(("deliverables", frame.number)),
            f"{frame.width} x {frame.height} pixels are made of {frame.part_width} x "
            f"{frame.part_height}: enlarged {frame.enlargement:.1f} times",
            f"an enlarged picture gains no detail; {helps}",
        )
