"""What the passes give to areas of the picture, measured once, and what a recipe makes of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from evenfall.camera.state import CameraState
from evenfall.develop.areas import Areas
from evenfall.develop.asked import Asked
from evenfall.develop.grid import Grid
from evenfall.develop.kept import KeptPasses
from evenfall.develop.measuring import Measuring
from evenfall.develop.reduced import averaged, reduced_size
from evenfall.develop.regions import regional_gains
from evenfall.develop.shelf import Shelf
from evenfall.errors import UsageError
from evenfall.light.primaries import RgbSpace
from evenfall.mix.balance import Balance
from evenfall.mix.engine import PassRead
from evenfall.mix.halves import widen
from evenfall.mix.plan import RegionalGain
from evenfall.passes.image import PassImage
from evenfall.passes.source import PassSource
from evenfall.recipe import Area, Recipe
from evenfall.recipe.places import Place
from evenfall.system.processors import passes_at_once, workers_of

__all__ = ["Measured", "Standing", "measure"]

Floats = npt.NDArray[np.float32]
Means = npt.NDArray[np.float64]

_SMALL_WIDTH = 320


@dataclass(frozen=True, eq=False)
class Standing:
    """What a recipe makes of a mood: factors and camera, without its pixels.

    Parameters
    ----------
    balance : Balance
        Gains and tints, those that are solved from ratios included.
    camera : CameraState
        Exposure and white balance.
    factors : ndarray, shape (lights, 3)
        Of R, G, B, by light of the recipe; 0 for lights that are off.
    """

    balance: Balance
    camera: CameraState
    factors: npt.NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Measured:
    """Passes as they were rendered, brought down to means.

    Parameters
    ----------
    lights : tuple of str
        All lights of the recipe, in its order.
    space : RgbSpace
        The passes' primaries.
    means : mapping of Area or None to ndarray, shape (lights, 3)
        Mean R, G, B in each area; None is the whole picture. Gains that the mood has in regions are
        in them.
    small : KeptPasses
        The passes at a small size.
    grid : Grid
        For the meter.
    shelf : Shelf
        Holds weights of areas.
    source : PassSource
        The passes themselves.
    """

    lights: tuple[str, ...]
    space: RgbSpace
    means: Mapping[Area | None, Means]
    small: KeptPasses
    grid: Grid
    shelf: Shelf
    source: PassSource

    def standing(self, recipe: Recipe, mood: str) -> Standing:
        """Say what a recipe makes of a mood; as `develop_mood`, without mixing.

        Raises
        ------
        RecipeError, PassError
            When gains cannot be worked out, or there is nothing to meter.
        """
        measuring = Measuring(Asked(recipe), self.source, self.grid, self.shelf)
        balance, camera = measuring.balance(mood), measuring.camera(mood)
        factors = np.array([balance.lights[light].factors for light in self.lights])
        return Standing(balance, camera, factors)


def measure(
    recipe: Recipe,
    mood: str,
    source: PassSource,
    areas: Mapping[Area | None, Place],
    *,
    workers: int | None = None,
    shelf: Shelf | None = None,
    small_size: tuple[int, int] | None = None,
) -> Measured:
    """Measure all passes of a recipe.

    Parameters
    ----------
    recipe : Recipe
        Where masks lie.
    mood : str
        Whose gains in regions count.
    source : PassSource
        The passes, read once.
    areas : mapping of Area or None to Place
        Where to measure, and where the recipe says so.
    workers : int, optional
        Threads.
    shelf : Shelf, optional
        Where weights of areas are kept.
    small_size : tuple of int, optional
        Width and height of the small passes, if not 320 pixels wide.

    Raises
    ------
    PassError, PixelSourceError
        When a pass or a mask cannot be read.
    UsageError
        When there is nothing of the picture in an area.

    Examples
    --------
    >>> from evenfall.develop.example import example_recipe
    >>> from evenfall.develop.opening import open_passes
    >>> recipe = example_recipe()
    >>> found = measure(recipe, "dusk", open_passes(recipe), {None: ()})
    >>> found.lights, found.means[None].shape
    (('sun', 'sky', 'lamp'), (3, 3))
    """
    shelf = shelf or Shelf()
    where = Areas(recipe, source.size, shelf)
    weights = {area: _weights(recipe, where, area, place) for area, place in areas.items()}
    named = [area for area in weights if area is not None]
    stack = np.stack([weights[area].ravel() for area in named]) if named else None
    regional = regional_gains(recipe, recipe.moods[mood], where)
    grid = Grid(source.size)
    grid.watch(recipe.model.lights)
    size = small_size or reduced_size(source.size, _SMALL_WIDTH)

    def read(batch: tuple[str, ...]) -> dict[str, tuple[Means, PassImage]]:
        images = source.read(batch)
        grid.see(PassRead(batch, images))
        return {
            light: (_means(image, stack, _gains(regional, light)), _lowered(image, size))
            for light, image in images.items()
        }

    found: dict[str, tuple[Means, PassImage]] = {}
    with ThreadPoolExecutor(passes_at_once(source.size, workers_of(workers)), "measure") as pool:
        for some in pool.map(read, source.batches(recipe.model.lights)):
            found |= some
    lights = tuple(recipe.model.lights)
    table = np.stack([found[light][0] for light in lights])
    columns = {area: number for number, area in enumerate(named)} | {None: len(named)}
    small = KeptPasses(
        {light: found[light][1] for light in lights}, source.space, source.luminance_scale
    )
    means = {area: table[:, columns[area]] for area in dict.fromkeys((*areas, None))}
    return Measured(lights, source.space, means, small, grid, shelf, source)


def _weights(recipe: Recipe, where: Areas, area: Area | None, place: Place) -> Floats:
    if area is None:
        return np.ones((1, 1), np.float32)
    weights = where.weights(area)
    total = float(weights.sum(dtype=np.float64))
    if total <= 0:
        why = where.absent(area)
        found = f"nothing of the picture lies in it{f': {why}' if why else ''}"
        raise UsageError(recipe.fault(place, found, hint="choose another area, or another mask"))
    return (weights / np.float32(total)).astype(np.float32)


def _gains(regional: Sequence[RegionalGain], light: str) -> Floats | None:
    """Gain of a light at each pixel by a mood's regions; None where there are none."""
    total: Floats | None = None
    for region in regional:
        gain = region.gains.get(light, 1.0)
        if gain != 1.0:
            factor = 1 + region.weights * np.float32(gain - 1)
            total = factor if total is None else total * factor
    return total


def _means(image: PassImage, stack: Floats | None, gains: Floats | None) -> Means:
    """Mean R, G, B in each area and, last, in the whole picture; shape (areas + 1, 3)."""
    columns = []
    scratch = np.empty(image.planes[0].size, np.float32)
    for plane in image.planes:
        wide = widen(plane.reshape(-1), scratch).reshape(plane.shape)
        if gains is not None:
            wide = wide * gains
        whole = float(wide.mean(dtype=np.float64))
        there = [] if stack is None else list(stack @ wide.ravel())
        columns.append([*map(float, there), whole])
    return np.array(columns).T


def _lowered(image: PassImage, size: tuple[int, int]) -> PassImage:
    small = averaged(image, size)
    return replace(small, header=replace(image.header, width=size[0], height=size[1]))
