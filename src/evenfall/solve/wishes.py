"""From the aims of a mood to demands of the solver, and to figures a person reads."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from evenfall.light.colour import kelvin_to_xy, xy_to_kelvin_duv
from evenfall.light.primaries import luminance_weights, rgb_to_xyz
from evenfall.light.units import MIDDLE_GREY
from evenfall.recipe import Area
from evenfall.recipe.aims import Aim
from evenfall.recipe.places import Place
from evenfall.recipe.words.wording import stops_words
from evenfall.solve.limits import Shown
from evenfall.solve.measured import Measured
from evenfall.solve.problem import Colour, Demand, Level, Matrix, Ratio
from evenfall.solve.solving import MUST

__all__ = ["TOLERANCE", "Wish", "WishKey", "areas_of", "wishes_of"]

TOLERANCE = 0.05
"""Stops by which an aim may be missed and count as met: less than an eye sees side by side."""

WishKey = Literal["lightness", "ratio", "colour", "clipped", "shadows"]


@dataclass(frozen=True, eq=False)
class Wish:
    """One thing that an aim asks.

    Parameters
    ----------
    aim : str
        Name of the aim.
    key : str
        Of what kind.
    asks : str
        In words.
    demand : Demand
        For the solver.
    must : bool
        Whether it is to be met whatever becomes of the others.
    area : Area or None
        Where; None is the whole picture.
    goal : float
        What is asked, as `figure` gives it.
    """

    aim: str
    key: WishKey
    asks: str
    demand: Demand
    must: bool
    area: Area | None
    goal: float

    def miss(self, factors: Matrix) -> float:
        """Say by how many stops it is missed."""
        return float(np.linalg.norm(self.demand.residuals(factors)))

    def figure(self, factors: Matrix) -> float:
        """Tell what the picture shows: stops from middle grey, log2 of a ratio, or kelvin."""
        if isinstance(self.demand, Level):
            return float(self.demand.residuals(factors)[0] + self.demand.stops - _GREY)
        if isinstance(self.demand, Ratio):
            return float(self.demand.residuals(factors)[0] + self.demand.stops)
        if isinstance(self.demand, Colour):
            x, y, z = (self.demand.light * factors).sum(axis=(1, 2))
            total = x + y + z
            found = xy_to_kelvin_duv((x / total, y / total)) if total > 0 and y > 0 else None
            return math.nan if found is None else found[0]
        return math.nan

    def said(self, figure: float) -> str:
        """Say a figure of its kind."""
        if self.key == "lightness":
            return f"{figure:+.2f} stops"
        if self.key == "ratio":
            return f"{2.0**figure:.2f}:1" if figure >= 0 else f"1:{2.0**-figure:.2f}"
        if self.key == "colour":
            return "no temperature" if math.isnan(figure) else f"{figure:.0f} K"
        if self.key == "clipped":
            return f"{figure:.1%}"
        return f"L* {figure:.1f}"


_GREY = math.log2(MIDDLE_GREY)


def _plain(stops: float) -> str:
    words = stops_words(stops).lstrip("+")
    is_one = words == "1" or ("/" in words and " " not in words)
    return f"{words} {'stop' if is_one else 'stops'}"


def _from_grey(stops: float) -> str:
    if stops_words(stops) == "0":
        return "middle grey"
    return f"{_plain(abs(stops))} {'over' if stops > 0 else 'under'} middle grey"


def areas_of(mood: str, aims: Mapping[str, Aim]) -> dict[Area | None, Place]:
    """Areas that aims speak of, and where the recipe says so."""
    found: dict[Area | None, Place] = {}
    for name, aim in aims.items():
        place: Place = ("moods", mood, "aims", name)
        found.setdefault(aim.area, (*place, "area"))
        if isinstance(aim.over, Area):
            found.setdefault(aim.over, (*place, "over"))
    return found


def wishes_of(
    aims: Mapping[str, Aim],
    measured: Measured,
    matrix: npt.NDArray[np.float64],
    before: Matrix,
    shown: Shown | None,
    tightened: Mapping[tuple[str, str], float] | None = None,
) -> list[Wish]:
    """Turn the aims of a mood into what the solver takes.

    Parameters
    ----------
    aims : mapping of str to Aim
        By name.
    measured : Measured
        Holds the means of their areas.
    matrix : ndarray, shape (3, 3)
        The camera's: exposure and white balance.
    before : ndarray, shape (lights, 3)
        Factors from which "brighter" and "darker" count.
    shown : Shown or None
        The displayed picture, where an aim has limits in it.
    tightened : mapping of tuple of str to float, optional
        Limits that stand for those of aims, by name and kind, where the small picture shows less
        than the real one.
    """
    found: list[Wish] = []
    for name, aim in aims.items():
        weight = MUST if aim.must else aim.weight
        maker = _Maker(name, aim, weight, measured, matrix, aims)
        found += [*maker.lightness(before), *maker.ratio(), *maker.colour()]
        if shown is not None:
            found += maker.limits(shown, tightened or {})
    return found


@dataclass(frozen=True, eq=False)
class _Maker:
    """Makes the wishes of one aim."""

    name: str
    aim: Aim
    weight: float
    measured: Measured
    matrix: npt.NDArray[np.float64]
    aims: Mapping[str, Aim]

    def _wish(self, key: WishKey, asks: str, demand: Demand, goal: float) -> Wish:
        return Wish(self.name, key, asks, demand, self.aim.must, self.aim.area, goal)

    def _light(self, area: Area | None) -> Matrix:
        weights = luminance_weights(self.measured.space) @ self.matrix
        light: Matrix = self.measured.means[area] * weights
        return light

    def lightness(self, before: Matrix) -> list[Wish]:
        aim, light = self.aim, self._light(self.aim.area)
        if aim.stops is not None:
            goal, asks = aim.stops, _from_grey(aim.stops)
        elif aim.brighter is not None or aim.darker is not None:
            step = aim.brighter if aim.brighter is not None else -(aim.darker or 0.0)
            stood = math.log2(max(float((light * before).sum()), 1e-30)) - _GREY
            goal = stood + step
            way = "brighter" if aim.brighter is not None else "darker"
            size = step if aim.brighter is not None else -step
            asks = f"{_plain(size)} {way} than it stood"
        else:
            return []
        return [self._wish("lightness", asks, Level(self.weight, light, goal + _GREY), goal)]

    def ratio(self) -> list[Wish]:
        ratio, over = self.aim.ratio_value, self.aim.over
        if ratio is None or over is None:
            return []
        other = over if isinstance(over, Area) else self.aims[over].area
        goal = math.log2(ratio)
        demand = Ratio(self.weight, self._light(self.aim.area), self._light(other), goal)
        named = over if isinstance(over, str) else "another area"
        return [self._wish("ratio", f"{self.aim.ratio} over {named}", demand, goal)]

    def colour(self) -> list[Wish]:
        aim, space = self.aim, self.measured.space
        if aim.kelvin is not None:
            to_xyz, asks = rgb_to_xyz(space), f"{aim.kelvin:.0f} K"
            xy, goal = kelvin_to_xy(aim.kelvin), aim.kelvin
        elif aim.neutral:
            to_xyz, asks = rgb_to_xyz(space) @ self.matrix, "neutral"
            xy = space.white
            white = xy_to_kelvin_duv(xy)
            goal = math.nan if white is None else white[0]
        else:
            return []
        light = np.einsum("kc,ic->kic", to_xyz, self.measured.means[aim.area])
        x, y = xy
        total = -2 * x + 12 * y + 3
        demand = Colour(self.weight, light, (4 * x / total, 9 * y / total))
        return [self._wish("colour", asks, demand, goal)]

    def limits(self, shown: Shown, tightened: Mapping[tuple[str, str], float]) -> list[Wish]:
        aim, found = self.aim, []
        if (goal := aim.clipped_at_most) is not None:
            share = tightened.get((self.name, "clipped"), goal)
            demand = shown.clipped(self.weight, aim.area, share)
            found.append(self._wish("clipped", f"at most {goal:.1%} clipped", demand, goal))
        if (goal := aim.shadows_at_least) is not None:
            lightness = tightened.get((self.name, "shadows"), goal)
            demand = shown.shadows(self.weight, aim.area, lightness)
            found.append(self._wish("shadows", f"shadows at L* {goal:g} at least", demand, goal))
        return found
