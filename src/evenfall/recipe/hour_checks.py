"""What is wrong with a sequence, and with lights on their way."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from evenfall.recipe.clock import clock_seconds, frames_text
from evenfall.recipe.model import RecipeModel
from evenfall.recipe.places import Place
from evenfall.recipe.sequence import Key, Sequence
from evenfall.recipe.words.findings import Finding
from evenfall.recipe.words.hints import shown
from evenfall.recipe.words.suggesting import did_you_mean, joined

__all__ = ["check_hours"]


def check_hours(model: RecipeModel) -> Iterator[Finding]:
    """Find keys that are out of order, moods that are not there, and times that nobody says."""
    sequence = model.sequence
    if sequence is not None:
        yield from _name(model, sequence)
        yield from _moods(model, sequence)
        yield from _order(sequence)
        yield from _daylight(model, sequence)
    yield from _on_their_way(model)


def _name(model: RecipeModel, sequence: Sequence) -> Iterator[Finding]:
    name = sequence.name
    if name in model.moods:
        yield Finding(
            ("sequence", "name"), f"{shown(name)} is a mood too", hint="give the sequence another"
        )
    if not name or not name.isprintable() or set(name) & set('/\\:*?"<>|{}') or name[0] == ".":
        yield Finding(
            ("sequence", "name"),
            f"found the name {shown(name)}",
            "a name is letters, digits, spaces, '-', '_' or '.', as it also names files",
        )


def _moods(model: RecipeModel, sequence: Sequence) -> Iterator[Finding]:
    for number, key in enumerate(sequence.keys):
        if key.mood not in model.moods:
            hint = did_you_mean(key.mood, model.moods)
            known = "" if hint else f"known are {joined(model.moods, 'and')}"
            place = ("sequence", "keys", number, "mood")
            yield Finding(place, f"there is no mood called {shown(key.mood)}", known, hint)


def _order(sequence: Sequence) -> Iterator[Finding]:
    keys, place = sequence.keys, ("sequence", "keys")
    by_frame = [key.frame is not None for key in keys]
    by_time = [key.time is not None for key in keys]
    if not (all(by_frame) or (all(by_time) and not any(by_frame))) or (
        any(by_time) and not all(by_time)
    ):
        without = next(
            (n for n in range(len(keys)) if not (by_frame[n] if any(by_frame) else by_time[n])),
            by_time.index(False) if False in by_time else 0,
        )
        yield Finding(
            (*place, without),
            "is without what others have",
            "every key says frame, every key says time, or every key says both",
        )
        return
    for number, (key, after) in enumerate(pairwise(keys), 1):
        yield from _after(key, after, (*place, number))
    if all(by_frame):
        numbers = sequence.numbers
        for number, key in enumerate(keys):
            if not numbers[0] <= (key.frame or 0) <= numbers[-1]:
                yield Finding(
                    (*place, number, "frame"),
                    f"found frame {key.frame:g}",
                    f"the sequence has frames {frames_text(numbers)}",
                    "put the key inside it, or change sequence.frames",
                )


def _after(key: Key, after: Key, place: Place) -> Iterator[Finding]:
    if key.frame is not None and after.frame is not None and after.frame <= key.frame:
        yield Finding(
            (*place, "frame"),
            f"frame {after.frame:g} comes behind frame {key.frame:g}",
            "keys are in the order in which they are reached",
        )
    if key.time is None or after.time is None:
        return
    now, then = clock_seconds(key.time), clock_seconds(after.time)
    if then <= now:
        hour, rest = after.time.strip().split(":", 1)
        hint = ""
        if int(hour) + 24 <= 47:
            hint = f'after midnight hours run on: "{int(hour) + 24}:{rest}" is on the next day'
        found = f"{after.time} comes behind {key.time}"
        yield Finding(
            (*place, "time"), found, "keys are in the order in which they are reached", hint
        )


def _daylight(model: RecipeModel, sequence: Sequence) -> Iterator[Finding]:
    hours = sequence.daylight
    if hours is None:
        return
    known = (*model.lights, *model.groups)
    for part in ("sun", "sky"):
        name = getattr(hours, part)
        if name is not None and name not in known:
            hint = did_you_mean(name, known)
            place = ("sequence", "daylight", part)
            listed = "" if hint else f"known are {joined(known, 'and')}"
            yield Finding(place, f"there is no light or group called {shown(name)}", listed, hint)
    if any(key.time is None for key in sequence.keys):
        yield Finding(
            ("sequence", "daylight"),
            "the daylight model needs to know what time it is in each frame",
            "every key says time",
        )


def _on_their_way(model: RecipeModel) -> Iterator[Finding]:
    sequence, passes = model.sequence, model.passes
    has_times = sequence is not None and all(key.time is not None for key in sequence.keys)
    for name, light in model.lights.items():
        if light.times is not None and passes.time is None and not has_times:
            yield Finding(
                ("lights", name, "times"),
                "it is on its way, and nobody says what time it is",
                "passes.time, or a sequence whose keys say time",
                'say passes.time = "17:30" for stills',
            )
        by_sun = has_times and sequence is not None and sequence.daylight is not None
        if (
            light.sun_altitudes_degrees is not None
            and passes.sun_altitude_degrees is None
            and not by_sun
        ):
            yield Finding(
                ("lights", name, "sun_altitudes_degrees"),
                "it is on its way, and nobody says how high the sun stands",
                "passes.sun_altitude_degrees, or a sequence with daylight, whose keys say time",
                "say passes.sun_altitude_degrees = 30 for stills",
            )
