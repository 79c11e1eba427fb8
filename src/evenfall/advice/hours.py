"""What a senior colleague would say of an hour that passes, before it is made."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from evenfall.recipe import Light, Recipe
from evenfall.recipe.between import jumps_between
from evenfall.recipe.sequence import Sequence
from evenfall.recipe.words.suggesting import joined

__all__ = ["hours_words", "notes_on_hours"]

_FAR_MINUTES, _FAR_DEGREES = 20.0, 5.0


def hours_words(sequence: Sequence) -> str:
    """Say what a sequence will make.

    Examples
    --------
    >>> from evenfall.recipe.sequence import Key
    >>> keys = (Key(mood="day", frame=1), Key(mood="dusk", frame=48), Key(mood="night", frame=72))
    >>> hours_words(Sequence(frames=72, keys=keys))
    '72 frames, 3 seconds at 24 a second: day at 1, dusk at 48, night at 72'
    >>> hours_words(Sequence(frames=24, keys=(keys[0], Key(mood="dusk", frame=24))))
    '24 frames, 1 second at 24 a second: day at 1, dusk at 24'
    """
    numbers = sequence.numbers
    seconds = f"{sequence.seconds:.1f}".removesuffix(".0")
    frames = f"{len(numbers)} frame{'s' if len(numbers) != 1 else ''}"
    lasting = f"{seconds} second{'s' if seconds != '1' else ''}"
    said = f"{frames}, {lasting} at {sequence.rate:g} a second"
    keys = ", ".join(
        f"{key.mood} at {frame:.1f}".removesuffix(".0") + (f" ({key.time})" if key.time else "")
        for key, frame in zip(sequence.keys, sequence.key_frames(), strict=True)
    )
    sun = ", sun and sky by the daylight model" if sequence.daylight is not None else ""
    return f"{said}: {keys}{sun}"


def notes_on_hours(recipe: Recipe) -> tuple[str, ...]:
    """Give cautions: what changes at once, and shadows of a sun rendered in few places."""
    sequence = recipe.model.sequence
    if sequence is None:
        return ()
    found = list(_jumps(recipe, sequence))
    for name, light in recipe.model.lights.items():
        if light.is_on_its_way:
            found.append(_on_its_way(name, light))
    return tuple(found)


def _jumps(recipe: Recipe, sequence: Sequence) -> Iterator[str]:
    pairs = zip(sequence.keys, sequence.keys[1:], sequence.key_frames()[1:], strict=False)
    for first, second, frame in pairs:
        looks = recipe.moods[first.mood].look, recipe.moods[second.mood].look
        jumps = jumps_between(*looks)
        if jumps and first.easing != "hold":
            yield (
                f"from {first.mood} to {second.mood}: {joined(jumps, 'and')} of the look cannot "
                f"change little by little, and change at once at frame {frame:g}"
            )


def _on_its_way(name: str, light: Light) -> str:
    places = light.places
    widest = max(abs(b - a) for a, b in pairwise(places))
    if light.times is not None:
        minutes = widest / 60
        apart, is_far = f"up to {minutes:.0f} minutes", minutes > _FAR_MINUTES
    else:
        apart, is_far = f"up to {widest:g} degrees", widest > _FAR_DEGREES
    note = (
        f"{name}: frames between its passes, {apart} apart, show two shadows that cross, each "
        "lighter, and not one that moves; the amount of light is right"
    )
    if is_far:
        note += (
            ". For shadows that seem to move, render the sun every few minutes: it goes by its own "
            "width, half a degree, in two"
        )
    return note
