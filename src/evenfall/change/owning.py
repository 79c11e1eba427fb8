"""What a mood inherits, made its own; and what is its own, let go again."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from evenfall.change.dials import Dial, put_dial, reading
from evenfall.change.figures import number_value, stops_value
from evenfall.change.gains import GAINS, put_gain
from evenfall.change.keeping import gain_as_it_stands
from evenfall.change.revision import Revision
from evenfall.change.tints import set_tints
from evenfall.compare.standing import stand, tint_of
from evenfall.errors import Fault, UsageError
from evenfall.recipe.gains import Counted
from evenfall.recipe.tints import TINT_KEYS

__all__ = ["let_go", "own_dial", "own_gain", "own_tint"]


def own_gain(text: str, path: Path, mood: str, lights: Sequence[str]) -> str:
    r"""Write into a mood how strong lights are there, so that it stays when another mood changes.

    Raises
    ------
    RecipeError, UsageError
        When the recipe is not sound, or a gain is solved in another mood.

    Examples
    --------
    >>> from evenfall.develop.example import example_recipe
    >>> path = example_recipe().path
    >>> "sun = \"on\"" in own_gain(path.read_text(), path, "day", ["sun"])
    True
    """
    revision = Revision(text, path)
    for light in lights:
        setting = revision.recipe.moods[mood].lights[light]
        if not isinstance(setting.gain, Counted):
            put_gain(revision, mood, light, gain_as_it_stands(setting))
            continue
        stood = stand(revision.recipe, mood, light)
        if stood.anchor != "render":
            found = f"how strong {light} is counts from another mood, which solves it"
            raise UsageError(Fault("", "", found, hint="give it a gain instead"))
        put_gain(revision, mood, light, {"stops": stops_value(stood.stops)})
    return revision.written()


def own_tint(text: str, path: Path, mood: str, lights: Sequence[str]) -> str:
    """Write into a mood what colour lights have there.

    Raises
    ------
    RecipeError, UsageError
        When the recipe is not sound, or its text cannot be edited there.
    """
    revision = Revision(text, path)
    for light in lights:
        tint = tint_of(revision.recipe.moods[mood].lights[light])
        name = light if revision.entry(mood, light) is not None else None
        if revision.governing(mood, light, TINT_KEYS) is None:
            for key, value in (tint or {"mired_shift": 0}).items():
                place = ("moods", mood, "lights", name or light, key)
                revision.put(place, number_value(value) if isinstance(value, float) else value)
        else:
            set_tints(revision, mood, light, {light: tint})
    return revision.written()


def own_dial(text: str, path: Path, mood: str, dial: Dial) -> str:
    """Write a value of the camera or the look into a mood.

    Raises
    ------
    RecipeError, UsageError
        When the recipe is not sound, or the mood has no such value.
    """
    revision = Revision(text, path)
    value = reading(revision.recipe.moods[mood], dial)
    if value is None:
        raise UsageError(Fault("", "", f"{dial.name} has no value in {mood}"))
    written = stops_value(value) if dial.kind == "stops" else number_value(value)
    put_dial(revision, ("moods", mood, *dial.place), written)
    return revision.written()


def let_go(
    text: str, path: Path, mood: str, lights: Sequence[str], dial: Dial | None, *, tint: bool
) -> str:
    """Take out what a mood itself says, so that it inherits again.

    Parameters
    ----------
    text, path
        The recipe.
    mood : str
        The mood.
    lights : sequence of str
        Lights whose gain or colour goes.
    dial : Dial or None
        A value of the camera or the look that goes instead.
    tint : bool
        Whether it is the colour of the lights.

    Raises
    ------
    RecipeError, UsageError
        When the recipe would not be sound, or a group says it for other lights, too.
    """
    revision = Revision(text, path)
    if dial is not None:
        revision.remove(("moods", mood, *dial.place))
    keys = TINT_KEYS if tint else GAINS
    names = {revision.governing(mood, light, keys) for light in lights} - {None}
    for name in names:
        assert name is not None  # taken out above
        others = [one for one in revision.recipe.members(name) if one not in lights]
        if any(revision.governing(mood, other, keys) == name for other in others):
            found = f'"{name}" says it for {", ".join(others)}, too'
            raise UsageError(Fault("", "", found, hint="give this one a figure of its own"))
        _remove(revision, mood, name, tint=tint)
    _ = revision.recipe  # or say what is not sound
    return revision.written()


def _remove(revision: Revision, mood: str, name: str, *, tint: bool) -> None:
    place = ("moods", mood, "lights", name)
    raw = revision.raw(place)
    if not isinstance(raw, dict):
        revision.remove(place)
        return
    with_it = ("duv", "locus") if tint else ("lumens_per_watt",)
    for key in [key for key in raw if key in (*(TINT_KEYS if tint else GAINS), *with_it)]:
        revision.remove((*place, key))
