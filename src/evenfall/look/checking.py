"""Looks tried before any pixel is read: their LUT and CDL files, configs and views."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from evenfall.errors import Fault, PixelSourceError, RecipeError, UsageError
from evenfall.recipe import Recipe, ResolvedMood
from evenfall.recipe.base import Part
from evenfall.recipe.model import RecipeModel
from evenfall.recipe.places import Place, parse_place
from evenfall.recipe.resolve import chain
from evenfall.system.opened import Remembered, listening

__all__ = ["LooksTried", "check_looks", "place_in_look"]


@dataclass(frozen=True)
class LooksTried:
    """What came of trying looks.

    Parameters
    ----------
    wrong : tuple of Fault
        What the recipe says wrongly: displays, views, colour spaces, configs, corrections.
    unusable : mapping of str to tuple of Fault
        By mood: files that are damaged, or not what they are taken for.
    files : mapping of str to tuple of Path
        By mood: files that its look is made of.
    """

    wrong: tuple[Fault, ...]
    unusable: dict[str, tuple[Fault, ...]]
    files: dict[str, tuple[Path, ...]]


def check_looks(recipe: Recipe, moods: Sequence[str]) -> LooksTried:
    """Try what the looks of moods ask of OpenColorIO, which is not loaded when they ask nothing.

    Parameters
    ----------
    recipe : Recipe
        From `evenfall.load`.
    moods : sequence of str
        Names of moods.

    Examples
    --------
    >>> from evenfall.develop.example import example_recipe
    >>> check_looks(example_recipe(), ["day", "dusk"]).files
    {'day': (), 'dusk': ()}
    """
    wrong: dict[Fault, None] = {}
    unusable: dict[str, tuple[Fault, ...]] = {}
    tried: Remembered[RecipeError | PixelSourceError | None] = Remembered()
    files: dict[str, tuple[Path, ...]] = {}
    for name in moods:
        with listening() as openings:
            for trial in _trials(recipe.moods[name], recipe.path.parent):
                place = place_in_look(recipe.model, name, trial.inner)
                error = tried.get((place, trial.part), partial(_error_of, trial))
                if error is None:
                    continue
                faults = [_placed(recipe, name, trial, fault) for fault in error.faults]
                if isinstance(error, RecipeError):
                    wrong |= dict.fromkeys(faults)
                else:
                    unusable[name] = (*unusable.get(name, ()), *faults)
        files[name] = tuple(opened.path for opened in openings)
    return LooksTried(tuple(wrong), unusable, files)


@dataclass(frozen=True)
class _Trial:
    """Something of a look that can be tried: its place in the look, and how it is made."""

    inner: Place
    part: Part
    make: Callable[[], object]


def _trials(mood: ResolvedMood, folder: Path) -> Iterator[_Trial]:
    if mood.look.denoise.strength > 0:
        yield _Trial(("denoise",), mood.look.denoise, _try_denoiser)
    cdl, luts, view = mood.look.grade.cdl, mood.look.grade.luts, mood.look.view
    if not luts and view is None and cdl is None:
        return
    from evenfall.light.primaries import ACESCG
    from evenfall.look.opencolorio import LutStep, ViewRendering, cdl_processor

    if cdl is not None:
        place: Place = ("grade", "cdl") if cdl.file is None else ("grade", "cdl", "file")
        yield _Trial(place, cdl, partial(cdl_processor, cdl, folder))
    for number, lut in enumerate(luts):
        inner = ("grade", "luts", number, "file")
        yield _Trial(inner, lut, partial(LutStep, lut, folder / lut.file))
    if view is not None:
        yield _Trial(("view", "config"), view, partial(ViewRendering, view, ACESCG, folder))


def _try_denoiser() -> None:
    """Raise RecipeError when a recipe asks for a denoiser that is not there."""
    from evenfall.passes.mending.denoise import require_denoiser

    try:
        require_denoiser("look.denoise")
    except UsageError as error:
        raise RecipeError(error.faults) from None


def _error_of(trial: _Trial) -> RecipeError | PixelSourceError | None:
    try:
        trial.make()
    except (RecipeError, PixelSourceError) as error:
        return error
    return None


def _placed(recipe: Recipe, mood: str, trial: _Trial, fault: Fault) -> Fault:
    """Say of a fault where in the recipe it comes from."""
    inner = parse_place(fault.place)[1:] if fault.place else trial.inner
    place = place_in_look(recipe.model, mood, inner)
    found = f"{fault.file}: {fault.found}" if fault.file and not fault.place else fault.found
    return recipe.fault(place, found, fault.allowed, fault.hint)


def place_in_look(model: RecipeModel, mood: str, inner: Place) -> Place:
    """Where a recipe says what stands at a place inside a mood's look.

    Parameters
    ----------
    model : RecipeModel
        What the recipe says.
    mood : str
        Name of a mood, whose look may come from those it builds on, or from the recipe's look.
    inner : Place
        Place inside a look, such as ``("grade", "luts", 0, "file")``.

    Examples
    --------
    >>> from evenfall.develop.example import example_recipe
    >>> place_in_look(example_recipe().model, "dusk", ("view", "display"))
    ('look', 'view', 'display')
    """
    for name, layer in reversed(chain(model, mood)):
        if layer.look is not None and _says(layer.look, inner):
            return ("moods", name, "look", *inner)
    return ("look", *inner)


def _says(part: object, inner: Place) -> bool:
    """Whether a part says itself what is at a place; lists are said as a whole."""
    for step in inner:
        if not isinstance(part, Part) or not isinstance(step, str):
            return True
        if step not in part.model_fields_set:
            return False
        part = getattr(part, step)
    return True
