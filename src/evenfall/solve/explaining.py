"""Why an aim is missed: what lacks, what contradicts, and which lights cannot be told apart."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from evenfall.recipe import Area
from evenfall.recipe.words.suggesting import joined
from evenfall.recipe.words.wording import stops_words
from evenfall.solve.measured import Measured
from evenfall.solve.movers import Mover
from evenfall.solve.problem import Colour, Level, Matrix, Moves, Vector
from evenfall.solve.solving import solve
from evenfall.solve.wishes import TOLERANCE, Wish

__all__ = ["Case", "why_missed", "wont_be_told_apart"]

_REACHES = 0.02  # share of an area's light, below which a light does not reach it
_FREE = 0.1  # of the usual charge on moves, where it is only asked what can be
_ALIKE = 0.97  # correlation of how two lights share the picture
_MOST_NAMED = 3


@dataclass(frozen=True, eq=False)
class Case:
    """A problem and what is known of its lights.

    Parameters
    ----------
    mood : str
        Name of the mood.
    wishes : sequence of Wish
        Everything that is asked.
    moves : Moves
        What may move.
    movers : sequence of Mover
        The same by name.
    measured : Measured
        Means of areas.
    on : sequence of str
        Lights that are on.
    """

    mood: str
    wishes: Sequence[Wish]
    moves: Moves
    movers: Sequence[Mover]
    measured: Measured
    on: Sequence[str]
    _served: dict[frozenset[int], Matrix] = field(default_factory=dict, repr=False)

    def best(self, wishes: Sequence[Wish]) -> Matrix:
        """Factors that serve some wishes alone, all alike: well enough, or as well as can be."""
        key = frozenset(map(id, wishes))
        if key not in self._served:
            demands = [replace(wish.demand, weight=1.0) for wish in wishes]
            free = replace(self.moves, charge=self.moves.charge * _FREE)

            def are_served(unknowns: Vector) -> bool:
                factors = self.moves.factors_at(unknowns)
                return all(wish.miss(factors) <= TOLERANCE / 2 for wish in wishes)

            found = solve(demands, free, is_enough=are_served)
            self._served[key] = self.moves.factors_at(found.unknowns)
        return self._served[key]


def why_missed(case: Case, wish: Wish) -> str:
    """Say why a wish is missed."""
    alone = wish.miss(case.best([wish]))
    if alone > TOLERANCE:
        return _no_light_serves(case, wish, alone)
    against = [other for other in case.wishes if other is not wish and _collide(case, wish, other)]
    if against:
        named = joined(dict.fromkeys(_called(other) for other in against), "and", most=_MOST_NAMED)
        return f"contradicts {named}: with the lights that may move, not both can be met"
    return "alone it could be met, and with any other aim, but not with all of them at once"


def _collide(case: Case, wish: Wish, other: Wish) -> bool:
    factors = case.best([wish, other])
    return max(wish.miss(factors), other.miss(factors)) > TOLERANCE


def _called(wish: Wish) -> str:
    return f"{wish.aim} ({wish.asks})"


def _no_light_serves(case: Case, wish: Wish, alone: float) -> str:
    """Say what lacks where even alone an aim cannot be met."""
    moving = {light for mover in case.movers for light in mover.lights}
    shares = _shares(case, wish.area)
    reach = [light for light in moving if shares.get(light, 0.0) > _REACHES]
    held = [light for light in case.on if light not in moving]
    helpers = sorted(held, key=lambda light: -shares.get(light, 0.0))
    strong = [light for light in helpers if shares.get(light, 0.0) > _REACHES][:_MOST_NAMED]
    off = [] if _wants_less_light(case, wish) else _off_lights(case, wish.area)
    if not moving:
        said = "no light may move"
    elif _is_metered(case, wish, reach):
        said = (
            f"the meter reads {_names(reach)}, and the camera closes as they go up: let it move, "
            "too (--move exposure), or meter another light"
        )
    elif not reach:
        said = f"no light can serve it: none of those that may move ({_names(moving)}) reaches it"
    else:
        best = wish.missed(case.best([wish])) if isinstance(wish.demand, Colour) else ""
        missed = best or f"{alone:.2f} stops"
        said = f"at best it misses by {missed}: {_how_far(case, wish, reach)}"
    more = []
    if strong:
        more.append(
            "what is held gives "
            + joined((f"{light} {shares[light]:.0%} of its light" for light in strong), "and")
        )
    if off:
        more.append(f"{joined(off, 'and')}, now off, would reach it")
    return "; ".join([said, *more])


def _wants_less_light(case: Case, wish: Wish) -> bool:
    """Whether an area is still too light at best, so that a further light would be no help."""
    if isinstance(wish.demand, Colour):
        return False
    return wish.key == "clipped" or float(wish.demand.residuals(case.best([wish]))[0]) > 0


def _is_metered(case: Case, wish: Wish, reach: Sequence[str]) -> bool:
    """Whether the lights that reach an area are those that the meter reads."""
    metered = case.moves.metered
    if metered is None or not isinstance(wish.demand, Level):
        return False
    read = {light for light, share in zip(case.measured.lights, metered, strict=True) if share > 0}
    return bool(reach) and read >= set(reach) and not case.moves.exposure.any()


def _how_far(case: Case, wish: Wish, reach: Sequence[str]) -> str:
    if isinstance(wish.demand, Colour):
        return "the colours of the lights that may move do not mix to it; --tints lets them change"
    far = max((abs(stops) for stops in (*case.moves.low, *case.moves.high)), default=0.0)
    stops = f"{stops_words(far).lstrip('+')} {'stop' if far <= 1 else 'stops'}"
    return f"{_names(reach)} would have to go further than {stops}"


def _names(lights: Sequence[str] | set[str]) -> str:
    return joined(sorted(lights), "and", most=_MOST_NAMED)


def _shares(case: Case, area: Area | None) -> dict[str, float]:
    light = (case.measured.means[area] * case.moves.factors).sum(axis=1)
    total = max(float(light.sum()), 1e-30)
    return {
        name: float(each) / total for name, each in zip(case.measured.lights, light, strict=True)
    }


def _off_lights(case: Case, area: Area | None) -> list[str]:
    """Name lights that are off and, as rendered, would give much to an area."""
    means = case.measured.means[area].sum(axis=1)
    now = float((case.measured.means[area] * case.moves.factors).sum())
    found = {
        light: float(mean)
        for light, mean in zip(case.measured.lights, means, strict=True)
        if light not in case.on and mean > max(0.2 * now, 1e-12)
    }
    return sorted(found, key=lambda light: -found[light])[:_MOST_NAMED]


def wont_be_told_apart(
    measured: Measured, factors: Matrix, movers: Sequence[Mover]
) -> list[tuple[str, str]]:
    """Pairs of movers that light the view so alike that one can stand for the other.

    What counts is how their shares of the light differ from place to place, and in colour.
    """
    groups = {mover.name: mover.lights for mover in movers if mover.lights}
    shares = _share_maps(measured, factors, groups)
    names = list(shares)
    return [
        (one, other)
        for number, one in enumerate(names)
        for other in names[number + 1 :]
        if _cosine(shares[one], shares[other]) > _ALIKE
    ]


def _share_maps(
    measured: Measured, factors: Matrix, groups: Mapping[str, Sequence[str]]
) -> dict[str, npt.NDArray[np.float32]]:
    planes = {
        light: np.stack(measured.small.read((light,))[light].planes).astype(np.float32)
        * row[:, None, None].astype(np.float32)
        for light, row in zip(measured.lights, factors, strict=True)
        if row.any()
    }
    total = np.maximum(np.sum(list(planes.values()), axis=0), np.float32(1e-9))
    floor = np.float32(1e-3) * total.mean()
    return {
        name: np.sum([planes[light] for light in lights], axis=0) / (total + floor)
        for name, lights in groups.items()
    }


def _cosine(one: npt.NDArray[np.float32], other: npt.NDArray[np.float32]) -> float:
    across = float((one * other).sum(dtype=np.float64))
    sizes = float((one * one).sum(dtype=np.float64)) * float((other * other).sum(dtype=np.float64))
    return across / sizes**0.5 if sizes > 0 else 0.0
