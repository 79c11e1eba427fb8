"""Moods that are to stay as they are while one that they are based on changes."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from typing import Any

from evenfall.change.dials import dials, put_dial, reading
from evenfall.change.figures import number_value, stops_value
from evenfall.change.gains import GAINS, move_gains, put_gain
from evenfall.change.revision import Revision
from evenfall.change.tints import set_tints
from evenfall.compare.moods import mood_differences
from evenfall.compare.standing import stand, tint_of
from evenfall.errors import Fault, UsageError
from evenfall.recipe import LightSetting, Recipe
from evenfall.recipe.base import Step
from evenfall.recipe.gains import GAIN_KEYS, Counted
from evenfall.recipe.resolve import chain

__all__ = ["gain_as_it_stands", "keep_moods", "stand_alone"]

_SAME = 1e-9


def keep_moods(
    revision: Revision,
    before: Recipe,
    changed: Sequence[str],
    keep: Sequence[str],
    alone: Collection[str] = (),
) -> None:
    """Write into moods what they had, as far as they have it no more.

    Parameters
    ----------
    revision : Revision
        With the edits that change the moods they are based on.
    before : Recipe
        As it stood.
    changed : sequence of str
        Moods that were to change.
    keep : sequence of str
        Moods that were not.
    alone : collection of str
        Those of them that have been made to stand alone beforehand.

    Raises
    ------
    UsageError
        When a mood is to change and to stay, does not change anyway, or hangs on a gain that is
        solved from pixels and no longer there.
    """
    faults = []
    for mood in keep:
        source = f"--keep {mood}"
        if mood in changed:
            faults.append(Fault(source, "", f"{mood} is to change, and to stay as it is"))
        elif mood not in alone and not mood_differences(before, revision.recipe, mood):
            hint = "leave it out"
            faults.append(Fault(source, "", f"{mood} does not change with it", "", hint))
    if faults:
        raise UsageError(faults)
    for mood in sorted(keep, key=lambda name: len(chain(before.model, name))):
        _keep_gains(revision, before, mood)
        for light in before.model.lights:
            tint = tint_of(before.moods[mood].lights[light])
            if tint_of(revision.recipe.moods[mood].lights[light]) != tint:
                set_tints(revision, mood, light, {light: tint or {"mired_shift": 0}})
        _keep_dials(revision, before, mood)


def stand_alone(
    revision: Revision, before: Recipe, keep: Sequence[str], lights: Sequence[str]
) -> set[str]:
    """Let moods that are to stay count from the render where what they count from goes off.

    Parameters
    ----------
    revision : Revision
        Its edits are added to.
    before : Recipe
        As it stood.
    keep : sequence of str
        Moods that are to stay.
    lights : sequence of str
        Lights that are to go off in moods that they are based on.

    Returns
    -------
    set of str
        Moods that were edited.
    """
    edited = set()
    for mood in keep:
        for light in lights:
            own = revision.entry(mood, light)
            stood = stand(before, mood, light)
            is_step = own is not None and isinstance(own.stops, Step)
            if is_step and not stood.is_off and stood.anchor == "render":
                put_gain(revision, mood, light, {"stops": stops_value(stood.stops)})
                edited.add(mood)
    return edited


def _keep_gains(revision: Revision, before: Recipe, mood: str) -> None:
    pending = {
        light: before.moods[mood].lights[light]
        for light in before.model.lights
        if not stand(revision.recipe, mood, light).is_near(stand(before, mood, light))
    }
    inherited = {}
    for light, setting in pending.items():
        stood = stand(before, mood, light)
        if revision.governing(mood, light, GAINS) is None and not isinstance(setting.gain, Counted):
            inherited[light] = gain_as_it_stands(setting)
        elif stood.anchor == stand(revision.recipe, mood, light).anchor and not stood.is_off:
            move_gains(revision, mood, light, {light: stood})
        elif stood.anchor == "render":
            put_gain(revision, mood, light, {"stops": stops_value(stood.stops)})
        else:
            found = f"{light} counts there from a gain that is solved in another mood"
            hint = f"give {light} a gain in {mood} first"
            raise UsageError(Fault(f"--keep {mood}", "", found, hint=hint))
    _put_inherited(revision, mood, inherited)


def gain_as_it_stands(setting: LightSetting) -> Mapping[str, Any]:
    """Keys of a gain as it stood, to be said again."""
    if setting.match is not None:
        return {"match": setting.match.model_dump(mode="json", exclude_unset=True)}
    if setting.stops is not None:
        return {"stops": stops_value(setting.stops)}
    for key in GAIN_KEYS:
        value = getattr(setting, key)
        if value is not None and value is not True:
            efficacy = {"lumens_per_watt": number_value(setting.lumens_per_watt or 0.0)}
            return {key: number_value(value)} | (efficacy if key == "watts" else {})
    return {"off": True} if setting.off else {"on": True}


def _put_inherited(revision: Revision, mood: str, gains: Mapping[str, Mapping[str, Any]]) -> None:
    """Say gains again, for a whole group at once where all its lights had the same."""
    left = dict(gains)
    for group in revision.recipe.model.groups:
        members = revision.recipe.members(group)
        some = [left[light] for light in members if light in left]
        if len(some) == len(members) > 1 and all(gain == some[0] for gain in some):
            put_gain(revision, mood, group, some[0])
            left = {light: gain for light, gain in left.items() if light not in members}
    for light, gain in left.items():
        put_gain(revision, mood, light, gain)


def _keep_dials(revision: Revision, before: Recipe, mood: str) -> None:
    for dial in dict.fromkeys(one for some in dials(before).values() for one in some):
        stood = reading(before.moods[mood], dial)
        now = reading(revision.recipe.moods[mood], dial)
        if stood is not None and (now is None or abs(now - stood) > _SAME):
            value = stops_value(stood) if dial.kind == "stops" else number_value(stood)
            put_dial(revision, ("moods", mood, *dial.place), value)
