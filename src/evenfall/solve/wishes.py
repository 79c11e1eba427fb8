"""From the aims of a mood to demands of the solver, and to figures a person reads."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import numpy.typing as npt

from evenfall.light.colour import kelvin_to_xy, xy_to_kelvin_duv
from evenfall.light.primaries import RgbSpace, luminance_weights, rgb_to_xyz
from evenfall.light.tint import light_rgb
from evenfall.light.units import MIDDLE_GREY
from evenfall.recipe import Area
from evenfall.recipe.aims import Aim
from evenfall.recipe.places import Place
from evenfall.recipe.words.aims import (
    clipped_words,
    colour_words,
    lightness_words,
    ratio_words,
    shadows_words,
)
from evenfall.solve.limits import Shown
from evenfall.solve.measured import Measured
from evenfall.solve.problem import Colour, Demand, Level, Matrix, Ratio
from evenfall.solve.solving import MUST

__all__ = ["TOLERANCE", "Wish", "WishKey", "areas_of", "wishes_of"]

TOLERANCE = 0.05
"""Stops by which an aim may be missed and count as met: less than an eye sees side by side."""

WishKey = Literal["lightness", "ratio", "kelvin", "neutral", "clipped", "shadows"]


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
        What is asked: stops from middle grey, log2 of a ratio, kelvin, or a limit.
    space : RgbSpace or None
        Of the picture, where a neutral colour is asked.
    """

    aim: str
    key: WishKey
    asks: str
    demand: Demand
    must: bool
    area: Area | None
    goal: float
    space: RgbSpace | None = None

    def miss(self, factors: Matrix) -> float:
        """Say by how many stops it is missed."""
        return float(np.linalg.norm(self.demand.residuals(factors)))

    def said(self, factors: Matrix, limit: float | None = None) -> str:
        """Say what the picture shows; of limits, what was found of the picture itself."""
        if self.key in ("clipped", "shadows"):
            shown = math.nan if limit is None else limit
            return f"{shown:.1%}" if self.key == "clipped" else f"L* {shown:.1f}"
        if isinstance(self.demand, Colour):
            return self.colour_words(factors)
        off = float(self.demand.residuals(factors)[0])
        if self.key == "lightness":
            return f"{self.goal + off:+.2f} stops"
        figure = self.goal + off
        return f"{2.0**figure:.2f}:1" if figure >= 0 else f"1:{2.0**-figure:.2f}"

    def missed(self, factors: Matrix, limit: float | None = None) -> str:
        """Say by how much it is missed, in the unit in which it is asked."""
        if limit is not None and self.key == "clipped":
            return f"{max(0.0, limit - self.goal):.1%} of the area"
        if limit is not None and self.key == "shadows":
            return f"L* {max(0.0, self.goal - limit):.1f}"
        if isinstance(self.demand, Colour):
            return self._colour_missed(self.demand.chromaticity(factors))
        return f"{self.miss(factors):.2f} stops"

    def colour_words(self, factors: Matrix) -> str:
        """Say the colour of its area: kelvin and Duv, or how far it is from neutral."""
        assert isinstance(self.demand, Colour)
        xy = self.demand.chromaticity(factors)
        if self.key == "neutral":
            return self._colour_missed(xy)
        found = None if xy is None else xy_to_kelvin_duv(xy)
        if found is None:
            return "no temperature"
        kelvin, duv = found
        return f"{kelvin:.0f} K" + (f", Duv {duv:+.3f}" if abs(duv) >= _SAID_DUV else "")

    def _colour_missed(self, xy: tuple[float, float] | None) -> str:
        if xy is None:
            return "no light"
        if self.key == "neutral":
            assert self.space is not None  # as its colour is one of the picture
            red, green, blue = light_rgb(xy, self.space)[0]
            return f"red {_over(red, green)}, blue {_over(blue, green)} against green"
        found = xy_to_kelvin_duv(xy)
        if found is None:
            return "more than a temperature can say"
        kelvin, duv = found
        mired = 1e6 / kelvin - 1e6 / self.goal
        parts = []
        if abs(mired) >= _SAID_MIRED:
            way = "warm" if mired > 0 else "cool"
            parts.append(f"{abs(kelvin - self.goal):.0f} K ({abs(mired):.0f} mired) too {way}")
        if abs(duv) >= _SAID_DUV:
            parts.append(f"Duv {duv:+.3f}, {'green' if duv > 0 else 'pink'}")
        return " and ".join(parts) or f"{abs(mired):.1f} mired"


_GREY = math.log2(MIDDLE_GREY)
_SAID_DUV, _SAID_MIRED = 0.001, 1.0


def _over(part: float, whole: float) -> str:
    return f"{part / whole - 1:+.0%}" if whole > 0 else "alone"


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
            goal = aim.stops
        elif aim.brighter is not None or aim.darker is not None:
            step = aim.brighter if aim.brighter is not None else -(aim.darker or 0.0)
            stood = math.log2(max(float((light * before).sum()), 1e-30)) - _GREY
            goal = stood + step
        else:
            return []
        demand = Level(self.weight, light, goal + _GREY)
        return [self._wish("lightness", lightness_words(aim), demand, goal)]

    def ratio(self) -> list[Wish]:
        ratio, over = self.aim.ratio_value, self.aim.over
        if ratio is None or over is None:
            return []
        other = over if isinstance(over, Area) else self.aims[over].area
        goal = math.log2(ratio)
        demand = Ratio(self.weight, self._light(self.aim.area), self._light(other), goal)
        return [self._wish("ratio", ratio_words(self.aim), demand, goal)]

    def colour(self) -> list[Wish]:
        aim, space = self.aim, self.measured.space
        key: WishKey
        if aim.kelvin is not None:
            to_xyz, key = rgb_to_xyz(space), "kelvin"
            xy, goal = kelvin_to_xy(aim.kelvin), aim.kelvin
        elif aim.neutral:
            to_xyz, key = rgb_to_xyz(space) @ self.matrix, "neutral"
            xy, goal = space.white, 0.0
        else:
            return []
        light = np.einsum("kc,ic->kic", to_xyz, self.measured.means[aim.area])
        x, y = xy
        total = -2 * x + 12 * y + 3
        demand = Colour(self.weight, light, (4 * x / total, 9 * y / total))
        return [replace(self._wish(key, colour_words(aim), demand, goal), space=space)]

    def limits(self, shown: Shown, tightened: Mapping[tuple[str, str], float]) -> list[Wish]:
        aim, found = self.aim, []
        if (goal := aim.clipped_at_most) is not None:
            share = tightened.get((self.name, "clipped"), goal)
            demand = shown.clipped(self.weight, aim.area, share)
            found.append(self._wish("clipped", clipped_words(aim), demand, goal))
        if (goal := aim.shadows_at_least) is not None:
            lightness = tightened.get((self.name, "shadows"), goal)
            demand = shown.shadows(self.weight, aim.area, lightness)
            found.append(self._wish("shadows", shadows_words(aim), demand, goal))
        return found
