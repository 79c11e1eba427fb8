"""Tints in a recipe, changed where they are said."""

from __future__ import annotations

from collections.abc import Mapping
from typing import assert_never

from evenfall.change.figures import number_value
from evenfall.change.gains import by_entry
from evenfall.change.revision import Revision
from evenfall.compare.standing import tint_of
from evenfall.errors import Fault, UsageError
from evenfall.recipe import LightSetting
from evenfall.recipe.tints import (
    TINT_KEYS,
    AtXy,
    HexTint,
    InKelvin,
    LampClassTint,
    MiredShift,
    PlainRgb,
    Untinted,
)

__all__ = ["Tint", "set_tints", "shifted_kelvin", "shifted_tint"]

Tint = Mapping[str, object]
"""Keys of an entry that say what colour."""

_COLDEST, _WARMEST = 25_000, 1_000


def shifted_kelvin(kelvin: float, mired: float) -> int:
    """Shift a colour temperature by mired; + is warmer.

    Raises
    ------
    UsageError
        When it leaves 1000 K to 25000 K.

    Examples
    --------
    >>> shifted_kelvin(2700, 20)
    2562
    """
    shifted = 1e6 / kelvin + mired
    if not 1e6 / _COLDEST <= shifted <= 1e6 / _WARMEST:
        found = f"{mired:+g} mired from {kelvin:g} K leaves {_WARMEST} K to {_COLDEST} K"
        raise UsageError(Fault("", "", found))
    return round(1e6 / shifted)


def shifted_tint(setting: LightSetting, mired: float, light: str) -> Tint:
    """Shift the colour that a light has in a mood; + is warmer.

    A light as rendered gets a shift from there. A chromaticity or a lamp class becomes the
    temperature and Duv that it has.

    Raises
    ------
    UsageError
        When the colour is given as plain factors or as hex, which have no temperature.

    Examples
    --------
    >>> shifted_tint(LightSetting(kelvin=2700), -20, "lamp")
    {'kelvin': 2854}
    >>> shifted_tint(LightSetting(), 20, "lamp")
    {'mired_shift': 20}
    """
    said, tint = tint_of(setting), setting.tint
    match tint:
        case Untinted():
            return {"mired_shift": number_value(mired)}
        case MiredShift(shift):
            return said | {"mired_shift": number_value(shift + mired)}
        case InKelvin(kelvin):
            return said | {"kelvin": shifted_kelvin(kelvin, mired)}
        case AtXy(xy):
            return _shifted_xy(xy, mired, light)
        case LampClassTint(name):
            from evenfall.light.colour import lamp_class_xy

            return _shifted_xy(lamp_class_xy(name), mired, light)
        case HexTint() | PlainRgb():
            raise _no_temperature(light)
        case _:
            assert_never(tint)


def _shifted_xy(xy: tuple[float, float], mired: float, light: str) -> Tint:
    from evenfall.light.colour import xy_to_kelvin_duv

    found = xy_to_kelvin_duv(xy)
    if found is None:
        raise _no_temperature(light)
    kelvin, duv = found
    return {"kelvin": shifted_kelvin(kelvin, mired), "duv": round(duv, 4)}


def _no_temperature(light: str) -> UsageError:
    found = f"the colour of {light} has no temperature that could be shifted"
    return UsageError(Fault("", "", found, hint="give it one, as in 2700 K"))


def set_tints(revision: Revision, mood: str, subject: str, wanted: Mapping[str, Tint]) -> None:
    """Give lights of a mood their colours, where these are said.

    Parameters
    ----------
    revision : Revision
        Its edits are added to.
    mood, subject : str
        The mood; the light or group that was spoken of.
    wanted : mapping of str to Tint
        By light of the subject.
    """
    pending = {
        light: tint for light, tint in wanted.items() if not has(revision, mood, light, tint)
    }
    for name, lights in by_entry(revision, mood, pending, TINT_KEYS).items():
        first = pending[lights[0]]
        alike = all(pending[light] == first for light in lights)
        target = subject if name is None else name
        members = revision.recipe.members(target)
        ruled = [light for light in members if revision.governing(mood, light, TINT_KEYS) == name]
        spoken_of = set(members) <= set(revision.recipe.members(subject))
        if alike and spoken_of and set(ruled) == set(lights):
            with revision.trial() as trial:
                _put(revision, mood, target, first)
                trial.kept = all(has(revision, mood, light, first) for light in lights)
            if trial.kept:
                continue
        for light in lights:
            _put(revision, mood, light, pending[light])


def has(revision: Revision, mood: str, light: str, tint: Tint) -> bool:
    """Whether a light has a colour in a mood already."""
    return tint_of(revision.recipe.moods[mood].lights[light]) == dict(tint)


def _put(revision: Revision, mood: str, name: str, tint: Tint) -> None:
    heads = [key for key in tint if key in TINT_KEYS]
    for key in (*heads, *(key for key in tint if key not in heads)):
        value = tint[key]
        written: object = list(value) if isinstance(value, tuple) else value
        if isinstance(value, float) and value.is_integer():
            written = int(value)
        revision.put(("moods", mood, "lights", name, key), written)
