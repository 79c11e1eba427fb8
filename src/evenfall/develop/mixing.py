"""From passes to mixed moods whose camera is set: the way of every run, draft and preview."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from evenfall.camera.state import CameraState
from evenfall.develop.areas import weights_of
from evenfall.develop.measuring import Grid, Measuring, moods_behind, plan_measuring
from evenfall.develop.regions import additions_of, regional_gains
from evenfall.develop.view import View, open_view
from evenfall.errors import EvenfallError, Fault, PassError, PixelSourceError
from evenfall.look.additions import Additions
from evenfall.mix.balance import Balance, balance_mood
from evenfall.mix.engine import Mix, PassRead, mix_moods
from evenfall.mix.matching import MeanNeed, area_mean, means_needed, solve_matches
from evenfall.mix.plan import RegionalGain, plan_mix
from evenfall.passes.image import PassImage, PixelCensus
from evenfall.recipe import Area, Recipe, ResolvedMood, WhiteBalance
from evenfall.recipe.words.suggesting import joined
from evenfall.system.processors import default_workers, passes_at_once

__all__ = ["Exposed", "View", "mix_alone", "mix_and_expose", "open_view"]

_HELD_PASSES = 4
"""Decoded passes kept from solving ratios to mixing, where memory allows; others are read again."""


@dataclass(eq=False)
class Exposed:
    """Mixed moods, and everything that was found out about them.

    Parameters
    ----------
    measuring : Measuring
        Balances and meter plans.
    mixes : dict of str to Mix
        By mood.
    cameras : dict of str to CameraState
        By mood.
    failures : dict of str to EvenfallError
        Moods that could not be made.
    censuses : dict of str to PixelCensus
        By light that was read, in the recipe's order.
    grid : Grid
        What was measured.
    """

    measuring: Measuring
    mixes: dict[str, Mix]
    cameras: dict[str, CameraState]
    failures: dict[str, EvenfallError]
    censuses: dict[str, PixelCensus]
    grid: Grid

    def additions(self, view: View, mood: str) -> Additions:
        """Read the regions, plate and cut-outs of a mood."""
        resolved = view.recipe.moods[mood]

        def weigh(area: Area) -> npt.NDArray[np.float32]:
            return weights_of(view.recipe, area, view.size, view.absent)

        def neutral(balance: WhiteBalance) -> npt.NDArray[np.float64] | None:
            return self.measuring.neutral(resolved, balance, self.grid)

        return additions_of(view.recipe, resolved, view.space, weigh, neutral)


@dataclass
class _Listener:
    """Takes note of what is read, and passes it on, one event at a time."""

    onward: Callable[[PassRead], None] | None
    sees_pixels: bool = False
    censuses: dict[str, PixelCensus] = field(default_factory=dict)
    lock: threading.Lock = field(default_factory=threading.Lock)

    def hear(self, event: PassRead) -> None:
        with self.lock:
            again = self.censuses.keys() >= set(event.lights)
            for light in event.lights:
                self.censuses[light] = event.images[light].census
            if self.onward is not None and not again:
                self.onward(event)


def mix_and_expose(
    view: View,
    moods: Sequence[str],
    *,
    workers: int | None = None,
    keep_going: bool = False,
    on_read: Callable[[PassRead], None] | None = None,
    sees_pixels: bool = False,
) -> Exposed:
    """Solve ratios, balance, mix, meter, and set the camera.

    Parameters
    ----------
    view : View
        Opened passes.
    moods : sequence of str
        Moods to be made.
    workers : int, optional
        Threads; one per processor otherwise.
    keep_going : bool
        True: a pass or mask that cannot be used stops only the moods that need it.
    on_read : callable, optional
        Told of passes as they are read.
    sees_pixels : bool
        Whether `on_read` looks at pixels: passes that share a part of a file are then read at once,
        not in bands.

    Raises
    ------
    RecipeError
        With every fault that shows only now, such as lumens for a lamp of unknown lumens.
    PassError
        When a pass cannot be read.
    """
    recipe, workers = view.recipe, workers or default_workers()
    listener = _Listener(on_read, sees_pixels)
    concerned = {mood: moods_behind(recipe, mood) for mood in moods}
    together = dict.fromkeys(other for some in concerned.values() for other in some)
    solved = _solve(view, together, workers, listener, keep_going=keep_going)
    failures: dict[str, EvenfallError] = {
        mood: solved.failures[other]
        for mood, some in concerned.items()
        for other in some
        if other in solved.failures
    }
    chosen = [mood for mood in moods if mood not in failures]
    scale = view.files.luminance_scale
    measuring = plan_measuring(recipe, chosen, view.space, scale, solved.gains)
    measured = {mood: measuring.lights_for(recipe.moods[mood]) for mood in chosen}
    grid = Grid(view.size, {light for lights in measured.values() for light in lights})
    grid.adopt(solved.grid)
    balances = [measuring.balances[mood] for mood in chosen]
    mixes, unread = _mix(view, balances, grid, solved, listener, workers, keep_going=keep_going)
    failures |= unread
    cameras: dict[str, CameraState] = {}
    for mood in mixes:
        try:
            _check_measured(recipe, mood, measured, grid)
            cameras[mood] = measuring.camera(recipe.moods[mood], grid)
        except EvenfallError as error:
            named = _with_huge_pixels(view, measured[mood], listener.censuses, error)
            if not keep_going:
                raise named from None
            failures[mood] = named
    mixes = {
        mood: _with_plate_note(recipe.moods[mood], mixes[mood])
        for mood in chosen
        if mood in cameras
    }
    heard = listener.censuses  # in the order of reading, which depends on the threads
    censuses = {light: heard[light] for light in recipe.model.lights if light in heard}
    return Exposed(measuring, mixes, cameras, failures, censuses, grid)


def _with_plate_note(mood: ResolvedMood, mix: Mix) -> Mix:
    """Say so when a plate cannot show, because the passes cover everything."""
    if mood.plate is None or (mix.alpha is not None and bool((mix.alpha < 1).any())):
        return mix
    has = "have no alpha" if mix.alpha is None else "have alpha 1 everywhere"
    note = (
        f"moods.{mood.name}.plate: {mood.plate.file} is not seen: the passes {has}; "
        "render them with the background left out"
    )
    return replace(mix, remarks=(*mix.remarks, note))


def mix_alone(view: View, mood: str, *, workers: int | None = None) -> Mix:
    """Mix one mood and measure nothing but what its balance needs.

    Raises
    ------
    RecipeError, PassError
        As `mix_and_expose`.
    """
    workers, listener = workers or default_workers(), _Listener(None)
    solved = _solve(view, [mood], workers, listener, keep_going=False)
    resolved = view.recipe.moods[mood]
    balance = balance_mood(view.recipe, resolved, view.space, solved.gains.get(mood))
    grid = Grid(view.size, ())
    mixes, _ = _mix(view, [balance], grid, solved, listener, workers, keep_going=False)
    return mixes[mood]


def _mix(
    view: View,
    balances: Sequence[Balance],
    grid: Grid,
    solved: _Solved,
    listener: _Listener,
    workers: int,
    *,
    keep_going: bool,
) -> tuple[dict[str, Mix], dict[str, EvenfallError]]:
    """Mix balanced moods; passes are shown to the grid and the listener as they go by."""
    recipe = view.recipe

    def see(event: PassRead) -> None:
        grid.see(event)
        listener.hear(event)

    def weigh(area: Area) -> npt.NDArray[np.float32]:
        return weights_of(recipe, area, view.size, view.absent)

    failures: dict[str, EvenfallError] = {}
    regional: dict[str, tuple[RegionalGain, ...]] = {}
    for balance in balances:
        try:
            regional[balance.mood] = regional_gains(recipe, recipe.moods[balance.mood], weigh)
        except PixelSourceError as error:
            if not keep_going:
                raise
            failures[balance.mood] = error
    plan = plan_mix(
        {balance.mood: balance.factors for balance in balances if balance.mood in regional},
        view.passes.batches(recipe.model.lights),
        regional,
        also=grid.lights - grid.planes.keys(),
    )
    bands = _bands(view, plan.lights, grid, listener)
    if len(bands) > 1:
        from evenfall.develop.banded import mix_in_bands

        solved.held.clear()
        mixes, unread = mix_in_bands(
            plan,
            view.files,
            bands,
            watched=grid.lights,
            lower=grid.lowered,
            workers=workers,
            on_event=see,
            keep_going=keep_going,
        )
    else:
        mixes, unread = mix_moods(
            plan,
            view.passes,
            held=solved.held,
            workers=workers,
            on_event=see,
            keep_going=keep_going,
        )
    return mixes, {**failures, **unread}


def _bands(view: View, lights: Iterable[str], grid: Grid, listener: _Listener) -> list[slice]:
    """Bands of rows that passes are read in; none where they are read as a whole."""
    if view.passes is not view.files or listener.sees_pixels:
        return []
    return view.files.bands(lights, multiple=grid.rows_behind)


def _check_measured(
    recipe: Recipe, mood: str, measured: Mapping[str, Sequence[str]], grid: Grid
) -> None:
    """Say of each pass that a mood is exposed by and that was not read, whom else it stops."""
    faults = []
    for light in measured[mood]:
        if light not in grid.planes:
            stopped = joined((name for name, lights in measured.items() if light in lights), "and")
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


def _with_huge_pixels(
    view: View, lights: Sequence[str], censuses: Mapping[str, PixelCensus], error: EvenfallError
) -> EvenfallError:
    """Say which pixels of metered passes no exposure can be set by, where there are such."""
    faults = [
        Fault(
            view.files.headers[light].label,
            f"lights.{light}",
            f"its pixel at {at.column}, {at.row} is {at.value:.3g}, brighter than any light",
            hint="render the pass again, or take that pixel out of the file",
        )
        for light in lights
        if light in censuses and (at := censuses[light].brightest) is not None
    ]
    return PassError([*getattr(error, "faults", ()), *faults]) if faults else error


@dataclass
class _Solved:
    """Gains that were solved from pixels, and what came of reading for them."""

    grid: Grid
    gains: dict[str, dict[str, float]] = field(default_factory=dict)
    held: dict[str, PassImage] = field(default_factory=dict)
    failures: dict[str, EvenfallError] = field(default_factory=dict)


def _solve(
    view: View, moods: Iterable[str], workers: int, listener: _Listener, *, keep_going: bool
) -> _Solved:
    """Solve gains that stand in a ratio; passes read for it are held for the mix."""
    recipe = view.recipe
    needs = {mood: means_needed(recipe, [recipe.moods[mood]]) for mood in moods}
    grid = Grid(view.size, {need.light for some in needs.values() for need in some})
    solved = _Solved(grid)
    batches = view.passes.batches(light for light in recipe.model.lights if light in grid.lights)

    def read(batch: tuple[str, ...]) -> None:
        bands = _bands(view, batch, grid, listener)
        if len(bands) > 1:
            from evenfall.develop.banded import read_in_bands

            event = PassRead(batch, read_in_bands(view.files, batch, bands, grid.lowered))
        else:
            event = PassRead(batch, view.passes.read(batch))
        grid.see(event)
        listener.hear(event)
        with listener.lock:
            room = len(solved.held) < passes_at_once(view.size, _HELD_PASSES)
            if room and len(bands) <= 1:
                solved.held.update(event.images)

    with ThreadPoolExecutor(passes_at_once(view.size, workers)) as pool:
        tasks = {batch: pool.submit(read, batch) for batch in batches}
    errors: dict[str, PassError] = {}
    for batch, task in tasks.items():
        try:
            task.result()
        except PassError as error:
            if not keep_going:
                raise
            errors |= dict.fromkeys(batch, error)
    for mood, some in needs.items():
        unread = [errors[need.light] for need in some if need.light in errors]
        if unread:
            solved.failures[mood] = unread[0]
        elif some:
            try:
                means = {need: _mean(recipe, grid, need) for need in some}
            except PixelSourceError as error:
                if not keep_going:
                    raise
                solved.failures[mood] = error
                continue
            solved.gains[mood] = solve_matches(recipe, recipe.moods[mood], view.space, means)
    return solved


def _mean(recipe: Recipe, grid: Grid, need: MeanNeed) -> npt.NDArray[np.float64]:
    weights = None if need.area is None else weights_of(recipe, need.area, grid.size)
    return area_mean(grid.planes[need.light], weights)
