"""The look as a lighting person says it: "glare 0.035", "white 7 1/2 stops over grey"."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from evenfall.recipe.base import Part
from evenfall.recipe.resolve import said_in
from evenfall.recipe.words.prose import size_prose

if TYPE_CHECKING:
    from evenfall.recipe import Recipe
    from evenfall.recipe.look import Look

__all__ = ["look_numbers", "look_prose", "look_words"]

_SAID = {
    "tone contrast": "contrast {}",
    "tone highlight stops": "white {} over grey",
    "tone shadow stops": "black {} under grey",
    "tone soft highlights": "highlights rolled off by {}",
    "tone soft shadows": "shadows rolled off by {}",
    "tone to white": "bright colours let go to white by {}",
    "tone white": "white at {} times the scene's",
    "grade contrast": "contrast times {}",
    "grade saturation": "saturation times {}",
    "denoise strength": "{} of the noise taken off",
    "glare strength": "glare {}",
    "glare radius": "glare reaching {} of the width",
    "vignette natural": "{} of the lens's natural fall-off",
    "vignette focal length mm": "a lens of {}",
    "vignette creative stops": "corners {} darker",
    "sharpen strength": "sharpening {}",
    "sharpen radius": "sharpening over {} of the width",
    "grain strength": "grain {}",
    "grain size": "grains {} of the width",
    "fringe strength": "colour fringes {}",
}


def look_numbers(look: Look) -> Iterator[tuple[str, str, float]]:
    """Give every number of a look: its table, its key and its value.

    Examples
    --------
    >>> from evenfall.recipe.look import Look
    >>> list(look_numbers(Look()))[0]
    ('tone', 'contrast', 1.25)
    """
    for section in type(look).model_fields:
        part = getattr(look, section)
        if isinstance(part, Part):
            for key in type(part).model_fields:
                value = getattr(part, key)
                if type(value) is float:
                    yield section, key, value


def look_prose(section: str, key: str, value: float) -> tuple[str, str, str]:
    """Say a number of the look: words before it, itself with its unit, and words behind it.

    Examples
    --------
    >>> look_prose("vignette", "natural", 0.5)
    ('', '0.5', " of the lens's natural fall-off")
    >>> "".join(look_prose("tone", "highlight_stops", 7.5))
    'white 7 1/2 stops over grey'
    """
    name = f"{section} {key}".replace("_", " ")
    before, _, behind = _SAID.get(name, f"{name} {{}}").partition("{}")
    figure = f"{value:g}"
    if key.endswith("_stops"):
        size = size_prose(value)
        figure = f"{size} {'stop' if 0 < value <= 1 else 'stops'}"
    elif key.endswith("_mm"):
        figure += " mm"
    return before, figure, behind


def look_words(recipe: Recipe, mood: str) -> str:
    """Say the numbers of the look of a mood that the recipe says; empty where it says none.

    Examples
    --------
    >>> from evenfall.recipe.recipe import load_text
    >>> text = '''format = 1
    ... lights.sun = { file = "sun.exr", role = "key" }
    ... moods.day = { look = { glare = { strength = 0.035 }, vignette = { natural = 0.5 } } }
    ... '''
    >>> look_words(load_text(text, "view.toml", check_files=False), "day")
    "glare 0.035, 0.5 of the lens's natural fall-off"
    """
    return ", ".join(
        "".join(look_prose(section, key, value))
        for section, key, value in look_numbers(recipe.moods[mood].look)
        if said_in(recipe.model, mood, ("look", section, key)) is not None
    )
