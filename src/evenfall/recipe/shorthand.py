"""Short forms of a recipe, and the tables that they stand for."""

from __future__ import annotations

from typing import Any

from evenfall.recipe.model import RecipeModel
from evenfall.recipe.places import Place
from evenfall.recipe.words.describing import parts_at

__all__ = ["fill_curves", "is_light_setting", "opened", "replaced_by"]

_DEFAULT_CURVE = "evenfall"


def is_light_setting(place: Place) -> bool:
    """Whether a place is the setting of a light or group in a mood.

    Examples
    --------
    >>> is_light_setting(("moods", "dusk", "lights", "sun"))
    True
    """
    return len(place) == 4 and place[0] == "moods" and place[2] == "lights"


def opened(place: Place, value: Any) -> dict[str, Any] | None:
    """Write a short form out as the table it stands for; None when it is no short form.

    Examples
    --------
    >>> opened(("moods", "dusk", "lights", "sun"), "off")
    {'off': True}
    >>> opened(("look", "tone"), "reinhard")
    {'curve': 'reinhard'}
    """
    if is_light_setting(place) and not isinstance(value, bool):
        return {value: True} if value in ("on", "off") else {"stops": value}
    if place[-2:] == ("look", "tone") and isinstance(value, str):
        return {"curve": value}
    if place[-2:] == ("camera", "meter") and value == "off":
        return {}
    return None


def replaced_by(place: Place) -> tuple[str, ...]:
    """Keys of a table that the key at a place takes the place of.

    Examples
    --------
    >>> keys = replaced_by(("moods", "dusk", "lights", "sun", "stops"))
    >>> "off" in keys, "kelvin" in keys
    (True, False)
    """
    families = [
        family
        for part in parts_at(place[:-1], RecipeModel)
        for family in part.families
        if place[-1] in family.heads
    ]
    return tuple(key for family in families for key in family.members if key != place[-1])


def fill_curves(tree: dict[str, Any]) -> None:
    """Name the tone curve in every tone table that leaves it out, in place.

    A mood that changes only the settings of a curve means the curve that it would otherwise have.
    """
    moods = tree.get("moods")
    look = tree.get("look")
    general = _curve(look) or _DEFAULT_CURVE
    _fill(look, general)
    if not isinstance(moods, dict):
        return
    known: dict[str, str] = {}
    for name in moods:
        curve, passed = _inherited(moods, name, general, known)
        known |= dict.fromkeys(passed, curve)
    for name, mood in moods.items():
        if isinstance(mood, dict):
            _fill(mood.get("look"), known[name])


def _inherited(
    moods: dict[str, Any], name: Any, general: str, known: dict[str, str]
) -> tuple[str, list[str]]:
    """Return the curve that a mood has, and the moods on the way to it that have the same."""
    passed: dict[str, None] = {}
    while isinstance(name, str) and name in moods and name not in passed:  # a cycle ends here
        if name in known:
            return known[name], list(passed)
        passed[name] = None
        mood = moods[name]
        if not isinstance(mood, dict):
            break
        curve = _curve(mood.get("look"))
        if curve is not None:
            return curve, list(passed)
        name = mood.get("based_on")
    return general, list(passed)


def _curve(look: Any) -> str | None:
    tone = look.get("tone") if isinstance(look, dict) else None
    curve = tone.get("curve") if isinstance(tone, dict) else tone
    return curve if isinstance(curve, str) else None


def _fill(look: Any, curve: str) -> None:
    if isinstance(look, dict) and isinstance(look.get("tone"), dict):
        look["tone"].setdefault("curve", curve)
