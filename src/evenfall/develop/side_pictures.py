"""Plates, cut-outs, masks and object numbers of moods, looked at before any pixel is read."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

from evenfall.errors import Fault, PixelSourceError
from evenfall.recipe import Area, Recipe, ResolvedMood
from evenfall.recipe.camera import Meter
from evenfall.recipe.files import NamedFile, named_files
from evenfall.recipe.resolve import chain

__all__ = ["check_side_pictures"]

_PICTURE_USES = ("picture", "weights", "numbers")


def check_side_pictures(recipe: Recipe, moods: Sequence[str]) -> dict[str, tuple[Fault, ...]]:
    """Look at the headers of what moods put behind, in front of and onto their pictures.

    Parameters
    ----------
    recipe : Recipe
        From `evenfall.load`.
    moods : sequence of str
        Names of moods.

    Returns
    -------
    dict of str to tuple of Fault
        By mood, files that cannot be used, each at its place in the recipe.

    Examples
    --------
    >>> from evenfall.develop.example import example_recipe
    >>> check_side_pictures(example_recipe(), ["day", "dusk"])
    {}
    """
    named = [file for file in named_files(recipe.model) if file.use in _PICTURE_USES]
    if not named:
        return {}
    tried: dict[tuple[Path, str | None, bool], PixelSourceError | None] = {}
    found: dict[str, tuple[Fault, ...]] = {}
    for mood in moods:
        used = set(_used(recipe.moods[mood]))
        layers = {name for name, _ in chain(recipe.model, mood)}
        for file in named:
            said_for_it = file.place[0] != "moods" or file.place[1] in layers
            if not said_for_it or (file.use, file.name, file.channel) not in used:
                continue
            key = (_path(recipe, file), file.channel, file.use == "picture")
            if key not in tried:
                tried[key] = _error_of(*key)
            error = tried[key]
            if error is not None:
                faults = (_placed(recipe, file, fault) for fault in error.faults)
                found[mood] = (*found.get(mood, ()), *faults)
    return found


def _used(mood: ResolvedMood) -> Iterator[tuple[str, str, str | None]]:
    """Give uses, names and channels of the files that a mood as a whole comes to."""
    for plate, _ in mood.backgrounds:
        yield "picture", plate.file, None
    for overlay in mood.overlays:
        yield "picture", overlay.file, None
    areas: list[Area | None] = [region.area for region in mood.regions]
    if isinstance(mood.camera.meter, Meter):
        areas.append(mood.camera.meter.area)
    areas += [setting.match.area for setting in mood.lights.values() if setting.match]
    for area in areas:
        if area is not None and area.mask is not None:
            yield "weights", area.mask, area.channel
        if area is not None and area.ids is not None:
            yield "numbers", area.ids, area.channel


def _path(recipe: Recipe, file: NamedFile) -> Path:
    return recipe.pass_path(file.name) if file.in_passes else recipe.beside(file.name)


def _error_of(path: Path, channel: str | None, as_picture: bool) -> PixelSourceError | None:
    from evenfall.passes.side.pictures import look_at

    try:
        look_at(path, channel, as_picture=as_picture)
    except PixelSourceError as error:
        return error
    return None


def _placed(recipe: Recipe, file: NamedFile, fault: Fault) -> Fault:
    """Say of a fault where the recipe names its file."""
    found = ": ".join(part for part in (fault.file, fault.place, fault.found) if part)
    return recipe.fault(file.place, found, fault.allowed, fault.hint)
