"""Asking a picture what lights it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import numpy.typing as npt

from evenfall.camera.meter import spot_weights
from evenfall.deliver.png import encode_png
from evenfall.develop.areas import Areas
from evenfall.develop.developed import DevelopedMood
from evenfall.develop.shelf import Shelf
from evenfall.drawings.light_maps import draw_rule_map, draw_share_map
from evenfall.errors import UsageError
from evenfall.passes.source import PassSource
from evenfall.recipe import Area, Recipe
from evenfall.solve.asking import Spot, ask_spot, light_luminances
from evenfall.system.atomic import write_atomically
from evenfall.system.free_names import refuse_existing

__all__ = ["SPOT_RADIUS", "ask_at", "place_of", "write_light_maps"]

SPOT_RADIUS = 0.01
"""Of a spot, as a share of the picture's width: a spot meter sees about as much."""

Place = tuple[float, float] | Area


def place_of(text: str) -> Place:
    """Read a place: "0.42,0.61", or a rectangle "0.1,0.2,0.4,0.5" from left, top to right, bottom.

    Raises
    ------
    UsageError
        When it is neither, or lies outside the picture.

    Examples
    --------
    >>> place_of("0.42, 0.61")
    (0.42, 0.61)
    >>> place_of("0.1,0.2,0.4,0.5").rectangle
    (0.1, 0.2, 0.4, 0.5)
    """
    said = (
        f'"{text[:60]}" is no place: say a spot as 0.42,0.61 or a rectangle as 0.1,0.2,0.4,0.5 '
        "(left, top, right, bottom), in shares of width and height"
    )
    try:
        numbers = tuple(float(part) for part in text.split(","))
    except ValueError:
        raise UsageError(said) from None
    if len(numbers) not in (2, 4) or not all(0 <= number <= 1 for number in numbers):
        raise UsageError(said)
    if len(numbers) == 2:
        return numbers[0], numbers[1]
    left, top, right, bottom = numbers
    if left >= right or top >= bottom:
        raise UsageError(said)
    return Area(rectangle=(left, top, right, bottom))


def ask_at(developed: DevelopedMood, source: PassSource, recipe: Recipe, place: Place) -> Spot:
    """Say what lights a place; as `View.ask`."""
    width, height = developed.size
    weights: npt.NDArray[np.float32]
    if isinstance(place, Area):
        weights = Areas(recipe, (width, height), Shelf(0)).weights(place)
    else:
        weights = spot_weights(place, SPOT_RADIUS, width, height)
    try:
        return ask_spot(developed, source, _titles(recipe), weights)
    except ValueError:
        raise UsageError("there is nothing of the picture in that area") from None


def write_light_maps(
    developed: DevelopedMood,
    source: PassSource,
    recipe: Recipe,
    folder: Path,
    *,
    overwrite: bool = False,
) -> list[Path]:
    """Draw which light rules where, and a map of each light's share.

    Raises
    ------
    OutputError
        When a picture exists and may not be replaced, or cannot be written.
    """
    titles = _titles(recipe)
    stem = f"{recipe.output_stem}_{developed.name}"
    on = developed.balance.on
    rule = folder / f"{stem}_lights.png"
    files = {light: folder / f"{stem}_light_{light}.png" for light in on}
    refuse_existing([rule, *files.values()], allowed=overwrite, option="--picture")
    planes = light_luminances(developed, source, on)
    title = f"{developed.mood.title}: what rules where"
    named = {titles[light]: plane for light, plane in planes.items()}
    subtitle = "the strongest light at each place, as light as the picture is there"
    drawn = draw_rule_map(named, title=title, subtitle=subtitle)
    write_atomically(rule, encode_png(drawn), overwrite=overwrite)
    total = np.maximum(np.sum([np.maximum(p, 0) for p in planes.values()], axis=0), 1e-9)
    for light, plane in planes.items():
        share = np.maximum(plane, 0) / total
        drawn = draw_share_map(
            share,
            title=f"{developed.mood.title}: {titles[light]}",
            subtitle="share of the light at each place",
        )
        write_atomically(files[light], encode_png(drawn), overwrite=overwrite)
    return [rule, *files.values()]


def _titles(recipe: Recipe) -> dict[str, str]:
    return {name: light.title or name for name, light in recipe.model.lights.items()}
