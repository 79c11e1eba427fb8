"""Asking a picture what lights it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import numpy.typing as npt

from evenfall.camera.meter import spot_weights
from evenfall.develop.areas import Areas
from evenfall.develop.developed import DevelopedMood
from evenfall.develop.shelf import Shelf
from evenfall.errors import Fault, UsageError
from evenfall.passes.source import PassSource
from evenfall.recipe import Area, Recipe
from evenfall.recipe.words.suggesting import joined
from evenfall.solve.asking import Spot, ask_spot, light_luminances
from evenfall.system.atomic import write_atomically
from evenfall.system.free_names import refuse_existing

__all__ = ["SPOT_RADIUS", "area_of_file", "ask_at", "place_of", "write_light_maps"]

SPOT_RADIUS = 0.01
"""Of a spot, as a share of the picture's width: a spot meter sees about as much."""

Place = tuple[float, float] | Area

_WHOLE = Area(rectangle=(0.0, 0.0, 1.0, 1.0))


def place_of(text: str, recipe: Recipe, mood: str) -> Place:
    """Read a place: a spot, a rectangle, or the name of an aim of the mood, whose area it is.

    Raises
    ------
    UsageError
        When it is none of them, or lies outside the picture.

    Examples
    --------
    >>> from evenfall.develop.example import example_recipe
    >>> place_of("0.42, 0.61", example_recipe(), "dusk")
    (0.42, 0.61)
    >>> place_of("0.1,0.2,0.4,0.5", example_recipe(), "dusk").rectangle
    (0.1, 0.2, 0.4, 0.5)
    """
    aims = recipe.moods[mood].aims
    if text in aims:
        return aims[text].area or _WHOLE
    known = f"({joined(aims, 'and', most=8)})" if aims else "(it has none)"
    said = (
        f'"{text[:60]}" is no place: say a spot as 0.42,0.61 or a rectangle as 0.1,0.2,0.4,0.5 '
        "(left, top, right, bottom), in shares of width and height, or the name of an aim of "
        f"{mood} {known}"
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


def area_of_file(
    recipe: Recipe, *, mask: Path | None = None, objects: str = "", ids: str | None = None
) -> Area:
    """Give the area of a mask, or of objects by their numbers.

    Parameters
    ----------
    recipe : Recipe
        The recipe.
    mask : Path, optional
        Picture of weights, from here or from the recipe's folder.
    objects : str
        Numbers with commas between them.
    ids : str, optional
        Object-id file in the passes' folder; the one that the recipe's areas name otherwise.

    Raises
    ------
    UsageError
        When objects are no numbers, or no file of them is known.
    """
    if mask is not None:
        return Area(mask=str(mask.absolute() if mask.exists() else mask))
    try:
        numbers = tuple(int(part) for part in objects.split(","))
    except ValueError:
        found = f'found "{objects[:60]}"'
        raise UsageError(Fault("--object", "", found, "object numbers, such as 3 or 3,7")) from None
    files = [ids] if ids is not None else sorted(_id_files(recipe))
    if len(files) != 1:
        found = f"the recipe names {joined(files, 'and') if files else 'no object-id file'}"
        hint = "say which file holds the numbers: --ids objects.exr"
        raise UsageError(Fault("--object", "", found, hint=hint))
    return Area(ids=files[0], id=numbers)


def _id_files(recipe: Recipe) -> set[str]:
    """Object-id files that areas of a recipe name."""
    areas: list[Area | str | None] = []
    for mood in recipe.moods.values():
        areas += [region.area for region in mood.regions]
        for aim in mood.aims.values():
            areas += [aim.area, aim.over]
    return {area.ids for area in areas if isinstance(area, Area) and area.ids is not None}


def ask_at(developed: DevelopedMood, source: PassSource, recipe: Recipe, place: Place) -> Spot:
    """Say what lights a place; as `View.ask`."""
    width, height = developed.size
    weights: npt.NDArray[np.float32]
    if isinstance(place, Area):
        where = Areas(recipe, (width, height), Shelf(0))
        weights, why = where.weights(place), where.absent(place)
    else:
        weights, why = spot_weights(place, SPOT_RADIUS, width, height), ""
    try:
        return ask_spot(developed, source, _titles(recipe), weights)
    except ValueError:
        found = f"there is nothing of the picture in that area{f': {why}' if why else ''}"
        raise UsageError(found) from None


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
    from evenfall.deliver.png import encode_png
    from evenfall.drawings.light_maps import draw_rule_map, draw_share_map

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
