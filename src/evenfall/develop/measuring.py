"""What pixels say before a mood can be balanced and exposed: ratios, meter readings, neutral spots.

Each is worked out once, from passes that a grid has seen; whoever uses one is taken to have opened
the files behind it.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from evenfall.camera.between import camera_between
from evenfall.camera.exposure import MeterPlan
from evenfall.camera.meter import Reading, meter, spot_weights
from evenfall.camera.state import CameraState, Taken, camera_state
from evenfall.develop.areas import Areas
from evenfall.develop.asked import Asked
from evenfall.develop.grid import Grid
from evenfall.develop.shelf import Shelf
from evenfall.errors import PassError
from evenfall.light.primaries import luminance_weights
from evenfall.mix.balance import Balance
from evenfall.mix.between import balance_between
from evenfall.mix.matching import (
    MeanNeed,
    area_ratios,
    means_needed,
    solve_matches,
    weighted_mean,
)
from evenfall.passes.source import PassSource
from evenfall.recipe import WhiteBalance
from evenfall.system.opened import Remembered

__all__ = ["Measuring"]

Means = npt.NDArray[np.float64]


class Measuring:
    """Balances, and what the camera needs to know from pixels.

    Parameters
    ----------
    asked : Asked
        What the recipe says.
    source : PassSource
        Whose space and scale count.
    grid : Grid
        Has seen what is asked for here.
    shelf : Shelf
        For weights of areas.
    held : Measuring, optional
        Of another frame, whose readings, ratios and neutral spots count.
    """

    def __init__(
        self,
        asked: Asked,
        source: PassSource,
        grid: Grid,
        shelf: Shelf,
        held: Measuring | None = None,
    ) -> None:
        self._asked, self._source, self._grid = asked, source, grid
        self._areas, self._shelf = Areas(asked.recipe, grid.size, shelf), shelf
        self._balances: Remembered[Balance] = Remembered()
        self._readings: Remembered[Reading] = Remembered()
        self._neutrals: Remembered[Means] = Remembered()
        self._means: Remembered[Means] = Remembered()
        self._held = held

    @property
    def luminance_scale(self) -> float | None:
        """cd/m2 of a pixel of luminance 1, when known."""
        return self._source.luminance_scale

    def balance(self, mood: str) -> Balance:
        """Balance of a mood, with the gains that its ratios come to.

        Raises
        ------
        RecipeError
            When gains or tints cannot be had.
        PixelSourceError
            When the mask of a ratio cannot be read.
        """
        return self._balances.get(mood, lambda: self._balanced(mood))

    def _balanced(self, mood: str) -> Balance:
        between = self._asked.mood(mood).between
        if between is not None:
            first = self.balance(between.first)
            if between.share == 0:
                return first
            second = self.balance(between.second)
            return balance_between(first, second, between.share, self._source.space)
        recipe, matchings = self._asked.recipe, self._asked.matchings(mood)
        counted = {
            light: self.balance(step.mood).lights[light].gain * math.exp2(step.stops)
            for light, step in self._asked.counted(mood).items()
        }
        balance = self._asked.balance(mood, self._source.space).with_gains(recipe, counted)
        if not matchings:
            return balance
        means = {need: self.mean(need) for need in means_needed(matchings)}
        solved = solve_matches(recipe, matchings, balance, self._source.space, means)
        balance = balance.with_gains(recipe, solved)
        ratios = area_ratios(matchings, balance, self._source.space, means)
        return replace(balance, area_ratios=ratios)

    def mean(self, need: MeanNeed) -> Means:
        """Mean R, G, B of a pass as rendered, in an area; shape (3,)."""
        if self._held is not None:
            return self._held.mean(need)
        return self._means.get(need, lambda: self._mean(need))

    def _mean(self, need: MeanNeed) -> Means:
        weights = None if need.area is None else self._areas.weights(need.area)
        return weighted_mean(self._grid.planes(need.light), weights)

    def camera(self, mood: str) -> CameraState:
        """Camera of a mood, as set from what was measured.

        Raises
        ------
        RecipeError, PassError
            When there is nothing to meter or to balance by.
        """
        resolved = self._asked.mood(mood)
        between = resolved.between
        if between is not None:
            first = self.camera(between.first)
            if between.share == 0:
                return first
            second, moods = self.camera(between.second), self._asked.recipe.moods
            ends = moods[between.first].camera, moods[between.second].camera
            return camera_between(first, second, *ends, between.share, self._source.space)
        plan = self._asked.meter(mood)
        return camera_state(
            self._asked.recipe,
            resolved,
            self._source.space,
            reading=None if plan is None else self.reading(plan),
            luminance_scale=self._source.luminance_scale,
            neutral_rgb=self.neutral(mood, resolved.camera.white_balance),
            taken=self.taken(mood),
        )

    def taken(self, mood: str) -> Taken | None:
        """Give the exposure that a mood takes from another view; None where it has its own."""
        if mood not in self._asked.recipe.exposed_as:
            return None
        if self._held is not None:
            return self._held.taken(mood)
        from evenfall.develop.elsewhere import exposure_taken

        return exposure_taken(self._asked.elsewhere(mood), mood, self._shelf)

    def neutral(self, mood: str, balance: WhiteBalance | None) -> Means | None:
        """Mean of the mix in the neutral spot of a white balance; None when it has none."""
        if balance is None or balance.neutral is None:
            return None
        if self._held is not None:
            return self._held.neutral(mood, balance)
        measured = balance.neutral_mood or mood
        key = measured, balance.neutral, balance.neutral_radius
        spot = balance.neutral
        return self._neutrals.get(key, lambda: self._in_spot(measured, spot, balance))

    def _in_spot(self, mood: str, spot: tuple[float, float], settings: WhiteBalance) -> Means:
        balance = self.balance(mood)
        total = self._grid.total(balance, balance.on)
        weights = spot_weights(spot, settings.neutral_radius, *self._grid.size)
        weighted = total.astype(np.float64) * weights
        means: Means = weighted.sum(axis=(1, 2)) / float(weights.sum())
        return means

    def reading(self, plan: MeterPlan) -> Reading:
        """Read the meter; moods with equal plans share one reading."""
        if self._held is not None:
            return self._held.reading(plan)
        key = plan.mood, plan.lights, plan.meter
        return self._readings.get(key, lambda: self._metered(plan))

    def _metered(self, plan: MeterPlan) -> Reading:
        area = plan.meter.area
        weights = None if area is None else self._areas.weights(area)
        try:
            return meter(
                self._grid.total(self.balance(plan.mood), plan.lights),
                luminance_weights(self._source.space),
                plan.meter,
                weights,
                alpha=self._grid.alpha(plan.lights),
                subject=", ".join(plan.lights),
            )
        except PassError as error:
            why = "" if area is None else self._areas.absent(area)
            if not why:
                raise
            faults = [replace(fault, found=f"{fault.found}: {why}") for fault in error.faults]
            raise PassError(faults) from error
