"""The recipe of one frame of many, and that in which they are metered."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from evenfall.recipe.hour import at_frame, in_phase
from evenfall.recipe.recipe import Recipe
from evenfall.recipe.resolve import resolve_moods

__all__ = ["framed", "where_metered"]


def framed(
    recipe: Recipe, frame: int, *, hour: bool, first: int, metered: int | None, called: str = ""
) -> Recipe:
    """Give the recipe of one frame: its passes, and where a sequence stands then.

    It is what these one-off changes would give, without the file being checked again.

    Parameters
    ----------
    recipe : Recipe
        Of all frames.
    frame : int
        Number of the frame.
    hour : bool
        Whether the sequence goes by, and not the moods as they are.
    first : int
        Number of the first frame, in which grain and dither are those of a still.
    metered : int or None
        Frame in which exposure is measured; None: each for itrecipe.
    """
    changes: dict[str, int] = {}
    if recipe.has_frames:
        changes["passes.frame"] = frame
        if metered is not None:
            changes["passes.metered_frame"] = metered
    passes = {place.removeprefix("passes."): value for place, value in changes.items()}
    passes_model = recipe.model.passes.model_copy(update=passes)
    model, moods = recipe.model.model_copy(update={"passes": passes_model}), recipe.moods
    if hour:
        changes["sequence.frame"] = frame
        model, moods = at_frame(model, moods, frame)
    elif frame != first:
        changes["passes.first_frame"] = first
        moods = {name: in_phase(mood, frame - first) for name, mood in moods.items()}
    said = tuple(f"{place}={value}" for place, value in changes.items())
    found = replace(
        recipe,
        model=model,
        moods=moods,
        changes=(*recipe.changes, *said),
        number=frame,
        called=called,
    )
    found.__dict__["gathered"] = recipe.gathered  # of the same files
    return found


def where_metered(recipe: Recipe) -> Recipe | None:
    """Give the recipe in which exposure is measured and ratios are solved for this one.

    None where that is this one itrecipe.
    """
    passes, sequence = recipe.model.passes, recipe.model.sequence
    is_held = sequence is not None and sequence.frame is not None and sequence.meter == "held"
    metered = passes.metered_frame if passes.metered_frame is not None else passes.frame
    if not is_held and metered == passes.frame:
        return None
    changed: dict[str, Any] = {"passes": passes.model_copy(update={"frame": metered})}
    moods = recipe.moods
    if is_held and sequence is not None:
        changed["sequence"] = sequence.model_copy(update={"frame": None})
        moods, _ = resolve_moods(recipe.model)
    model = recipe.model.model_copy(update=changed)
    return replace(recipe, model=model, moods=moods, number=None)
