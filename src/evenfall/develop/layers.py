"""The lights of a mood apart: what each adds to the mix."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np
import numpy.typing as npt

from evenfall.develop.grid import Grid
from evenfall.develop.reading import Reading
from evenfall.mix.plan import RegionalGain, plan_mix
from evenfall.recipe import ResolvedMood
from evenfall.recipe.words.suggesting import joined
from evenfall.system.opened import note_opened

__all__ = ["light_layers", "shown_in_no_layer"]

Floats = npt.NDArray[np.float32]
Rgb = tuple[float, float, float]
_AT_ONCE = 4  # lights of one file part that are kept from one reading of it


def light_layers(
    reading: Reading, factors: Mapping[str, Rgb], regional: tuple[RegionalGain, ...]
) -> Iterator[tuple[str, Floats]]:
    """Read the passes of a mood again, and give what each light adds to its mix.

    Each light is mixed as a mood of its own: added up in the recipe's order they are the mix.
    Memory is that of one light, or of a few where a part of a file holds several.

    Parameters
    ----------
    reading : Reading
        Of the passes.
    factors : mapping of str to (float, float, float)
        Factors for R, G, B by light, in the recipe's order; lights that are off have three zeros.
    regional : tuple of RegionalGain
        Gains of the lights in regions.

    Yields
    ------
    light, planes : str, ndarray
        Planes of shape (3, H, W), float32, in the passes' primaries.

    Raises
    ------
    PassError
        When a pass cannot be read.
    """
    grid = Grid(reading.source.size)
    on = [light for light, rgb in factors.items() if any(rgb)]
    for batch in reading.source.batches(on):
        for start in range(0, len(batch), _AT_ONCE):
            some = batch[start : start + _AT_ONCE]
            plan = plan_mix(
                {light: {light: factors[light]} for light in some},
                [some],
                dict.fromkeys(some, regional),
            )
            mixes, _ = reading.mix(plan, grid, keep_going=False)
            for light in some:
                mix = mixes.pop(light)
                note_opened(*mix.opened)
                yield light, mix.planes


def shown_in_no_layer(mood: ResolvedMood) -> str:
    """Say what a mood's picture shows beyond the mix of its lights; empty: nothing.

    Examples
    --------
    >>> from evenfall.develop.example import example_recipe
    >>> shown_in_no_layer(example_recipe().moods["dusk"])
    ''
    """
    only_of_light = all(
        not region.exposure_stops and region.white_balance is None and region.saturation == 1
        for region in mood.regions
    )
    found = [
        *(f"the plate {plate.file}" for plate, _ in mood.backgrounds),
        *(f"the cut-out {overlay.file}" for overlay in mood.overlays),
        *([] if only_of_light else ["exposure, white balance and saturation of regions"]),
        *(["the denoising of the mix"] if mood.look.denoise.strength else []),
    ]
    return f"the mix and its layers are without {joined(found, 'and')}" if found else ""
