"""Advice on how light moods are: each for its time of day, and one beside the other.

Medians of CIE L* that finished pictures have are common practice, judged on pictures of rooms and
houses: a day 50 to 66, a dusk 34 to 46, a night 14 to 32. Advice is given well below them only.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence

from evenfall.advice.facts import MoodFacts
from evenfall.errors import Advice
from evenfall.recipe import Recipe
from evenfall.recipe.places import dotted

__all__ = ["lighter_than_before", "murky_moods"]

_ORDER = ("day", "dusk", "night")
_USUAL: Mapping[str, tuple[int, int]] = {"day": (50, 66), "dusk": (34, 46), "night": (14, 32)}
_MURKY: Mapping[str, tuple[float, float]] = {"day": (42, 100), "dusk": (26, 62), "night": (14, 42)}
"""Median L* below which a mood is murky, if 95 % of it lie below the second: no pools of light."""

_SEEN = 1.0  # L*, about one just noticeable difference


def murky_moods(recipe: Recipe, moods: Sequence[MoodFacts]) -> Iterator[Advice]:
    """Tell of moods that are too dark for their time of day all over."""
    for mood in moods:
        time = recipe.moods[mood.mood].time_of_day
        if time is None or mood.median_lightness is None or mood.high_lightness is None:
            continue
        median, high = _MURKY[time]
        if mood.median_lightness < median and mood.high_lightness < high:
            low, top = _USUAL[time]
            yield Advice(
                "murky",
                dotted(("moods", mood.mood)),
                f"murky: half of the picture is darker than L* {mood.median_lightness:.0f}, and "
                f"only a twentieth is lighter than {mood.high_lightness:.0f}",
                f"a {time} usually has its middle between L* {low} and {top} (common practice); "
                f"raise camera.exposure_stops by about {_stops(mood.median_lightness, low)}, or "
                "the lights that are meant to carry the picture",
            )


def lighter_than_before(recipe: Recipe, moods: Sequence[MoodFacts]) -> Iterator[Advice]:
    """Tell of dusks that are lighter than the day before them, and of nights.

    A mood is held against the one that it is based on, if that is earlier in the day, and else
    against the lightest of the time before.
    """
    known = [(mood, mood.median_lightness) for mood in moods]
    lightness = {
        mood.mood: each
        for mood, each in known
        if each is not None and recipe.moods[mood.mood].between is None  # else it is a frame
    }
    for name, found in lightness.items():
        before = _before(recipe, name, lightness)
        if before is None or found - lightness[before] <= _SEEN:
            continue
        yield Advice(
            "lighter-than-before",
            dotted(("moods", name)),
            f"lighter than {before}: its middle is at L* {found:.0f}, that of {before} at "
            f"{lightness[before]:.0f}",
            "a dusk is darker than the day, and a night than the dusk (common practice), or the "
            f"series does not read as one; lower exposure_stops by about "
            f"{_stops(lightness[before], found)} or more, or the lights that are too strong",
        )


def _before(recipe: Recipe, name: str, lightness: Mapping[str, float]) -> str | None:
    time = recipe.moods[name].time_of_day
    if time is None:
        return None
    earlier = [
        (_ORDER.index(when), lightness[other], other)
        for other in lightness
        if (when := recipe.moods[other].time_of_day) is not None
        and _ORDER.index(when) < _ORDER.index(time)
    ]
    base = recipe.model.moods[name].based_on
    if any(other == base for *_, other in earlier):
        return base
    return max(earlier)[-1] if earlier else None


def _stops(low: float, high: float) -> str:
    """Say how many stops lie between two L* of the display, to half a stop."""
    stops = math.log2(_luminance(high) / _luminance(low))
    halves = max(1, round(2 * stops))
    return f"{halves / 2:g} stop{'' if halves <= 2 else 's'}"


def _luminance(lightness: float) -> float:
    """Luminance relative to white, of L* (CIE 15:2018)."""
    root = (lightness + 16) / 116
    return max(1e-4, root**3 if lightness > 8 else lightness * (3 / 29) ** 3)
