"""A first balance for a recipe that exists: its day, dusk and night by the rules of the trade."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from evenfall.change.figures import stops_value
from evenfall.change.gains import set_gains
from evenfall.change.metering import check_what_hangs_on_lights
from evenfall.change.revision import Revision
from evenfall.compare.difference import Difference
from evenfall.compare.moods import mood_differences
from evenfall.compare.standing import stand
from evenfall.errors import UsageError
from evenfall.passes.source import PassSource
from evenfall.recipe import Recipe, ResolvedMood
from evenfall.recipe.lights import Role
from evenfall.recipe.look import Denoise, Grain
from evenfall.recipe.places import Place
from evenfall.recipe.resolve import TimeOfDay, chain
from evenfall.recipe.saving import replace_text
from evenfall.solve.balanced import AT_DUSK, AT_NIGHT, BY_DAY, Balanced, Solved, cast_of
from evenfall.solve.first_balance import solve_first_balance
from evenfall.solve.likeness import check_written_recipe
from evenfall.solve.measured import Measured, measure
from evenfall.solve.reasons import with_reasons
from evenfall.solve.stage import Stage
from evenfall.solve.writing import notes_on_text, turn_camera

__all__ = ["FirstAimed", "aim_first"]

_REASONS: Mapping[TimeOfDay, Mapping[Role, str]] = {
    "day": BY_DAY,
    "dusk": AT_DUSK,
    "night": AT_NIGHT,
}
_SAME_STOPS = 0.02
_MOST_STOPS = 15.0


@dataclass(frozen=True)
class FirstAimed:
    """What came of a first balance.

    Parameters
    ----------
    path : Path
        The recipe.
    moods : mapping of str to str
        By mood that was balanced: what it comes to, in words.
    changes : mapping of str to tuple of Difference
        What changes in the recipe, by mood.
    notes : tuple of str
        What a person should know.
    text : str
        The recipe as it stands now, or would.
    written : bool
        False when it was only to be said.
    """

    path: Path
    moods: Mapping[str, str]
    changes: Mapping[str, tuple[Difference, ...]]
    notes: tuple[str, ...]
    text: str
    written: bool


def aim_first(
    recipe: Recipe,
    chosen: Sequence[str],
    source: PassSource,
    *,
    dry_run: bool = False,
    workers: int | None = None,
) -> FirstAimed:
    """Balance moods that show a day, a dusk or a night, and write gains and exposures.

    Tints, white balance and look stay as the recipe has them.

    Parameters
    ----------
    recipe : Recipe
        As its file has it, without one-off changes.
    chosen : sequence of str
        Moods to balance, by name.
    source : PassSource
        Its passes.
    dry_run : bool
        Only say what would be.
    workers : int, optional
        Threads.

    Raises
    ------
    UsageError
        When none of the moods shows a day, a dusk or a night, or nothing shines in the view.
    RecipeError, PassError, PixelSourceError, OutputError
        When the recipe or its passes cannot be used, or the file cannot be written.
    """
    check_written_recipe(recipe, 1.0)
    moods = [name for name in chosen if recipe.moods[name].time_of_day is not None]
    if not moods:
        found = f"none of {', '.join(chosen)} is known to show a day, a dusk or a night"
        raise UsageError(
            recipe.fault(("moods", chosen[0]), found, hint='say so: time_of_day = "dusk"')
        )
    measured = measure(recipe, moods[0], source, {None: ()}, workers=workers)
    solved = _solved(recipe, measured, {recipe.moods[name].time_of_day: name for name in moods})
    revision = Revision(recipe.text, recipe.path)
    reasons: dict[Place, str] = {}
    told: dict[str, str] = {}
    for name in sorted(moods, key=lambda each: len(chain(recipe.model, each))):
        time = recipe.moods[name].time_of_day
        assert time is not None  # as it was chosen by that
        balanced: Balanced = getattr(solved, time)
        reasons |= _write(revision, recipe.moods[name], time, balanced, measured)
        told[name] = _in_words(balanced)
    check_what_hangs_on_lights(revision.recipe)
    text = with_reasons(revision.written(), reasons)
    every = {one: mood_differences(recipe, revision.recipe, one) for one in recipe.moods}
    changes = {one: some for one, some in every.items() if some}
    writes = bool(changes) and not dry_run
    if writes:
        replace_text(recipe.path, recipe.text, text)
    notes = notes_on_text(revision, text)
    return FirstAimed(recipe.path, told, changes, tuple(notes), text, writes)


def _solved(recipe: Recipe, measured: Measured, by_time: Mapping[TimeOfDay | None, str]) -> Solved:
    day = recipe.moods[by_time.get("day", next(iter(by_time.values())))]
    evening = recipe.moods[by_time.get("dusk", by_time.get("night", day.name))]
    look = day.look.model_copy(update={"grain": Grain(), "denoise": Denoise()})
    small = measured.small
    pictures = {
        light: np.stack(small.read((light,))[light].planes).astype(np.float64)
        for light in measured.lights
    }
    stage = Stage(pictures, measured.space, look, recipe.path.parent)
    if not stage.lit.any():
        raise UsageError(f"{recipe.path}: nothing shines in its passes, so nothing can be balanced")
    lights = measured.standing(recipe, evening.name).balance.lights
    tints = {light: each.tint.factors for light, each in lights.items()}
    roles = {name: light.role for name, light in recipe.model.lights.items()}
    cast = cast_of(roles, stage.pictures)
    return solve_first_balance(stage, cast, tints, _white(evening), _white(day))


def _white(mood: ResolvedMood) -> float | None:
    balance = mood.camera.white_balance
    return None if balance is None else balance.kelvin


def _write(
    revision: Revision,
    mood: ResolvedMood,
    time: TimeOfDay,
    balanced: Balanced,
    measured: Measured,
) -> dict[Place, str]:
    """Write the balance of a mood; give the reasons of what was written, by place."""
    reasons: dict[Place, str] = {}
    for light, model in revision.recipe.model.lights.items():
        stops = balanced.stops.get(light)
        now = stand(revision.recipe, mood.name, light)
        if stops is None:
            if not now.is_off:
                set_gains(revision, mood.name, light, [light], {"off": True})
            continue
        stops = max(-_MOST_STOPS, min(_MOST_STOPS, stops))
        if not now.is_off and now.anchor == "render" and abs(now.stops - stops) < _SAME_STOPS:
            continue
        set_gains(revision, mood.name, light, [light], {"stops": stops_value(stops)})
        reason = _REASONS[time].get(model.role) if model.role else None
        if reason:
            reasons["moods", mood.name, "lights", light] = reason
    real = measured.standing(revision.recipe, mood.name).camera.exposure_factor
    way = balanced.exposure_stops - math.log2(real)
    if abs(way) >= _SAME_STOPS:
        turn_camera(revision, mood.name, way)
        place: Place = ("moods", mood.name, "camera", "exposure_stops")
        reasons[place] = f"so that the median lightness is {balanced.median:.0f} (CIE L*)"
    return reasons


def _in_words(balanced: Balanced) -> str:
    words = [f"median lightness {balanced.median:.0f} (CIE L*)"]
    if balanced.sky_median is not None:
        words.append(f"window or sky {balanced.sky_median:.0f}")
    words.append(f"{balanced.burnt_share:.1%} burnt beside the lamps")
    return ", ".join(words)
