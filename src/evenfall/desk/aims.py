"""What an area should be, as a person says it, made an aim of the recipe and solved."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

from evenfall.change.figures import number_value
from evenfall.change.phrases import parse_commands
from evenfall.change.revision import Revision
from evenfall.desk.brief import brief_of
from evenfall.desk.figures import (
    Size,
    turned_kelvin,
    turned_ratio,
    turned_share,
    turned_stops,
)
from evenfall.errors import Fault, UsageError
from evenfall.recipe.areas import Area
from evenfall.recipe.base import parse_stops

if TYPE_CHECKING:
    from evenfall.recipe import Recipe
    from evenfall.recipe.aims import Aim
    from evenfall.solve.aimed import Aimed
    from evenfall.view import View

__all__ = ["KNOWN_AIMS", "aim_of", "solve_aims", "turned_aim", "with_aim", "without_aim"]

KNOWN_AIMS = (
    "1/2 brighter, 1/3 darker, = -1 (stops from grey), 3000 K, neutral, 4:1 over NAME of an aim, "
    "at most 3 % clipped"
)

_LEAST_LIGHTNESS, _MOST_LIGHTNESS = 0.1, 99.9

_RELATIVE = re.compile(
    r"(?P<size>\d+(?:\.\d+)?(?:\s+\d+\s*/\s*\d+)?|\d+\s*/\s*\d+)(?:\s*stops?)?\s+"
    r"(?P<way>brighter|darker)"
)
_RATIO = re.compile(r"(?P<ratio>\d+(?:\.\d+)?\s*:\s*\d+(?:\.\d+)?)\s+over\s+(?P<over>.+)")
_CLIPPED = re.compile(r"(?:at\s+most\s+)?(?P<percent>\d+(?:\.\d+)?)\s*%(?:\s+clipped)?")
_NAMED = re.compile(r"\s*(?P<name>[^\W\d][\w -]*?)\s*:\s*(?P<wanted>.*)", re.DOTALL)
Rectangle = tuple[float, float, float, float]


def aim_of(text: str) -> dict[str, Any]:
    """Read what an area should be.

    Raises
    ------
    UsageError
        When it is not understood.

    Examples
    --------
    >>> aim_of("1/2 brighter"), aim_of("= -1"), aim_of("3000 K, 1/3 darker")
    ({'brighter': 0.5}, {'stops': -1}, {'kelvin': 3000, 'darker': 0.3333333333333333})
    """
    found: dict[str, Any] = {}
    for part in (part.strip() for part in text.casefold().split(",")):
        if part in ("neutral", "grey"):
            found["neutral"] = True
        elif (relative := _RELATIVE.fullmatch(part)) is not None:
            found[relative["way"]] = parse_stops(relative["size"])
        elif (ratio := _RATIO.fullmatch(part)) is not None:
            found |= {"ratio": ratio["ratio"], "over": ratio["over"].replace(" ", "_")}
        elif (clipped := _CLIPPED.fullmatch(part)) is not None:
            found["clipped_at_most"] = float(clipped["percent"]) / 100
        else:
            found |= _absolute(part)
    return found


def _absolute(part: str) -> dict[str, Any]:
    commands, _ = parse_commands(part)
    if len(commands) == 1:
        command = commands[0]
        if command.kind == "set":
            return {"stops": _figure(command.size)}
        if command.kind == "kelvin":
            return {"kelvin": _figure(command.size)}
        if command.kind == "add":
            return {"brighter" if command.size > 0 else "darker": abs(command.size)}
    found = f'"{part}" is not understood'
    raise UsageError(Fault("", "", found, hint=f"say what the area should be: {KNOWN_AIMS}"))


def with_aim(
    view: View, recipe: Recipe, mood: str, area: Rectangle | None, text: str, name: str = ""
) -> Recipe:
    """Put an aim into a mood; nothing is written.

    What is to be brighter or darker than it stands is put as stops from grey, for the same aim
    solved again must not go on from there.

    Parameters
    ----------
    view : View
        With passes that are kept, at any size.
    recipe : Recipe
        As it stands.
    mood : str
        Name of the mood.
    area : tuple of float or None
        Left, top, right, bottom as shares of the picture; None keeps that of an aim.
    text : str
        What the area should be, perhaps with a name for it: ``"table: 1/2 brighter"``.
    name : str
        The aim that is said anew; empty for another one.

    Raises
    ------
    UsageError
        When it is not understood, or there is no such aim.
    RecipeError, PassError, PixelSourceError
        When the recipe or its passes cannot be used.
    """
    named = _NAMED.fullmatch(text)
    aim = aim_of(named["wanted"] if named else text)
    if area is not None:
        left, top, right, bottom = area
        if right - left < 1e-3 or bottom - top < 1e-3:
            raise UsageError(Fault("", "", "the area is too small to be seen"))
        where: Any = {"rectangle": [round(side, 4) for side in area]}
    else:
        where = _raw(recipe, mood, name).get("area")
    aim = ({} if where is None else {"area": where}) | aim
    called = name or (named["name"].replace(" ", "_") if named else _free_name(recipe, mood))
    revision = Revision(recipe.text, Path(recipe.path), recipe)
    revision.put(("moods", mood, "aims", called), aim)
    step = aim.pop("brighter", 0.0) - aim.pop("darker", 0.0)
    if step:
        seen = revision.recipe.moods[mood].aims[called].area or Area(rectangle=(0, 0, 1, 1))
        stood = view.with_recipe(recipe).ask(mood, seen).stops
        revision = Revision(recipe.text, Path(recipe.path), recipe)
        revision.put(("moods", mood, "aims", called), aim | {"stops": _figure(stood + step)})
    return _as_text(recipe, revision.written())


def turned_aim(recipe: Recipe, mood: str, name: str, size: Size, count: int) -> str:
    """Turn the first figure of what an aim asks; gives the text, as it was where it has none."""
    turned = _turned(recipe.moods[mood].aims[name], size, count)
    if turned is None:
        return recipe.text
    key, value = turned
    revision = Revision(recipe.text, Path(recipe.path), recipe)
    revision.put(("moods", mood, "aims", name, key), value)
    return revision.written()


def _turned(aim: Aim, size: Size, count: int) -> tuple[str, Any] | None:
    """Say which key of an aim turns, and what to."""
    for key in ("stops", "brighter", "darker"):
        stops = getattr(aim, key)
        if stops is not None:
            steps = -count if key == "darker" else count
            return key, _figure(turned_stops(stops, size, steps))
    if aim.ratio_value is not None:
        ratio = turned_ratio(aim.ratio_value, size, count)
        return "ratio", f"{ratio:g}:1" if ratio >= 1 else f"1:{1 / ratio:g}"
    if aim.kelvin is not None:
        return "kelvin", turned_kelvin(aim.kelvin, size, count)
    if aim.clipped_at_most is not None:
        return "clipped_at_most", turned_share(aim.clipped_at_most, size, count)
    if aim.shadows_at_least is not None:
        lightness = aim.shadows_at_least / 100  # CIE L* goes to 100
        wanted = 100 * turned_share(lightness, size, count)
        return "shadows_at_least", _figure(min(max(wanted, _LEAST_LIGHTNESS), _MOST_LIGHTNESS))
    return None


def without_aim(recipe: Recipe, mood: str, name: str) -> str:
    """Take an aim out of the text of a recipe."""
    revision = Revision(recipe.text, Path(recipe.path), recipe)
    revision.remove(("moods", mood, "aims", name))
    return revision.written()


def solve_aims(view: View, recipe: Recipe, mood: str) -> Aimed:
    """Solve the gains by which a mood meets its aims; nothing is written.

    Lights of which the brief says one thing move as one; colours move where an aim asks for one.

    Parameters
    ----------
    view : View
        With passes that are kept, at any size.
    recipe : Recipe
        As it stands.
    mood : str
        Name of the mood.

    Raises
    ------
    UsageError
        When it has no aims, or nothing may move.
    RecipeError, PassError, PixelSourceError
        When the recipe or its passes cannot be used.
    """
    figures = brief_of(recipe, mood).figures.values()
    gains = [one for one in figures if one.kind in ("gain", "ratio") and one.lights]
    together = [subject for figure in gains for subject in figure.subjects]
    asked = recipe.moods[mood].aims.values()
    colours = any(aim.kelvin is not None or aim.neutral for aim in asked)
    return view.with_recipe(recipe).aim(mood, move=together, tints=colours, dry_run=True)


def _figure(value: float) -> int | float:
    return number_value(round(value, 2), 0)


def _raw(recipe: Recipe, mood: str, name: str) -> dict[str, Any]:
    revision = Revision(recipe.text, Path(recipe.path), recipe)
    raw = revision.raw(("moods", mood, "aims", name))
    if not isinstance(raw, dict):
        raise UsageError(Fault("", "", f'there is no aim "{name}" any more'))
    return raw


def _free_name(recipe: Recipe, mood: str) -> str:
    taken = recipe.moods[mood].aims
    numbers = range(1, len(taken) + 2)
    return next(name for number in numbers if (name := f"area_{number}") not in taken)


def _as_text(recipe: Recipe, text: str) -> Recipe:
    from evenfall.recipe.recipe import load_text

    folder, texts = recipe.passes_folder, recipe.other_texts
    return load_text(text, recipe.path, check_files=False, bases=texts, passes=folder)
