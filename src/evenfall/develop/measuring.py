"""What has to be measured before a mood can be balanced and exposed.

The meter, ratios and neutral spots look at the view averaged down to 640 pixels of width, so that
a draft is exposed like the full picture and single bright pixels weigh little. Averaging commutes
with the mix; so passes are reduced as they go by, and each is read once.
"""

from __future__ import annotations

import threading
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from evenfall.camera.exposure import MeterPlan, plan_meter
from evenfall.camera.meter import Reading, meter, spot_weights
from evenfall.camera.state import CameraState, camera_state
from evenfall.develop.areas import AbsentObjects, weights_of
from evenfall.develop.reduced import averaged, reduced_size
from evenfall.errors import Fault, PassError, RecipeError
from evenfall.light.primaries import RgbSpace, luminance_weights
from evenfall.mix.balance import Balance, balance_mood
from evenfall.mix.engine import PassRead
from evenfall.passes.image import PassImage
from evenfall.recipe import Recipe, ResolvedMood, WhiteBalance

__all__ = ["GRID_WIDTH", "Grid", "Measuring", "neutral_moods", "plan_measuring"]

Floats = npt.NDArray[np.float32]
GRID_WIDTH = 640


class Grid:
    """Measured passes, averaged down.

    Parameters
    ----------
    size : tuple of int
        Width and height of the passes.
    lights : iterable of str
        Lights that are measured; others are let go by.
    """

    def __init__(self, size: tuple[int, int], lights: Iterable[str]) -> None:
        self._height = size[1]
        self.size = reduced_size(size, GRID_WIDTH)
        self.lights = frozenset(lights)
        self.planes: dict[str, Floats] = {}
        self.alphas: dict[str, Floats] = {}
        self._lock = threading.Lock()

    def see(self, event: PassRead) -> None:
        """Take note of passes that were read; may be called from several threads."""
        for light in self.lights.intersection(event.lights) - self.planes.keys():
            image = event.images[light]
            small = averaged(image, self.size)
            planes, alpha = np.stack(small.planes), small.alpha
            with self._lock:
                self.planes[light] = planes
                if alpha is not None:
                    self.alphas[light] = alpha

    @property
    def rows_behind(self) -> int:
        """Rows of a pass behind one row here; 1 where they do not divide evenly."""
        rows, odd = divmod(self._height, self.size[1])
        return 1 if odd else rows

    def lowered(self, image: PassImage) -> PassImage:
        """Bring a band of rows down to what is kept of it.

        A band must be a multiple of `rows_behind`. It stays as it is where rows do not divide
        evenly: only the whole picture can then be brought down.
        """
        rows = self.rows_behind
        if rows == 1:
            return image
        size = self.size[0], len(image.planes[0]) // rows
        return averaged(image, size)

    def adopt(self, other: Grid) -> None:
        """Take over what another grid of the same view has seen."""
        self.planes |= {light: other.planes[light] for light in self.lights & other.planes.keys()}
        self.alphas |= {light: other.alphas[light] for light in self.lights & other.alphas.keys()}

    def total(self, balance: Balance, lights: Sequence[str]) -> Floats:
        """Sum of lights under a balance; shape (3, h, w)."""
        width, height = self.size
        total = np.zeros((3, height, width), np.float32)
        for light in lights:
            factors = np.asarray(balance.factors[light], np.float32)
            total += self.planes[light] * factors[:, None, None]
        return total

    def alpha(self, lights: Sequence[str]) -> Floats | None:
        """Alpha of the first of these lights that has one."""
        return next((self.alphas[light] for light in lights if light in self.alphas), None)


