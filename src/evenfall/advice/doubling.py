"""Advice from how passes add up: light that a mood counts twice."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from evenfall.errors import Advice
from evenfall.recipe import Recipe
from evenfall.recipe.places import dotted
from evenfall.recipe.words.suggesting import joined
from evenfall.survey.doubling import Doubling

__all__ = ["advise_on_doublings"]


def advise_on_doublings(recipe: Recipe, doublings: Iterable[Doubling]) -> list[Advice]:
    """Say which moods count light twice, because a pass holds others that are on as well.

    Parameters
    ----------
    recipe : Recipe
        The recipe.
    doublings : iterable of Doubling
        Passes that hold others, as their pixels tell.

    Returns
    -------
    list of Advice
        Without what the recipe silences.
    """
    found = [advice for each in doublings for advice in _counted_twice(recipe, each)]
    return [advice for advice in found if advice.code not in recipe.model.silence]


def _counted_twice(recipe: Recipe, doubling: Doubling) -> Iterator[Advice]:
    twice: dict[str, list[str]] = {}
    for name, mood in recipe.moods.items():
        on = {light for light, setting in mood.lights.items() if not setting.is_off}
        both = [light for light in doubling.held if light in on and doubling.light in on]
        if both:
            twice[name] = both
    if not twice:
        return
    held = joined(doubling.held, "and")
    if len(doubling.held) == 1:
        said, cure = f"its pass is the same picture as that of {held}", "take one of them out"
    else:
        more = "is the sum of" if doubling.whole else "holds the light of"
        said = f"its pass {more} {held}"
        cure = f"take [{dotted(('lights', doubling.light))}] out, or name its pass in passes.beauty"
    yield Advice(
        "counted-twice",
        dotted(("lights", doubling.light)),
        f"{said}, so light counts twice in {joined(twice, 'and')}",
        f"a mood is the sum of its lights, and each light belongs in one pass only; {cure}",
    )
