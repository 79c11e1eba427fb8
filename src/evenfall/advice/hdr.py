"""Advice on HDR deliverables of looks that have no light above white."""

from __future__ import annotations

from collections.abc import Iterator

from evenfall.errors import Advice
from evenfall.light.units import REFERENCE_WHITE_NITS
from evenfall.look.checking import place_in_look
from evenfall.recipe import Recipe, ResolvedMood
from evenfall.recipe.places import dotted
from evenfall.recipe.words.suggesting import joined

__all__ = ["hdr_unused"]


def hdr_unused(recipe: Recipe) -> Iterator[Advice]:
    """Say of looks that end at white that the HDR deliverables of their moods will too.

    Parameters
    ----------
    recipe : Recipe
        Its deliverables and the looks of its moods.
    """
    hdr = [each for each in recipe.model.deliverables if "hdr" in each.row.shows]
    if not hdr:
        return
    files = joined(dict.fromkeys(f"the {each.format}" for each in hdr), "and")
    peak = max(each.peak_nits for each in hdr)
    ending = {
        place_in_look(recipe.model, mood.name, ("view" if mood.look.view else "tone",)): mood
        for mood in recipe.moods.values()
        if mood.look.ends_at_white
    }
    for place, mood in ending.items():
        yield Advice(
            "hdr-unused",
            dotted(place),
            f"{_what(mood)} ends at display white, {REFERENCE_WHITE_NITS:g} cd/m2: {files} will "
            "hold an SDR picture",
            f"for light up to {peak:g} cd/m2 use the curve evenfall or aces2; reinhard and clip "
            "go that far as well, by their own formulas",
        )


def _what(mood: ResolvedMood) -> str:
    if mood.look.view is not None:
        return f"the view '{mood.look.view.view}'"
    return f"the curve {mood.look.tone.curve}"