@dataclass(frozen=True, eq=False)
class Measuring:
    """Balances, and what the camera needs to know from pixels.

    Parameters
    ----------
    recipe : Recipe
        The recipe.
    space : RgbSpace
        The passes' primaries.
    luminance_scale : float or None
        cd/m2 of a pixel of luminance 1.
    balances : mapping of str to Balance
        Of the chosen moods, and of those that are metered for them.
    meters : mapping of str to MeterPlan or None
        By chosen mood.
    """

    recipe: Recipe
    space: RgbSpace
    luminance_scale: float | None
    balances: Mapping[str, Balance]
    meters: Mapping[str, MeterPlan | None]
    _readings: dict[object, Reading] = field(default_factory=dict)

    def lights_for(self, mood: ResolvedMood) -> tuple[str, ...]:
        """Lights that must be measured before this mood can be exposed."""
        needed: set[str] = set()
        plan = self.meters[mood.name]
        if plan is not None:
            needed.update(plan.lights)
        for other in neutral_moods(mood):
            needed.update(self._on(other))
        return tuple(light for light in self.recipe.model.lights if light in needed)

    def camera(self, mood: ResolvedMood, grid: Grid) -> CameraState:
        """Set the camera of a mood from what was measured."""
        return camera_state(
            self.recipe,
            mood,
            self.space,
            reading=self._reading(mood, grid),
            luminance_scale=self.luminance_scale,
            neutral_rgb=self.neutral(mood, mood.camera.white_balance, grid),
        )

    def neutral(
        self, mood: ResolvedMood, balance: WhiteBalance | None, grid: Grid
    ) -> npt.NDArray[np.float64] | None:
        """Mean of the mix in the neutral spot of a white balance; None when it has none."""
        if balance is None or balance.neutral is None:
            return None
        measured = balance.neutral_mood or mood.name
        total = grid.total(self.balances[measured], self._on(measured))
        weights = spot_weights(balance.neutral, balance.neutral_radius, *grid.size)
        weighted = total.astype(np.float64) * weights
        means: npt.NDArray[np.float64] = weighted.sum(axis=(1, 2)) / float(weights.sum())
        return means

    def _on(self, mood: str) -> tuple[str, ...]:
        return tuple(light for light, rgb in self.balances[mood].factors.items() if any(rgb))

    def _reading(self, mood: ResolvedMood, grid: Grid) -> Reading | None:
        plan = self.meters[mood.name]
        if plan is None:
            return None
        key = (plan.mood, plan.lights, plan.meter)
        if key not in self._readings:
            self._readings[key] = self._metered(plan, grid)
        return self._readings[key]

    def _metered(self, plan: MeterPlan, grid: Grid) -> Reading:
        area, absent = plan.meter.area, AbsentObjects()
        weights = None if area is None else weights_of(self.recipe, area, grid.size, absent)
        try:
            return meter(
                grid.total(self.balances[plan.mood], plan.lights),
                luminance_weights(self.space),
                plan.meter,
                weights,
                alpha=grid.alpha(plan.lights),
                subject=", ".join(plan.lights),
            )
        except PassError as error:
            why = "" if area is None else absent.among(area)
            if not why:
                raise
            faults = [replace(fault, found=f"{fault.found}: {why}") for fault in error.faults]
            raise PassError(faults) from error


def white_balances(mood: ResolvedMood) -> list[WhiteBalance]:
    """White balances of a mood: the camera's and those of its regions."""
    found = [mood.camera.white_balance, *(region.white_balance for region in mood.regions)]
    return [balance for balance in found if balance is not None]


def neutral_moods(mood: ResolvedMood) -> list[str]:
    """Moods in which the neutral spots of a mood are measured."""
    found = [
        balance.neutral_mood or mood.name
        for balance in white_balances(mood)
        if balance.neutral is not None
    ]
    return list(dict.fromkeys(found))


def moods_behind(recipe: Recipe, mood: str) -> list[str]:
    """Name a mood, and those that are metered or hold the neutral spot for it.

    Raises
    ------
    RecipeError
        When everything that is to be metered is off.
    """
    found: dict[str, None] = {mood: None}
    plan = plan_meter(recipe, recipe.moods[mood])
    if plan is not None:
        found[plan.mood] = None
    found |= dict.fromkeys(neutral_moods(recipe.moods[mood]))
    return list(found)


def plan_measuring(
    recipe: Recipe,
    moods: Sequence[str],
    space: RgbSpace,
    luminance_scale: float | None,
    solved: Mapping[str, Mapping[str, float]],
) -> Measuring:
    """Balance moods, and find out what must be measured to expose them.

    Parameters
    ----------
    recipe : Recipe
        The recipe.
    moods : sequence of str
        Chosen moods.
    space : RgbSpace
        The passes' primaries.
    luminance_scale : float or None
        cd/m2 of a pixel of luminance 1.
    solved : mapping of str to mapping of str to float
        Gains that were solved from pixels, by mood and light.

    Raises
    ------
    RecipeError
        With every fault of every mood.
    """
    faults: list[Fault] = []
    meters: dict[str, MeterPlan | None] = {}
    concerned = dict.fromkeys(moods)
    for name in moods:
        try:
            meters[name] = plan_meter(recipe, recipe.moods[name])
        except RecipeError as error:
            faults.extend(error.faults)
            continue
        concerned |= dict.fromkeys(moods_behind(recipe, name))
    balances: dict[str, Balance] = {}
    for name in concerned:
        try:
            balances[name] = balance_mood(recipe, recipe.moods[name], space, solved.get(name, {}))
        except RecipeError as error:
            faults.extend(error.faults)
    if faults:
        raise RecipeError(dict.fromkeys(faults))
    return Measuring(recipe, space, luminance_scale, balances, meters)
