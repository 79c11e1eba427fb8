"""Lights that were rendered in several places on their way, such as the sun at several hours.

Light is additive, so half of each of two pictures of a sun is what two suns of half the strength
give: the sum of the light stays right, while each shadow is there twice, as dark by half.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass

from evenfall.light.daybalance import sun_altitude
from evenfall.recipe import Light, Recipe
from evenfall.recipe.clock import clock_seconds
from evenfall.recipe.lights import Source

__all__ = ["Weighted", "place_now", "sources_now"]


@dataclass(frozen=True)
class Weighted:
    """A picture of a light, and how much of it counts."""

    source: Source
    weight: float = 1.0


def sources_now(light: Light, now: float | None) -> tuple[Weighted, ...]:
    """Pictures that a light is put together from: all, or those between which it stands.

    Weights of a light on its way add up to 1; beyond its first and its last pass it stays there.

    Parameters
    ----------
    light : Light
        As the recipe has it.
    now : float or None
        From `place_now`; None for a light with one place.

    Examples
    --------
    >>> sun = Light(file=("sun_1700.exr", "sun_1800.exr"), times=("17:00", "18:00"))
    >>> [(each.source.file, each.weight) for each in sources_now(sun, 17.25 * 3600)]
    [('sun_1700.exr', 0.75), ('sun_1800.exr', 0.25)]
    """
    if not light.is_on_its_way or now is None:
        return tuple(Weighted(source) for source in light.sources)
    pairs = sorted(zip(light.places, light.sources, strict=True), key=lambda pair: pair[0])
    places = [place for place, _ in pairs]
    number = bisect_right(places, now) - 1
    if number < 0 or number == len(places) - 1 or places[number] == now:
        return (Weighted(pairs[max(number, 0)][1]),)
    share = (now - places[number]) / (places[number + 1] - places[number])
    return Weighted(pairs[number][1], 1 - share), Weighted(pairs[number + 1][1], share)


def place_now(recipe: Recipe, light: Light) -> float | None:
    """Where a light on its way stands: seconds after midnight, or degrees of altitude.

    None where nobody says.
    """
    passes, sequence = recipe.model.passes, recipe.model.sequence
    frame, seconds = None, None
    if sequence is not None:  # a still shows its first frame, unless it says otherwise
        frame = sequence.frame
        seconds = sequence.seconds_at(sequence.numbers[0] if frame is None else frame)
    is_of_hour = frame is not None and seconds is not None
    if light.times is not None:
        return seconds if is_of_hour or passes.time is None else clock_seconds(passes.time)
    hours = None if sequence is None else sequence.daylight
    says_not = passes.sun_altitude_degrees is None
    if hours is not None and seconds is not None and (is_of_hour or says_not):
        return sun_altitude(hours.daylight_at(seconds))
    return passes.sun_altitude_degrees
