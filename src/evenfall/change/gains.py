"""Gains in a recipe, changed where they are said, so that lights come to stand where they should.

An entry that a mood has for a light, or for a group all of whose lights go the same way, gets
another figure in its own unit. What a mood inherits gets an entry of its own: a step from the mood
that it is based on where that says the same, plain stops elsewhere.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Mapping
from typing import Any, assert_never

from evenfall.change.figures import number_value, step_value, stops_value
from evenfall.change.revision import Revision
from evenfall.compare.standing import NEAR_STOPS, Stand, own_side, stand
from evenfall.errors import Fault, UsageError
from evenfall.recipe import Match
from evenfall.recipe.base import Step
from evenfall.recipe.gains import GAIN_KEYS
from evenfall.recipe.lights import MoodSetting
from evenfall.recipe.places import Place

__all__ = ["GAINS", "by_entry", "move_gains", "put_gain", "set_gains"]

GAINS = ("on", *GAIN_KEYS)
"""Keys of an entry that say how strong."""

Figure = tuple[str, Any]
"""A key of an entry, and its value."""


def by_entry(
    revision: Revision, mood: str, lights: Iterable[str], keys: tuple[str, ...]
) -> dict[str | None, list[str]]:
    """Gather lights by the entry of a mood that decides over them; None where it is inherited."""
    found: dict[str | None, list[str]] = {}
    for light in lights:
        found.setdefault(revision.governing(mood, light, keys), []).append(light)
    return found


def move_gains(revision: Revision, mood: str, subject: str, wanted: Mapping[str, Stand]) -> None:
    """Bring lights of a mood to where they should stand, each in the unit that it has.

    Parameters
    ----------
    revision : Revision
        Its edits are added to.
    mood : str
        The mood.
    subject : str
        The light or group that was spoken of.
    wanted : mapping of str to Stand
        By light; none of them off.

    Raises
    ------
    UsageError
        When a light shares a ratio with others that do not go the same way.
    """
    pending = [
        light
        for light, want in wanted.items()
        if not stand(revision.recipe, mood, light).is_near(want)
    ]
    for name, lights in by_entry(revision, mood, pending, GAINS).items():
        if name is None:
            _enter(revision, mood, subject, {light: wanted[light] for light in lights})
        else:
            _move_entry(revision, mood, name, subject, {light: wanted[light] for light in lights})


def _move_entry(
    revision: Revision, mood: str, name: str, subject: str, wanted: Mapping[str, Stand]
) -> None:
    """Change the figure of an entry, or give lights of a group entries of their own."""
    recipe = revision.recipe
    setting = recipe.model.moods[mood].lights[name]
    ways = {light: want.stops - stand(recipe, mood, light).stops for light, want in wanted.items()}
    ruled = {
        light
        for light in recipe.members(name)
        if revision.governing(mood, light, GAINS) == name and not stand(recipe, mood, light).is_off
    }
    raw = revision.raw(_entry(mood, name))
    spoken_of = set(recipe.members(name)) <= set(recipe.members(subject))
    if spoken_of and ruled == set(wanted) and max(ways.values()) - min(ways.values()) < NEAR_STOPS:
        put_figure(revision, mood, name, _moved(setting, raw, next(iter(ways.values()))))
        return
    if setting.match is not None:
        raise _shared(mood, sorted(ruled))
    for light, way in ways.items():
        put_figure(revision, mood, light, _moved(setting, None, way))  # spelled afresh
        if setting.watts is not None:
            efficacy = number_value(setting.lumens_per_watt or 0.0)
            revision.put((*_entry(mood, light), "lumens_per_watt"), efficacy)


def _moved(setting: MoodSetting, raw: Any, way: float) -> Figure:
    """Give an entry's gain a number of stops further up, in its own unit."""
    table = raw if isinstance(raw, dict) else {"stops": raw}
    key = setting.gain_key
    match key:
        case "match":
            assert setting.match is not None  # as its key was found
            return "ratio", _ratio(setting.match, way)
        case "factor" | "lumens" | "watts" | "candela":
            return key, number_value(getattr(setting, key) * math.exp2(way), table.get(key))
        case None | "off" | "stops":
            if isinstance(setting.stops, Step):
                return "stops", step_value(setting.stops.stops + way)
            return "stops", stops_value((setting.stops or 0.0) + way, table.get("stops"))
        case _:
            assert_never(key)


def _ratio(match: Match, way: float) -> str:
    other = own_side(match) / math.exp2(way)
    return f"{number_value(other + (match.convention != 'key:fill'))}:1"


