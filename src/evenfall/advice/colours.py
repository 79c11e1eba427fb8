"""Advice on colours that are asked of lights: figures that are a change, and no colour."""

from __future__ import annotations

from collections.abc import Iterator

from evenfall.errors import Advice
from evenfall.light.tint import rendered_xy
from evenfall.recipe import LightSetting, Recipe
from evenfall.recipe.places import dotted
from evenfall.recipe.tints import AtXy, HexTint, InKelvin, LampClassTint
from evenfall.recipe.words.suggesting import joined

__all__ = ["advise_on_colours", "unknown_colours"]


def advise_on_colours(recipe: Recipe) -> list[Advice]:
    """Give the advice of `unknown_colours`, without what the recipe silences."""
    silent = recipe.model.silence
    return [advice for advice in unknown_colours(recipe) if advice.code not in silent]


def unknown_colours(recipe: Recipe) -> Iterator[Advice]:
    """Tell of each light, once, that the colour asked for is only a change of its own.

    Examples
    --------
    >>> from evenfall.develop.example import example_recipe
    >>> recipe = example_recipe().with_changes("moods.dusk.lights.sky.kelvin=12000")
    >>> [advice.place for advice in unknown_colours(recipe)]
    ['lights.sky.rendered']
    """
    for name, light in recipe.model.lights.items():
        if rendered_xy(light.rendered) is not None:
            continue
        asked = {
            mood: said
            for mood, resolved in recipe.moods.items()
            if (said := _colour_asked(resolved.lights[name]))
        }
        if asked:
            words = joined(dict.fromkeys(asked.values()), "and")
            moods = joined(asked, "and")
            yield Advice(
                "colour-not-known",
                dotted(("lights", name, "rendered")),
                f"{moods} {'asks' if len(asked) == 1 else 'ask'} for {words}, and the colour that "
                "it was rendered with is not known: the figure is a change from white, not the "
                "colour that you will see",
                "say how it was rendered, as in rendered = { kelvin = 4000 }; a survey reads it "
                "off a lamp that is seen directly",
            )


def _colour_asked(setting: LightSetting) -> str | None:
    if setting.is_off:
        return None
    match setting.tint:
        case InKelvin(kelvin):
            return f"{kelvin:g} K"
        case AtXy(xy):
            return f"xy {xy[0]:g}, {xy[1]:g}"
        case HexTint(text):
            return text
        case LampClassTint(name):
            return f"lamp class {name}"
        case _:
            return None
