"""The check of a view: everything that can be found wrong without reading a pixel."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from evenfall.advice import advise
from evenfall.advice.doubling import advise_on_doublings
from evenfall.advice.hours import notes_on_hours
from evenfall.advice.picture_sizes import frame_facts
from evenfall.advice.plates import advise_on_plates
from evenfall.deliver.frame import check_frames
from evenfall.develop.asked import Asked
from evenfall.develop.checking import check_balances, check_moods
from evenfall.develop.samples import Samples
from evenfall.errors import Advice
from evenfall.passes.header import PassHeader
from evenfall.passes.notes import notes_on
from evenfall.passes.source import PassSource
from evenfall.produce.object_numbers import check_object_numbers
from evenfall.survey.doubling import find_doublings
from evenfall.system.opened import Once

__all__ = ["Checked", "check_view"]


@dataclass(frozen=True)
class Checked:
    """What a sound recipe and the headers of its passes come to.

    Parameters
    ----------
    headers : mapping of str to PassHeader
        Of the passes, by light.
    notes : tuple of str
        What a person should know of the passes.
    advice : tuple of Advice
        What can be said without reading pixels, without what the recipe silences.
    """

    headers: Mapping[str, PassHeader]
    notes: tuple[str, ...]
    advice: tuple[Advice, ...]


def check_view(asked: Asked, opened: Once[PassSource]) -> Checked:
    """Check moods and looks first, then passes, then what only both together tell.

    No pixel of a pass is read; what earlier commands kept of them is asked for passes that hold
    others.
    """
    recipe = asked.recipe
    moods = list(recipe.moods)
    check_moods(asked, moods)
    passes = opened.get()
    check_balances(asked, moods, passes.space, passes.luminance_scale)
    check_frames(recipe, passes.size, passes.pixel_aspect)
    check_object_numbers(recipe, enumerate(recipe.model.deliverables), passes.size)
    frames = frame_facts(recipe, passes.size, passes.pixel_aspect)
    notes = (*notes_on(passes.sources), *notes_on_hours(recipe))
    doublings = find_doublings(Samples(passes, recipe.model.passes.repair).known())
    advice = (
        *advise(recipe, frames),
        *advise_on_plates(recipe, passes.headers.values()),
        *advise_on_doublings(recipe, doublings),
    )
    return Checked(passes.headers, notes, advice)