def _enter(revision: Revision, mood: str, subject: str, wanted: Mapping[str, Stand]) -> None:
    """Write gains into a mood that has none of its own for these lights."""
    figures = {
        light: _entered(revision, mood, light, subject, want) for light, want in wanted.items()
    }
    first = next(iter(figures.values()))
    if subject not in figures and all(figure == first for figure in figures.values()):
        before = {
            light: stand(revision.recipe, mood, light) for light in revision.recipe.members(subject)
        }
        with revision.trial() as trial:
            put_figure(revision, mood, subject, first)
            trial.kept = all(
                stand(revision.recipe, mood, light).is_near(wanted.get(light, stood))
                for light, stood in before.items()
            )
        if trial.kept:
            return
    for light, figure in figures.items():
        put_figure(revision, mood, light, figure)


def _entered(revision: Revision, mood: str, light: str, subject: str, want: Stand) -> Figure:
    recipe = revision.recipe
    base = recipe.model.moods[mood].based_on
    if base is not None:
        below = stand(recipe, base, light)
        if not below.is_off and below.anchor == want.anchor:
            return "stops", step_value(want.stops - below.stops)
    match = recipe.moods[mood].lights[light].match
    if match is None:
        return "stops", stops_value(want.stops)
    sharing = [name for name, other in recipe.moods[mood].lights.items() if other.match is match]
    if set(sharing) not in ({light}, set(recipe.members(subject))):
        raise _shared(mood, sharing)
    table = match.model_dump(mode="json", exclude_unset=True)
    way = want.stops - stand(recipe, mood, light).stops
    return "match", table | {"ratio": _ratio(match, way)}


def _shared(mood: str, lights: Collection[str]) -> UsageError:
    names = ", ".join(lights)
    found = f"{names} share one ratio in {mood}, so none of them can be changed alone"
    return UsageError(Fault("", "", found, hint="change all of them, or give one a gain first"))


def put_figure(revision: Revision, mood: str, name: str, figure: Figure) -> None:
    """Put a gain into the entry of a light or group, in its short form where it is one."""
    key, value = figure
    place = _entry(mood, name)
    raw, own = revision.raw(place), revision.own(place)
    is_short = not isinstance(raw if own is None else own, dict)
    if key == "stops" and is_short:
        revision.put(place, value)
    elif key in ("on", "off") and is_short:
        revision.put(place, key)
    elif key == "ratio":
        revision.put((*place, "match", "ratio"), value)
    else:
        efficacy = raw.get("lumens_per_watt") if isinstance(raw, dict) else None
        revision.put((*place, key), value)
        if key == "watts" and efficacy is not None:  # which went with the gain that it replaces
            revision.put((*place, "lumens_per_watt"), efficacy)


def set_gains(
    revision: Revision, mood: str, subject: str, lights: Collection[str], gain: Mapping[str, Any]
) -> None:
    """Give lights of a mood one gain, also those that have an entry of their own.

    Parameters
    ----------
    revision : Revision
        Its edits are added to.
    mood, subject : str
        The mood; the light or group that was spoken of.
    lights : collection of str
        The lights of it.
    gain : mapping of str to object
        Keys of an entry, such as ``{"lumens": 1200}``.
    """
    if "match" in gain:
        _set_match(revision, mood, subject, lights, gain)
        return
    open_lights = []
    for name, some in by_entry(revision, mood, lights, GAINS).items():
        if name is None or name == subject:
            open_lights += some
        elif set(revision.recipe.members(name)) <= set(lights):
            put_gain(revision, mood, name, gain)
        else:
            for light in some:
                put_gain(revision, mood, light, gain)
    if open_lights:
        put_gain(revision, mood, subject, gain)


def _set_match(
    revision: Revision, mood: str, subject: str, lights: Collection[str], gain: Mapping[str, Any]
) -> None:
    """Match a group as one light: entries of its lights keep their colours only."""
    for light in lights:
        if light == subject or revision.entry(mood, light) is None:
            continue
        place = _entry(mood, light)
        raw = revision.raw(place)
        if isinstance(raw, dict):
            for key in [key for key in raw if key in (*GAINS, "lumens_per_watt")]:
                revision.remove((*place, key))
        else:
            revision.remove(place)
    put_gain(revision, mood, subject, gain)
    others = [light for light in lights if not _is_matched(revision, mood, light, gain)]
    if others:
        raise _shared(mood, others)


def _is_matched(revision: Revision, mood: str, light: str, gain: Mapping[str, Any]) -> bool:
    match = revision.recipe.moods[mood].lights[light].match
    return match is not None and (match.to, match.ratio) == tuple(gain["match"].values())


def put_gain(revision: Revision, mood: str, name: str, gain: Mapping[str, Any]) -> None:
    """Put keys that say how strong into the entry of a light or group."""
    place = _entry(mood, name)
    (key, value), *rest = gain.items()
    put_figure(revision, mood, name, (key, value))
    for other, inner in rest:
        revision.put((*place, other), inner)


def _entry(mood: str, name: str) -> Place:
    return ("moods", mood, "lights", name)
