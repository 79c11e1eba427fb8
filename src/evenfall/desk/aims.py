"""What an area should be, as a person says it, made an aim of a recipe and solved."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from evenfall.change.phrases import parse_commands
from evenfall.change.revision import Revision
from evenfall.desk.brief import brief_of
from evenfall.errors import Fault, UsageError
from evenfall.recipe.base import parse_stops
from evenfall.recipe.places import Place

if TYPE_CHECKING:
    from evenfall.recipe import Recipe
    from evenfall.solve.aimed import Aimed
    from evenfall.view import View

__all__ = ["KNOWN_AIMS", "aim_of", "solve_aim"]

KNOWN_AIMS = "1/2 brighter, 1/3 darker, = -1 (stops from grey), 3000 K, neutral"

_RELATIVE = re.compile(
    r"(?P<size>\d+(?:\.\d+)?(?:\s+\d+\s*/\s*\d+)?|\d+\s*/\s*\d+)(?:\s*stops?)?\s+"
    r"(?P<way>brighter|darker)"
)
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
    ({'brighter': 0.5}, {'stops': -1.0}, {'kelvin': 3000.0, 'darker': 0.3333333333333333})
    """
    found: dict[str, Any] = {}
    for part in (part.strip() for part in text.casefold().split(",")):
        relative = _RELATIVE.fullmatch(part)
        if part in ("neutral", "grey"):
            found["neutral"] = True
        elif relative is not None:
            found[relative["way"]] = parse_stops(relative["size"])
        else:
            found |= _absolute(part)
    return found


def _absolute(part: str) -> dict[str, Any]:
    commands, _ = parse_commands(part)
    if len(commands) == 1:
        command = commands[0]
        if command.kind == "set":
            return {"stops": command.size}
        if command.kind == "kelvin":
            return {"kelvin": command.size}
        if command.kind == "add":
            return {"brighter" if command.size > 0 else "darker": abs(command.size)}
    found = f'"{part}" is not understood'
    raise UsageError(Fault("", "", found, hint=f"say what the area should be: {KNOWN_AIMS}"))


def solve_aim(view: View, recipe: Recipe, mood: str, area: Rectangle, text: str) -> Aimed:
    """Solve the gains by which an area becomes what it should be; nothing is written.

    Lights of which the brief says one thing move as one. The aim is of the moment: what comes back
    as text has the new figures, and the recipe's aims as they stood, which count beside it.

    Parameters
    ----------
    view : View
        With passes that are kept, at any size.
    recipe : Recipe
        As it stands.
    mood : str
        Name of the mood.
    area : tuple of float
        Left, top, right, bottom as shares of the picture.
    text : str
        What the area should be.

    Raises
    ------
    UsageError
        When it is not understood, or nothing may move.
    RecipeError, PassError, PixelSourceError
        When the recipe or its passes cannot be used.
    """
    left, top, right, bottom = area
    if right - left < 1e-3 or bottom - top < 1e-3:
        raise UsageError(Fault("", "", "the area is too small to be seen"))
    name = _free_name(recipe, mood)
    aim = {"area": {"rectangle": [round(side, 4) for side in area]}} | aim_of(text)
    revision = Revision(recipe.text, Path(recipe.path))
    revision.put(("moods", mood, "aims", name), aim)
    aiming = view.with_recipe(_as_text(recipe, revision.written()))
    figures = brief_of(recipe, mood).figures.values()
    lit = [figure for figure in figures if figure.lights and figure.kind in ("gain", "ratio")]
    gains = [figure for figure in lit if figure.key.startswith("gain:")]
    together = [subject for figure in gains for subject in figure.subjects]
    aimed = aiming.aim(mood, move=together, dry_run=True)
    return replace(aimed, text=_with_figures_of(aimed.text, recipe, mood))


def _with_figures_of(solved: str, recipe: Recipe, mood: str) -> str:
    """Write the lights and the camera that were solved into the recipe as it stood."""
    revision = Revision(recipe.text, Path(recipe.path))
    said = Revision(solved, Path(recipe.path))
    for part in ("lights", "camera"):
        place: Place = ("moods", mood, part)
        before, after = revision.raw(place) or {}, said.raw(place) or {}
        for name, value in after.items():
            if before.get(name) != value:
                revision.put((*place, name), value)
    return revision.written()


def _free_name(recipe: Recipe, mood: str) -> str:
    taken = recipe.moods[mood].aims
    return next(name for number in range(len(taken) + 1) if (name := f"area_{number}") not in taken)


def _as_text(recipe: Recipe, text: str) -> Recipe:
    from evenfall.recipe.recipe import load_text

    return load_text(text, recipe.path, check_files=False, bases=recipe.base_texts)
