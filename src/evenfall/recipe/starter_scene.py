"""What a first recipe knows of a view: its lights by what they do, and the stops that follow."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from evenfall.recipe.lights import Rendered, Role

__all__ = ["DUSK_SKY_STOPS", "Scene", "StarterLight"]

DUSK_SKY_STOPS = -2.0
"""Of the sky at dusk, against how it was rendered."""

_FURTHEST_STOPS = 8.0

_ROLES: dict[Role, str] = {
    "key": "sun",
    "sky": "sky",
    "fill": "fill",
    "fixture": "fixtures",
    "outdoor fixture": "outdoor_fixtures",
    "glow": "glow",
}


@dataclass(frozen=True)
class StarterLight:
    """A light as it was found.

    Parameters
    ----------
    name, file, layer, part, role
        As in the recipe; ``#`` in the file for the digits of a frame.
    reason : str
        Why it was given its role; becomes a comment.
    rendered : Rendered or None
        How it was rendered, if known.
    mean_luminance : float or None
        Mean luminance of its pass in scene units, by which the first balance is judged.
    """

    name: str
    file: str
    layer: str | None = None
    part: str | None = None
    role: Role = "fixture"
    reason: str = ""
    rendered: Rendered | None = None
    mean_luminance: float | None = None


class Scene:
    """The lights by what they do, and names under which a mood speaks of them.

    Parameters
    ----------
    lights : sequence of StarterLight
        Each with a name of its own.

    Examples
    --------
    >>> sun = StarterLight("sun", "sun.exr", role="key", mean_luminance=1.0)
    >>> sky = StarterLight("sky", "sky.exr", role="sky", mean_luminance=1.0)
    >>> Scene([sun, sky]).day_stops
    -1.0
    """

    def __init__(self, lights: Sequence[StarterLight]) -> None:
        self.lights = lights
        self.taken = {light.name for light in lights}
        self.by_role = {role: [each for each in lights if each.role == role] for role in _ROLES}
        self.names = {role: self._name(role) for role in _ROLES}
        self.daylit = any(self.by_role[role] for role in ("key", "sky", "fill"))

    def _name(self, role: Role) -> str | None:
        """Name of the one light of a role, or of the group of several."""
        several = self.by_role[role]
        if len(several) < 2:
            return several[0].name if several else None
        name = _ROLES[role]
        while name in self.taken:
            name = f"all_{name}"
        self.taken.add(name)
        return name

    @property
    def lamps(self) -> list[StarterLight]:
        """Fixtures, inside and outside."""
        return [*self.by_role["fixture"], *self.by_role["outdoor fixture"]]

    def level(self, lights: Sequence[StarterLight]) -> float | None:
        """Mean luminance of lights together; None when that of one is unknown or nothing."""
        levels = [light.mean_luminance for light in lights]
        known = [level for level in levels if level is not None and level > 0]
        return sum(known) if known and len(known) == len(levels) else None

    @property
    def lamp_stops(self) -> float | None:
        """Stops that bring all lamps together to the level of the sky at dusk."""
        lamps, sky = self.level(self.lamps), self.level(self.by_role["sky"])
        if lamps is None or sky is None:
            return None
        return _thirds(math.log2(sky / lamps) + DUSK_SKY_STOPS)

    @property
    def day_stops(self) -> float:
        """Stops that make room for the sky and fill that come on top of the key."""
        key = self.level(self.by_role["key"])
        others = self.level([*self.by_role["sky"], *self.by_role["fill"]])
        if key is None or others is None:
            return 0.0
        return _thirds(-math.log2((key + others) / key))

    def exposure_stops(self, sky_stops: float, under_day: float, otherwise: float) -> float:
        """Return the stops that open the camera for a mood in which the sun is gone."""
        day = self.level(self.by_role["key"])
        sky = self.level(self.by_role["sky"])
        lamps = self.level(self.lamps)
        if day is None or sky is None:
            return otherwise if self.by_role["key"] else 0.0
        after = sky * 2.0**sky_stops
        if lamps is not None:
            after += lamps * 2.0 ** (self.lamp_stops or 0.0)
        return _thirds(math.log2(day / after) - under_day)


def _thirds(stops: float) -> float:
    return max(-_FURTHEST_STOPS, min(_FURTHEST_STOPS, round(stops * 3) / 3))
