"""Keys that the recipe does not know: what was probably meant, and where it belongs."""

from __future__ import annotations

from collections.abc import Collection
from functools import cache

from evenfall.recipe.base import Part
from evenfall.recipe.lights import MoodSetting, Rendered
from evenfall.recipe.model import RecipeModel
from evenfall.recipe.places import Place, dotted
from evenfall.recipe.words.describing import parts_at
from evenfall.recipe.words.suggesting import closest, joined

__all__ = ["stranger"]

_SYNONYMS = {
    "exposure": ("exposure_stops", "stops"),
    "ev": ("exposure_stops", "stops"),
    "intensity": ("stops", "factor", "candela"),
    "gain": ("stops", "factor"),
    "brightness": ("stops", "factor", "exposure_stops"),
    "dimmer": ("factor", "stops"),
    "multiplier": ("factor",),
    "temperature": ("kelvin",),
    "cct": ("kelvin",),
    "colour": ("hex", "rgb", "kelvin"),
    "color": ("hex", "rgb", "kelvin", "colour_space"),
    "tint": ("kelvin", "hex", "rgb"),
    "flux": ("lumens",),
    "cd": ("candela",),
    "candelas": ("candela",),
    "lm": ("lumens",),
    "power": ("watts",),
    "enabled": ("on", "off"),
    "path": ("file", "folder"),
    "image": ("file",),
    "texture": ("file",),
    "pass": ("file",),
    "directory": ("folder",),
    "dir": ("folder",),
    "type": ("role", "format", "curve"),
    "parent": ("based_on",),
    "base": ("based_on",),
    "inherits": ("based_on",),
    "extends": ("based_on",),
    "background": ("plate",),
    "backplate": ("plate",),
    "tonemap": ("tone",),
    "tone_curve": ("tone",),
    "bloom": ("glare",),
    "whitebalance": ("white_balance",),
    "wb": ("white_balance",),
    "fstop": ("aperture",),
    "f_number": ("aperture",),
    "depth": ("bits",),
    "bit_depth": ("bits",),
    "colour_space": ("space",),
    "color_space": ("colour_space", "space"),
    "shape": ("rectangle", "ellipse", "polygon"),
    "description": ("title",),
    "name": ("title",),
    "output": ("deliverables",),
    "outputs": ("deliverables",),
    "scenes": ("moods",),
    "variants": ("moods",),
    "version": ("format",),
}
_MOST_SUGGESTIONS = 2


def stranger(place: Place, lights: Collection[str] = ()) -> tuple[str, str, str]:
    """Say what is allowed beside an unknown key, and what was probably meant.

    Parameters
    ----------
    place : Place
        Of the unknown key.
    lights : collection of str
        Names of the lights and groups of this recipe.

    Returns
    -------
    tuple of str
        The allowed keys, empty when a suggestion says enough; the suggestion; the key of the same
        table that was meant, or empty.
    """
    key, parts = str(place[-1]), parts_at(place[:-1], RecipeModel)
    known = list(dict.fromkeys(name for part in parts for name in part.model_fields))
    if key in lights and place[:-1] in ((), ("moods", *place[1:2])):
        mood = place[1] if len(place) > 1 else "NAME"
        home = dotted(("moods", mood, "lights", key))
        return "", f"what a light does is said in a mood: {home}", ""
    elsewhere = _for_a_mood(place, key, known) or _for_another_curve(parts, key)
    if elsewhere:
        return "", elsewhere, ""
    meant = _meant(key, known)
    if meant:
        words = joined(f'"{word}"' for word in meant)
        return "", f"did you mean {words}?", meant[0]
    homes = _homes(place, key, parts)
    belongs = f"{key} belongs at {joined(homes)}" if homes else ""
    return f"known keys: {', '.join(known)}", belongs, ""


def _meant(key: str, known: list[str]) -> list[str]:
    folded = key.casefold().replace("-", "_")
    near = closest(key, known)
    synonyms = [word for word in _SYNONYMS.get(folded, ()) if word in known]
    return synonyms[:_MOST_SUGGESTIONS] or ([near] if near else [])


def _homes(place: Place, key: str, parts: list[type[Part]]) -> list[str]:
    """Places where a key is known: in a table of this table, or else anywhere."""
    below = [
        dotted((*place[:-1], name, key))
        for part in parts
        for name in part.model_fields
        if any(key in inner.model_fields for inner in parts_at((name,), part))
    ]
    homes = below if len(place) > 1 else []
    homes = homes or _homes_by_key().get(key, [])
    if place[0] == "moods" and len(place) > 2:
        in_mood = [home for home in homes if home.startswith("moods.NAME.")]
        homes = [home.replace("NAME", dotted(place[1:2]), 1) for home in in_mood] or homes
    return homes if len(homes) <= _MOST_SUGGESTIONS else []


def _for_a_mood(place: Place, key: str, known: list[str]) -> str:
    """Explain a gain or tint that was written where the light itself is described."""
    meant = next(iter(_meant(key, list(MoodSetting.model_fields))), None)
    if len(place) != 3 or place[0] != "lights" or meant is None or _meant(key, known):
        return ""
    light = dotted(place[1:2])
    hint = f"what a light does is said in a mood: moods.NAME.lights.{light}.{meant}"
    if meant in Rendered.model_fields:
        hint += f"; how it was rendered: lights.{light}.rendered.{meant}"
    return hint


def _for_another_curve(parts: list[type[Part]], key: str) -> str:
    if not any("curve" in part.model_fields for part in parts):
        return ""
    curves = [
        f'"{part.model_fields["curve"].default}"'
        for part in parts_at(("look", "tone"), RecipeModel)
        if key in part.model_fields
    ]
    return f"{key} goes with curve = {joined(curves)}" if curves else ""


@cache
def _homes_by_key() -> dict[str, list[str]]:
    """Dotted places of the whole recipe where each key is known."""
    homes: dict[str, list[str]] = {}
    pending: list[tuple[Place, type[Part]]] = [((), RecipeModel)]
    seen: set[tuple[Place, type[Part]]] = set()
    while pending:
        place, part = pending.pop(0)
        if (place, part) in seen or len(place) > 4:
            continue
        seen.add((place, part))
        for name in part.model_fields:
            homes.setdefault(name, []).append(dotted((*place, name)))
            for suffix in ((name,), (name, 0), (name, "NAME")):
                pending += [((*place, *suffix), inner) for inner in parts_at(suffix, part)]
    return homes
