"""Matching: gains solved from the pixels, so that lights stand in a ratio.

Light is additive, so the mean of a light in an area under any balance follows from the mean of its
pass there. Each pass is therefore read once: `plan_matches` says what is matched to what,
`means_needed` which means to take, `weighted_mean` takes one, and `solve_matches` turns them into
gains.

A light is compared by the mean luminance, in the area, of its pass times its tint (and times its
gain, for the light it is matched to). Members of a group that are matched by one entry of the
recipe are compared as one light and share one gain. A light that counts from a mood where it is
matched has the gain that is solved there, times its steps. Changes that a mood makes only in
regions are left out.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from evenfall.errors import RecipeError
from evenfall.light.primaries import RgbSpace, luminance_weights
from evenfall.mix.balance import AreaRatio, Balance
from evenfall.recipe import Area, Match, Recipe, ResolvedMood
from evenfall.recipe.gains import Counted
from evenfall.recipe.places import dotted

__all__ = [
    "Matching",
    "MeanNeed",
    "area_ratios",
    "counted_on_matches",
    "means_needed",
    "plan_matches",
    "solve_matches",
    "weighted_mean",
]

Floats = npt.NDArray[np.float32]
Vector = npt.NDArray[np.float64]


@dataclass(frozen=True)
class MeanNeed:
    """One mean to be taken: of a light's pass as rendered, in an area (None: everywhere)."""

    light: str
    area: Area | None


@dataclass(frozen=True)
class Matching:
    """One matching entry of a mood.

    Parameters
    ----------
    lights : tuple of str
        Lights that share it, and the gain that is solved.
    match : Match
        What the recipe says.
    others : tuple of str
        Lights that are on of what they are matched to.
    place : str
        Dotted place in the recipe.
    """

    lights: tuple[str, ...]
    match: Match
    others: tuple[str, ...]
    place: str


def means_needed(matchings: Iterable[Matching]) -> tuple[MeanNeed, ...]:
    """Means that must be taken to solve matchings, without repeats and in a stable order."""
    needs = (
        MeanNeed(light, matching.match.area)
        for matching in matchings
        for light in (*matching.lights, *matching.others)
    )
    return tuple(dict.fromkeys(needs))


def weighted_mean(planes: npt.NDArray[np.floating], weights: Floats | None = None) -> Vector:
    """Weighted mean of R, G, B; shape (3,).

    Parameters
    ----------
    planes : ndarray of shape (3, H, W)
        Finite; negatives count as they are.
    weights : ndarray of shape (H, W) or None
        None is 1 everywhere. Weights that are 0 everywhere give 0.

    Examples
    --------
    >>> weighted_mean(np.ones((3, 2, 2), dtype=np.float32)).tolist()
    [1.0, 1.0, 1.0]
    """
    if weights is None:
        return np.array([float(np.mean(plane, dtype=np.float64)) for plane in planes])
    total = float(np.sum(weights, dtype=np.float64))
    if total <= 0:
        return np.zeros(3)
    return np.array([_weighted_sum(plane, weights) for plane in planes]) / total


def _weighted_sum(plane: npt.NDArray[np.floating], weights: Floats) -> float:
    rows = np.einsum("ij,ij->i", plane.astype(np.float32, copy=False), weights, optimize=False)
    return float(np.sum(rows, dtype=np.float64))


def solve_matches(
    recipe: Recipe,
    matchings: Iterable[Matching],
    balance: Balance,
    space: RgbSpace,
    means: Mapping[MeanNeed, npt.ArrayLike],
) -> dict[str, float]:
    """Solve the gains of a mood's matched lights.

    Parameters
    ----------
    recipe : Recipe
        For the messages of errors.
    matchings : iterable of Matching
        From `plan_matches`, in that order.
    balance : Balance
        Of the mood; matched lights have a gain of 1 in it, and those that count from such a gain
        in another mood have that.
    space : RgbSpace
        The passes' primaries.
    means : mapping of MeanNeed to array of shape (3,)
        Mean R, G, B of each pass as rendered, in each area that `means_needed` asks for.

    Returns
    -------
    dict of str to float
        Gain by matched light; to be given to `Balance.with_gains`.

    Raises
    ------
    RecipeError
        When the ratio is impossible: a light has no light in the area, or its gain is absurd.
    """
    solved: dict[str, float] = {}
    for matching in matchings:
        balance = balance.with_gains(recipe, solved)
        area = matching.match.area
        other = _luminance(matching.others, balance, space, means, area)
        own = _luminance(matching.lights, balance, space, means, area)
        _check_lit(recipe, matching, matching.match.to, other)
        _check_lit(recipe, matching, " + ".join(matching.lights), own)
        gain = other / own / _other_over_own(matching.match)
        solved.update(dict.fromkeys(matching.lights, gain))
    return solved


