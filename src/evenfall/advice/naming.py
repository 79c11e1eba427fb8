"""Advice from names: a light called one thing and used as another, a sun after sunset.

Names are read only where they are plain: every word of them must say the same. A light called
``sun_room`` is no sun, and a mood called ``sunset to dusk`` may have one.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from evenfall.errors import Advice
from evenfall.light.gain import factor_said
from evenfall.recipe import Recipe, ResolvedMood
from evenfall.recipe.places import dotted
from evenfall.recipe.words.wording import gain_words
from evenfall.survey.names import role_from_name
from evenfall.survey.words import words_of

__all__ = ["roles_unlike_names", "suns_after_sunset"]

_SUN = frozenset({"sun", "sunlight"})
_BESIDE_SUN = frozenset({"light", "pass", "direct", "key", "main"})
_SKY = frozenset({"sky", "skydome"})
_BESIDE_SKY = frozenset({"light", "pass", "dome"})
_LAMPS = frozenset(
    {"pendant", "lamp", "downlight", "sconce", "chandelier", "spotlight", "lantern", "luminaire"}
)
_FIXTURES = ("fixture", "outdoor fixture")

_AFTER_SUNSET = ("dusk", "night", "nighttime", "midnight", "blue hour")
_SUN_IS_UP = (
    *("day", "daylight", "daytime", "morning", "noon", "midday", "afternoon", "sun", "sunlight"),
    *("sunset", "sunrise", "golden", "before", "moon", "moonlight", "moonlit"),
)
_FAINT_GAIN = 2.0**-4
"""A sun pass this far down may stand for moonlight or the last glow (common practice)."""


def roles_unlike_names(recipe: Recipe) -> Iterator[Advice]:
    """Lights whose name plainly says another role than the recipe gives them."""
    lights = recipe.model.lights
    has_sun = any(_is_sun(name) for name in lights)
    sun_is_key = any(_is_sun(name) and light.role == "key" for name, light in lights.items())
    for name, light in lights.items():
        like = why = ""
        if _is_sun(name) and light.role in ("sky", *_FIXTURES):
            like = "sun"
            why = "exposure is set to the key, which by day is the sun; say role = 'key'"
        elif _is_sky(name) and (light.role in _FIXTURES or (light.role == "key" and has_sun)):
            like = "sky"
            why = "the sky is soft light from everywhere beside the sun; say role = 'sky'"
        elif light.role == "sky" and _is_lamp(name):
            like = "lamp"
            why = "lamps are fixtures, which go on when the sky goes down; say role = 'fixture'"
        elif light.role == "key" and sun_is_key and _is_lamp(name):
            like = "lamp"
            why = (
                "the meter sees every key, so that the lamp pulls the exposure with it; beside the "
                "sun lamps are fixtures: say role = 'fixture'"
            )
        if why:
            said = "" if "role" in light.model_fields_set else ", because none is given"
            yield Advice(
                "role-unlike-name",
                dotted(("lights", name, "role")),
                f"named like a {like}, but its role is {light.role}{said}",
                f"{why} (common practice)",
            )


def suns_after_sunset(recipe: Recipe) -> Iterator[Advice]:
    """Suns that stay on in a mood whose own words say that the sun is gone."""
    for mood in recipe.moods.values():
        said = _after_sunset(mood)
        by_model = None if mood.daylight is None else mood.daylight.sun
        for name, setting in mood.lights.items():
            gain = factor_said(setting)
            on = not setting.is_off and gain is not None and gain > _FAINT_GAIN
            if said and on and _is_sun(name) and name != by_model:
                how = gain_words(setting) if gain != 1.0 else "as rendered"
                yield Advice(
                    "sun-after-sunset",
                    dotted(("moods", mood.name, "lights")),
                    f"{name} is on, {how}, in a mood that says '{said}'",
                    "the sun is off after sunset, and the sky lower and bluer (common practice); "
                    f"say {name} = 'off', or at least 4 stops down for a moon or a last glow",
                )


def _is_plain(name: str, meaning: frozenset[str], beside: frozenset[str]) -> bool:
    words = {word for word in words_of(name) if not word.isdigit()}
    return not words.isdisjoint(meaning) and words <= meaning | beside


def _is_sun(name: str) -> bool:
    return _is_plain(name, _SUN, _BESIDE_SUN)


def _is_sky(name: str) -> bool:
    return _is_plain(name, _SKY, _BESIDE_SKY)


def _is_lamp(name: str) -> bool:
    guess = role_from_name(name)
    return guess is not None and guess.role in _FIXTURES and words_of(name)[-1] in _LAMPS


def _after_sunset(mood: ResolvedMood) -> str:
    """Word of a mood's name or title that says so; empty if there is none, or another says no."""
    if mood.time_of_day == "day":
        return ""
    words = re.sub(r"[\W\d_]+", " ", f"{mood.name} {mood.title}".casefold())
    if any(f" {word} " in f" {words} " for word in _SUN_IS_UP):
        return ""
    return next((word for word in _AFTER_SUNSET if f" {word} " in f" {words} "), "")
