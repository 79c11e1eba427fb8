"""A frame of a sequence as a mood."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from evenfall.recipe.between import (
    look_between,
    overlays_between,
    plates_between,
    regions_between,
)
from evenfall.recipe.look import Look
from evenfall.recipe.model import RecipeModel
from evenfall.recipe.resolve import Between, ResolvedMood
from evenfall.recipe.sequence import Sequence

__all__ = ["at_frame", "at_its_frame", "in_phase"]

_SEEDS = 2**30


def at_frame(
    model: RecipeModel, moods: Mapping[str, ResolvedMood], frame: int
) -> tuple[RecipeModel, dict[str, ResolvedMood]]:
    """Give model and moods of a recipe for one frame of its sequence.

    The frame is a mood of its own, beside the others; sun and sky of the daylight model stand as
    they do at its time of day in all of them.
    """
    sequence = model.sequence
    assert sequence is not None  # asked of a recipe that has one
    seconds, hours = sequence.seconds_at(frame), sequence.daylight
    found = dict(moods)
    if hours is not None and seconds is not None:
        daylight = hours.daylight_at(seconds)
        found = {name: replace(mood, daylight=daylight) for name, mood in moods.items()}
    model = model.model_copy(update={"sequence": sequence.model_copy(update={"frame": frame})})
    found[sequence.name] = _mood(sequence, frame, found)
    return model, found


def at_its_frame(
    model: RecipeModel, moods: Mapping[str, ResolvedMood]
) -> tuple[RecipeModel, Mapping[str, ResolvedMood]]:
    """Let the frame of a sequence be a mood, and grain and dither move on, where one is set."""
    sequence, passes = model.sequence, model.passes
    if sequence is not None and sequence.frame is not None:
        return at_frame(model, moods, sequence.frame)
    if passes.first_frame is not None and passes.frame is not None:
        phase = passes.frame - passes.first_frame
        return model, {name: in_phase(mood, phase) for name, mood in moods.items()}
    return model, moods


def in_phase(mood: ResolvedMood, phase: int) -> ResolvedMood:
    """Give a mood so many frames after the first: grain and dither are others in each."""
    if phase == 0:
        return mood
    return replace(mood, look=_moved_on(mood.look, phase), phase=phase)


def _mood(sequence: Sequence, frame: int, moods: Mapping[str, ResolvedMood]) -> ResolvedMood:
    place = sequence.place(frame)
    first, second = (moods[sequence.keys[key].mood] for key in (place.first, place.second))
    plates = plates_between(first.plate, second.plate, place.share)
    nearer = first if place.share < 0.5 else second
    mood = replace(
        first,
        name=sequence.name,
        title=sequence.title or sequence.name,
        time_of_day=nearer.time_of_day,
        look=look_between(first.look, second.look, place.share),
        plate=plates[0][0] if plates else None,
        plates=plates,
        overlays=overlays_between(first.overlays, second.overlays, place.share),
        regions=regions_between(first.regions, second.regions, place.share),
        between=Between(first.name, second.name, place.share),
        counted_exposure=None,
    )
    return in_phase(mood, sequence.phase(frame))


def _moved_on(look: Look, phase: int) -> Look:
    grain = look.grain
    if grain.strength == 0:
        return look
    seed = (grain.seed + phase) % _SEEDS
    return look.model_copy(update={"grain": grain.model_copy(update={"seed": seed})})
