"""Guides for denoising a mix, at the size of what is developed."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from evenfall.mix.averaging import area_mean
from evenfall.passes.mending.denoise import Guides
from evenfall.passes.source import PassSource
from evenfall.recipe import Recipe

__all__ = ["mix_guides"]


def mix_guides(recipe: Recipe, source: PassSource) -> Guides:
    """Read the guides that a recipe names, brought down with the passes for a draft.

    Raises
    ------
    PassError
        When a guide cannot be read or has another size than the passes.
    """
    from evenfall.passes.side.denoiser_guides import read_guides

    header = next(iter(source.sources.values()))[0]
    guides = read_guides(recipe, (header.width, header.height))
    return Guides(_at(guides.albedo, source.size), _at(guides.normal, source.size))


def _at(
    guide: npt.NDArray[np.float32] | None, size: tuple[int, int]
) -> npt.NDArray[np.float32] | None:
    if guide is None or guide.shape[1::-1] == size:
        return guide
    channels = [area_mean(np.ascontiguousarray(plane), size) for plane in np.moveaxis(guide, -1, 0)]
    return np.stack(channels, axis=-1).astype(np.float32)
