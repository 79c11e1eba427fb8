"""From a recipe and a source of passes to developed moods: the one way of every face.

Ratios are solved, moods balanced, passes read once and added to all moods, the meter read, the
camera set. Then the moods come one by one; plate, cut-outs and regions are read when a mood's look
asks for them, so that only one mood's are held at a time.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from evenfall.camera.state import CameraState
from evenfall.develop.areas import Areas
from evenfall.develop.asked import Asked
from evenfall.develop.checking import check_moods
from evenfall.develop.developed import DevelopedMood
from evenfall.develop.kept import grid_of
from evenfall.develop.layers import light_layers
from evenfall.develop.measuring import Measuring
from evenfall.develop.mix_guides import mix_guides
from evenfall.develop.opening import open_passes
from evenfall.develop.reading import Reading
from evenfall.develop.regions import additions_of, regional_gains
from evenfall.develop.remarks import check_measured, with_odd_passes, with_plate_note
from evenfall.develop.shelf import Shelf
from evenfall.errors import EvenfallError, Fault, PassError, PixelSourceError, RecipeError
from evenfall.mix.balance import Balance
from evenfall.mix.engine import Mix, PassRead
from evenfall.mix.plan import RegionalGain, only, plan_mix
from evenfall.passes.image import PixelCensus
from evenfall.passes.source import PassSource
from evenfall.recipe import Recipe, WhiteBalance
from evenfall.system.opened import Once, Openings, listening

__all__ = [
    "Development",
    "balance_alone",
    "develop_mood",
    "develop_moods",
    "measure_elsewhere",
    "mix_mood",
]


@dataclass(frozen=True, eq=False)
class _Exposed:
    """A mood that is mixed, and whose camera is set."""

    mix: Mix
    camera: CameraState
    openings: Openings


class Development:
    """Moods that are mixed and exposed, and what was found out on the way.

    Going through it gives every mood once, as a `DevelopedMood`, and lets it go.

    Attributes
    ----------
    failures : dict of str to EvenfallError
        Moods that cannot be made; always empty unless told to keep going.
    censuses : dict of str to PixelCensus
        By light that was read, in the recipe's order.
    """

    def __init__(self, engine: _Engine, exposed: dict[str, _Exposed]) -> None:
        self._engine, self._exposed = engine, exposed
        self.failures = engine.failures
        heard = engine.reading.censuses  # in the order of reading, which depends on the threads
        lights = engine.asked.recipe.model.lights
        self.censuses: dict[str, PixelCensus] = {
            light: heard[light] for light in lights if light in heard
        }

    @property
    def moods(self) -> tuple[str, ...]:
        """Moods that are still to come."""
        return tuple(self._exposed)

    def __iter__(self) -> Iterator[DevelopedMood]:
        while self._exposed:
            name = next(iter(self._exposed))
            yield self._engine.complete(name, self._exposed.pop(name))


def develop_moods(
    source: PassSource,
    asked: Asked,
    moods: Sequence[str],
    *,
    workers: int | None = None,
    keep_going: bool = False,
    on_read: Callable[[PassRead], None] | None = None,
    sees_pixels: bool = False,
    shelf: Shelf | None = None,
    held: Measuring | None = None,
    lights: Collection[str] | None = None,
) -> Development:
    """Read and mix the passes of moods, and expose them.

    Parameters
    ----------
    source : PassSource
        Files at full size, reduced ones, or passes kept in memory.
    asked : Asked
        What the recipe says.
    moods : sequence of str
        Names of the moods.
    workers : int, optional
        Threads; one per processor otherwise. The result does not depend on them.
    keep_going : bool
        True: what cannot be used stops only the moods that need it.
    on_read : callable, optional
        Told of passes as they are read, one event at a time, from any thread.
    sees_pixels : bool
        Whether `on_read` looks at pixels: passes that share a part of a file are then read at once,
        not in bands.
    shelf : Shelf, optional
        Where masks and plates are kept for a later call.
    held : Measuring, optional
        Readings and ratios of another frame, from `measure_elsewhere`, which then count.
    lights : collection of str, optional
        Only these are summed; balances and camera stay as with all of them.

    Raises
    ------
    RecipeError
        With every fault that shows only now, such as a ratio to a light that is nowhere.
    PassError, PixelSourceError
        When a pass, or a mask that its sum needs, cannot be read.

    Examples
    --------
    >>> from evenfall.develop.example import example_recipe
    >>> recipe = example_recipe()
    >>> development = develop_moods(open_passes(recipe), Asked(recipe), ["day", "dusk"])
    >>> [developed.name for developed in development]
    ['day', 'dusk']
    """
    reading = Reading(source, workers, on_read, sees_pixels=sees_pixels)
    if held is None and asked.metered is not None:
        held = measure_elsewhere(asked.metered, moods, workers=workers)
    engine = _Engine(reading, asked, shelf or Shelf(0), keep_going=keep_going, held=held)
    return engine.run(moods, lights)


def measure_elsewhere(
    metered: Asked, moods: Sequence[str], *, workers: int | None = None
) -> Measuring:
    """Measure exposure, ratios and neutral spots of moods in one frame, for others.

    Parameters
    ----------
    metered : Asked
        What the recipe says of the frame that is measured.
    moods : sequence of str
        Names of moods of the other frames.
    workers : int, optional
        Threads; one per processor otherwise.

    Raises
    ------
    RecipeError, PassError, PixelSourceError
        When there is nothing to measure, or a pass or a mask cannot be read.
    """
    recipe = metered.recipe
    sequence = recipe.model.sequence
    hours = () if sequence is None else sequence.moods_at(None)
    names = dict.fromkeys((*(mood for mood in moods if mood in recipe.moods), *hours))
    engine = _Engine(Reading(open_passes(recipe), workers), metered, Shelf(), keep_going=False)
    return engine.measure(list(names))


def develop_mood(
    recipe: Recipe, mood: str, *, draft: bool = False, workers: int | None = None
) -> DevelopedMood:
    """Develop one mood of a recipe.

    Parameters
    ----------
    recipe : Recipe
        From `evenfall.load`.
    mood : str
        Name of the mood.
    draft : bool
        At the reduced size of drafts.
    workers : int, optional
        Threads; one per processor otherwise.

    Raises
    ------
    RecipeError, PassError, PixelSourceError
        When gains cannot be worked out, or passes or other pictures cannot be used.
    """
    asked = Asked(recipe)
    check_moods(asked, [mood])
    (developed,) = develop_moods(open_passes(recipe, draft=draft), asked, [mood], workers=workers)
    return developed


def mix_mood(source: PassSource, asked: Asked, mood: str, *, workers: int | None = None) -> Mix:
    """Mix one mood and measure nothing but what its balance needs.

    Raises
    ------
    RecipeError, PassError
        When gains cannot be worked out, or a pass cannot be read.
    """
    return _Engine(Reading(source, workers), asked, Shelf(0), keep_going=False).mix_alone(mood)


def balance_alone(
    source: PassSource, asked: Asked, mood: str, *, workers: int | None = None
) -> Balance:
    """Work out gains and tints of a mood; only what its ratios need is read.

    Raises
    ------
    RecipeError, PassError
        When gains cannot be worked out, or a pass cannot be read.

    Examples
    --------
    >>> from evenfall.develop.example import example_recipe
    >>> recipe = example_recipe()
    >>> balance_alone(open_passes(recipe), Asked(recipe), "dusk").on
    ('sky', 'lamp')
    """
    reading = Reading(source, workers)
    return _Engine(reading, asked, Shelf(0), keep_going=False).balance_alone(mood)


class _Engine:
    """The work of one development."""

    def __init__(
        self,
        reading: Reading,
        asked: Asked,
        shelf: Shelf,
        *,
        keep_going: bool,
        held: Measuring | None = None,
    ) -> None:
        self.reading, self.asked, self.shelf, self.held = reading, asked, shelf, held
        self.source, self.keep_going = reading.source, keep_going
        self.grid = grid_of(self.source)
        self.areas = Areas(asked.recipe, self.source.size, shelf)
        self.measuring = Measuring(asked, self.source, self.grid, shelf, held)
        self.guides = Once(lambda: mix_guides(asked.recipe, self.source))
        self.failures: dict[str, EvenfallError] = {}
        self.unread: dict[str, PassError] = {}

    def fail(self, mood: str, error: EvenfallError) -> None:
        """Give up a mood, or everything if the run is not to keep going."""
        if not self.keep_going:
            raise error
        self.failures[mood] = error

    def run(self, moods: Sequence[str], lights: Collection[str] | None = None) -> Development:
        behind = {mood: self.asked.behind(mood) for mood in moods}
        self._solve(behind)
        chosen = [mood for mood in moods if mood not in self.failures]
        measured = {mood: self._measured(mood) for mood in chosen}
        self.grid.watch(light for lights in measured.values() for light in lights)
        mixes = self._mix(chosen, lights)
        exposed = {}
        for mood in chosen:
            if mood not in mixes:
                continue
            try:
                exposed[mood] = self._expose(mood, mixes.pop(mood), measured)
            except EvenfallError as error:
                censuses = self.reading.censuses
                told = with_odd_passes(self.source, censuses, measured[mood], error)
                self.fail(mood, told)
        return Development(self, exposed)

    def measure(self, moods: Sequence[str]) -> Measuring:
        """Measure all that moods are balanced and exposed by, and read nothing else."""
        self._solve({mood: self.asked.behind(mood) for mood in moods})
        lights = {light: None for mood in moods for light in self._measured(mood)}
        self.grid.watch(lights)
        self.reading.measure(self.grid, keep_going=False)
        for mood in moods:
            self.measuring.camera(mood)
        return self.measuring

    def _measured(self, mood: str) -> tuple[str, ...]:
        if self.held is not None:
            return ()
        return self.asked.measured_lights(mood, self.source.space)

    def balance_alone(self, mood: str) -> Balance:
        self._solve({mood: (mood,)})
        return self.measuring.balance(mood)

    def mix_alone(self, mood: str) -> Mix:
        self._solve({mood: (mood,)})
        self.grid.watch(())
        return self._mix([mood])[mood]

    def _solve(self, behind: dict[str, tuple[str, ...]]) -> None:
        """Read the passes that ratios need, and work out all balances, with every fault of them."""
        together = dict.fromkeys(other for some in behind.values() for other in some)
        needs = {mood: self.asked.means(mood) for mood in together}
        if self.held is None:
            self.grid.watch(need.light for some in needs.values() for need in some)
        self.unread = self.reading.measure(self.grid, keep_going=self.keep_going)
        failed: dict[str, EvenfallError] = {}
        faults: list[Fault] = []
        for mood in together:
            lost = [self.unread[need.light] for need in needs[mood] if need.light in self.unread]
            try:
                if lost:
                    raise lost[0]
                self.measuring.balance(mood)
            except RecipeError as error:
                faults += error.faults
            except EvenfallError as error:
                if not self.keep_going:
                    raise
                failed[mood] = error
        if faults:
            raise RecipeError(dict.fromkeys(faults))
        for mood, some in behind.items():
            for other in some:
                if other in failed:
                    self.failures[mood] = failed[other]

    def _mix(self, moods: Sequence[str], lights: Collection[str] | None = None) -> dict[str, Mix]:
        """Mix balanced moods; passes are shown to the grid as they go by."""
        recipe = self.asked.recipe
        factors, openings = {}, {}
        regional: dict[str, tuple[RegionalGain, ...]] = {}
        for mood in moods:
            try:
                with listening() as openings[mood]:
                    factors[mood] = only(lights, self.measuring.balance(mood).factors)
                    regional[mood] = regional_gains(recipe, recipe.moods[mood], self.areas)
            except PixelSourceError as error:
                self.fail(mood, error)
        plan = plan_mix(
            {mood: factors[mood] for mood in regional},
            self.source.batches(recipe.model.lights),
            regional,
            also=self.grid.missing,
        )
        mixes, unread = self.reading.mix(plan, self.grid, keep_going=self.keep_going)
        self.failures |= unread
        return {
            mood: replace(mix, opened=tuple(Openings((*openings[mood], *mix.opened))))
            for mood, mix in mixes.items()
        }

    def _expose(self, mood: str, mix: Mix, measured: dict[str, tuple[str, ...]]) -> _Exposed:
        check_measured(self.asked.recipe, self.grid, mood, measured)
        with listening(Openings(mix.opened)) as openings:
            camera = self.measuring.camera(mood)
        return _Exposed(with_plate_note(self.asked.mood(mood), mix), camera, openings)

    def complete(self, name: str, exposed: _Exposed) -> DevelopedMood:
        """Give the developed mood; plate, cut-outs and regions are read when they are needed."""
        recipe, mood, source = self.asked.recipe, self.asked.mood(name), self.source
        balance, meter, areas = self.measuring.balance(name), self.asked.meter(name), self.areas
        notes = (
            *balance.notes,
            *(() if meter is None else meter.notes),
            *exposed.camera.notes,
            *exposed.mix.notes,
        )

        def neutral(asked: WhiteBalance) -> npt.NDArray[np.float64] | None:
            return self.measuring.neutral(name, asked)

        return DevelopedMood(
            mood,
            balance,
            meter,
            exposed.camera,
            exposed.mix,
            source.space,
            source.luminance_scale,
            source.pixel_aspect,
            recipe.path.parent,
            exposed.openings,
            Openings(),
            Once(lambda: additions_of(recipe, mood, source.space, areas, neutral, self.shelf)),
            self.guides,
            lambda: (*notes, *areas.notes(mood)),
            lambda: light_layers(
                self.reading, balance.factors, regional_gains(recipe, mood, areas)
            ),
        )
