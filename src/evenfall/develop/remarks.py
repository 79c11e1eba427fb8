"""What a development says of passes that could not be measured, and of plates that do not show."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

from evenfall.develop.grid import Grid
from evenfall.errors import EvenfallError, Fault, PassError
from evenfall.mix.engine import Mix
from evenfall.passes.image import PixelCensus
from evenfall.passes.source import PassSource
from evenfall.recipe import Recipe, ResolvedMood
from evenfall.recipe.places import dotted
from evenfall.recipe.words.suggesting import joined

__all__ = ["check_measured", "with_odd_passes", "with_plate_note"]


def check_measured(
    recipe: Recipe, grid: Grid, mood: str, measured: Mapping[str, tuple[str, ...]]
) -> None:
    """Say of each pass that a mood is exposed by and that was not read, whom else it stops."""
    faults = []
    for light in measured[mood]:
        if light not in grid:
            stopped = joined((name for name, some in measured.items() if light in some), "and")
            faults.append(
                recipe.fault(
                    ("lights", light, "file"),
                    f"the pass of {light} could not be read, and it sets the exposure or white "
                    f"balance of {stopped}, which were not made",
                    hint="render or copy the pass again, or do without measuring: camera = "
                    '{ meter = "off", exposure_stops = ... } and a white balance in kelvin',
                )
            )
    if faults:
        raise PassError(faults)


def with_odd_passes(
    source: PassSource,
    censuses: Mapping[str, PixelCensus],
    lights: Iterable[str],
    error: EvenfallError,
) -> EvenfallError:
    """Say what is odd about metered passes by which no exposure can be set, where anything is."""
    lights = [light for light in lights if light in source.headers]
    faults = [
        Fault(source.headers[light].label, dotted(("lights", light)), note)
        for light in lights
        for note in source.headers[light].notes
    ]
    faults += [
        Fault(
            source.headers[light].label,
            dotted(("lights", light)),
            f"its pixel at {at.column}, {at.row} is {at.value:.3g}, brighter than any light",
            hint="render the pass again, or take that pixel out of the file",
        )
        for light in lights
        if light in censuses and (at := censuses[light].brightest) is not None
    ]
    return PassError([*getattr(error, "faults", ()), *faults]) if faults else error


def with_plate_note(mood: ResolvedMood, mix: Mix) -> Mix:
    """Say so when a plate cannot show, because the passes cover everything."""
    if not mood.backgrounds or (mix.alpha is not None and bool((mix.alpha < 1).any())):
        return mix
    has = "have no alpha" if mix.alpha is None else "have alpha 1 everywhere"
    note = (
        f"{dotted(('moods', mood.name, 'plate'))}: {mood.backgrounds[0][0].file} is not seen: "
        f"the passes {has}; render them with the background left out"
    )
    return replace(mix, remarks=(*mix.remarks, note))