def area_ratios(
    matchings: Iterable[Matching],
    balance: Balance,
    space: RgbSpace,
    means: Mapping[MeanNeed, npt.ArrayLike],
) -> tuple[AreaRatio, ...]:
    """Measure a balance where ratios were asked for in an area; as `solve_matches`."""
    found = []
    for matching in matchings:
        area = matching.match.area
        if area is None:
            continue
        own = _luminance(matching.lights, balance, space, means, area)
        other = _luminance(matching.others, balance, space, means, area)
        if own > 0:
            match = matching.match
            found.append(AreaRatio(matching.lights, match.to, matching.others, other / own))
    return tuple(found)


def counted_on_matches(recipe: Recipe, mood: ResolvedMood) -> dict[str, Counted]:
    """Give lights that count from a mood in which their gain is solved, with how they count."""
    found = {}
    for light, setting in mood.lights.items():
        if isinstance(setting.gain, Counted):
            base = recipe.moods[setting.gain.mood]
            if base.lights[light].match is not None or light in counted_on_matches(recipe, base):
                found[light] = setting.gain
    return found


def _other_over_own(match: Match) -> float:
    return match.ratio_value - 1 if match.convention == "(key+fill):fill" else match.ratio_value


def _luminance(
    lights: Iterable[str],
    balance: Balance,
    space: RgbSpace,
    means: Mapping[MeanNeed, npt.ArrayLike],
    area: Area | None,
) -> float:
    weights = luminance_weights(space)
    return sum(
        float(weights @ (np.array(balance.lights[light].factors) * means[MeanNeed(light, area)]))
        for light in lights
    )


def _check_lit(recipe: Recipe, entry: Matching, name: str, luminance: float) -> None:
    if luminance > 0:
        return
    where = "in its area" if entry.match.area is not None else "in the picture"
    raise RecipeError(
        recipe.fault(
            entry.place,
            f"there is no light of {name} {where}, so no ratio can be solved",
            hint="choose an area that both lights reach, or give the gain in stops",
        )
    )


def plan_matches(recipe: Recipe, mood: ResolvedMood) -> tuple[Matching, ...]:
    """Say what a mood matches to what, each entry after those that it hangs on.

    Raises
    ------
    RecipeError
        When a light is matched to one that is off, or that hangs on it in turn.
    """
    entries = _entries(recipe, mood)
    by_light = {light: entry for entry in entries for light in entry.lights}
    ordered: list[Matching] = []

    def visit(entry: Matching, path: tuple[Matching, ...]) -> None:
        if entry in ordered:
            return
        if entry in path:
            names = [" + ".join(step.lights) for step in (*path[path.index(entry) :], entry)]
            raise RecipeError(
                recipe.fault(
                    entry.place,
                    f"lights are matched in a circle: {' -> '.join(names)}",
                    hint="give one of them a gain of its own, in stops or as a factor",
                )
            )
        for light in entry.others:
            if light in by_light:
                visit(by_light[light], (*path, entry))
        ordered.append(entry)

    for entry in entries:
        visit(entry, ())
    return tuple(ordered)


def _entries(recipe: Recipe, mood: ResolvedMood) -> list[Matching]:
    gathered: dict[int, list[str]] = {}
    matches: dict[int, Match] = {}
    for light, setting in mood.lights.items():
        if setting.match is not None:  # one entry of the recipe is one object for all its members
            gathered.setdefault(id(setting.match), []).append(light)
            matches[id(setting.match)] = setting.match
    entries = []
    for key, lights in gathered.items():
        match = matches[key]
        place = dotted(("moods", mood.name, "lights", lights[0], "match"))
        others = _others(recipe, mood, match, place)
        entries.append(Matching(tuple(lights), match, others, place))
    return entries


def _others(recipe: Recipe, mood: ResolvedMood, match: Match, place: str) -> tuple[str, ...]:
    others = tuple(light for light in recipe.members(match.to) if not mood.lights[light].off)
    if not others:
        raise RecipeError(
            recipe.fault(
                f"{place}.to",
                f"{match.to} is off in {mood.name}, so nothing can be matched to it",
                hint="match to a light that is on, or give the gain in stops",
            )
        )
    return others
