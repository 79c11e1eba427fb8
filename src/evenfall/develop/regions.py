"""What a mood changes in parts of the picture, and what it puts behind and in front of it."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from evenfall.camera.white_balance import white_balance_matrix
from evenfall.develop.areas import Areas
from evenfall.develop.shelf import Shelf
from evenfall.errors import RecipeError
from evenfall.light.primaries import ACESCG, RgbSpace, conversion_matrix
from evenfall.look.additions import Additions
from evenfall.mix.plan import RegionalGain
from evenfall.recipe import Overlay, Plate, Recipe, ResolvedMood, WhiteBalance

if TYPE_CHECKING:
    from evenfall.passes.side.pictures import Picture

__all__ = ["additions_of", "regional_gains"]

Matrix = npt.NDArray[np.float64]


def regional_gains(recipe: Recipe, mood: ResolvedMood, areas: Areas) -> tuple[RegionalGain, ...]:
    """Gains of lights in the regions of a mood; regions that overlap multiply.

    Parameters
    ----------
    recipe : Recipe
        For groups.
    mood : ResolvedMood
        Its regions.
    areas : Areas
        Weights over the view.
    """
    found = []
    for region in mood.regions:
        gains: dict[str, float] = {}
        for name, stops in region.lights.items():
            for light in recipe.members(name):
                gains[light] = gains.get(light, 1.0) * 2.0**stops
        if any(gain != 1.0 for gain in gains.values()):
            found.append(RegionalGain(areas.weights(region.area), gains))
    return tuple(found)


def additions_of(
    recipe: Recipe,
    mood: ResolvedMood,
    space: RgbSpace,
    areas: Areas,
    neutral: Callable[[WhiteBalance], Matrix | None],
    shelf: Shelf,
) -> Additions:
    """Read what a mood puts behind, in front of and onto its picture.

    White balance in a region takes the place of the mood's own there.

    Parameters
    ----------
    recipe : Recipe
        Where relative file names start.
    mood : ResolvedMood
        Its regions, plate and overlays.
    space : RgbSpace
        The passes' primaries.
    areas : Areas
        Weights over the view.
    neutral : callable
        Gives the mean of the mix in the neutral spot of a white balance.
    shelf : Shelf
        Where plates and cut-outs that were read are kept.

    Raises
    ------
    PixelSourceError
        When a file cannot be read.
    RecipeError
        When there is no light in the neutral spot of a region's white balance.
    """
    if not (mood.regions or mood.backgrounds or mood.overlays):
        return Additions()
    from evenfall.look.regions import RegionChange

    changes = [
        RegionChange(
            areas.weights(region.area),
            region.exposure_stops,
            _balance_there(recipe, mood, number, space, neutral),
            region.saturation,
        )
        for number, region in enumerate(mood.regions)
        if region.exposure_stops or region.white_balance or region.saturation != 1.0
    ]
    plates = [(plate, _picture(recipe, plate, shelf), weight) for plate, weight in mood.backgrounds]
    overlays = [(overlay, _picture(recipe, overlay, shelf)) for overlay in mood.overlays]
    return Additions(changes, plates, overlays, shelf.get)


def _picture(recipe: Recipe, asked: Plate | Overlay, shelf: Shelf) -> Picture:
    from evenfall.passes.side.pictures import read_picture

    path, encoding = recipe.beside(asked.file), asked.encoding
    return shelf.get(
        ("picture", path, encoding),
        lambda: read_picture(path, encoding),
        lambda picture: picture.rgb.nbytes + (0 if picture.alpha is None else picture.alpha.nbytes),
    )


def _balance_there(
    recipe: Recipe,
    mood: ResolvedMood,
    number: int,
    space: RgbSpace,
    neutral: Callable[[WhiteBalance], Matrix | None],
) -> Matrix | None:
    """White balance of a region on top of the mood's, in working primaries."""
    asked = mood.regions[number].white_balance
    if asked is None:
        return None
    try:
        own, there = (
            np.eye(3) if each is None else white_balance_matrix(each, space, neutral(each))
            for each in (mood.camera.white_balance, asked)
        )
    except ValueError as error:
        place = ("moods", mood.name, "regions", number, "white_balance")
        raise RecipeError(recipe.fault(place, str(error))) from None
    to_working = conversion_matrix(space, ACESCG)
    balance: Matrix = to_working @ there @ np.linalg.inv(own) @ np.linalg.inv(to_working)
    return balance
