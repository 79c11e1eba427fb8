"""Which light plays what, and the balances that were found."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from evenfall.recipe.lights import Role
from evenfall.survey.roles import NEXT_TO_NOTHING
from evenfall.survey.words import words_of

__all__ = ["AT_DUSK", "AT_NIGHT", "BY_DAY", "Balanced", "Cast", "Solved", "cast_of"]

_SUNS = frozenset(
    ("sun", "sunlight", "moon", "moonlight", "sonne", "mond", "soleil", "lune", "sol", "luna")
)
BY_DAY: Mapping[Role, str] = {
    "fixture": "lit by day too: they are seen, and add little",
    "glow": "as the lamps",
}
AT_DUSK: Mapping[Role, str] = {
    "sky": "down, and blue against the lamps",
    "fill": "down with the sky",
    "outdoor fixture": "on",
    "key": "gives way",
    "fixture": "gives way to the others",
}
AT_NIGHT: Mapping[Role, str] = {"sky": "a trace, still blue", "key": "gives way further"}
"""Why lights of a role stand as they do, in a few words."""


@dataclass(frozen=True)
class Cast:
    """Which light plays what.

    Parameters
    ----------
    sun : tuple of str
        Keys that set with the day; empty where the key is a lamp.
    key_lamps : tuple of str
        Keys that are lamps.
    sky, fill, lamps, outdoor : tuple of str
        The others; glows are lamps.
    """

    sun: tuple[str, ...] = ()
    key_lamps: tuple[str, ...] = ()
    sky: tuple[str, ...] = ()
    fill: tuple[str, ...] = ()
    lamps: tuple[str, ...] = ()
    outdoor: tuple[str, ...] = ()

    @property
    def daylight(self) -> tuple[str, ...]:
        """What goes down with the sun."""
        return (*self.sun, *self.sky)


def cast_of(
    roles: Mapping[str, Role | None], pictures: Mapping[str, npt.NDArray[Any]] | None = None
) -> Cast:
    """Say which light plays what, by their roles and names.

    A key sets with the day where there is a sky, or where it is called after sun or moon. Where
    sun and sky add next to nothing they play no part, as a moon over a lit bar.

    Parameters
    ----------
    roles : mapping of str to str or None
        By light.
    pictures : mapping of str to ndarray, optional
        Their passes, of any size.

    Examples
    --------
    >>> cast_of({"spot": "key", "kicker": "fixture"}).key_lamps
    ('spot',)
    """

    def names(*chosen: str) -> tuple[str, ...]:
        return tuple(name for name, role in roles.items() if role in chosen)

    pictures = pictures or {}
    light = {name: float(picture.mean(dtype=np.float64)) for name, picture in pictures.items()}

    def add_something(*chosen: str) -> bool:
        return sum(light.get(name, 0.0) for name in chosen) >= NEXT_TO_NOTHING * sum(light.values())

    keys, sky = names("key"), names("sky")
    suns = tuple(name for name in keys if _SUNS & set(words_of(name)))
    if not add_something(*suns, *sky):
        keys, sky = tuple(name for name in keys if name not in suns), ()
    sets = bool(sky) or any(name in suns for name in keys)
    return Cast(
        sun=keys if sets else (),
        key_lamps=() if sets else keys,
        sky=sky,
        fill=names("fill"),
        lamps=names("fixture", "glow"),
        outdoor=names("outdoor fixture"),
    )


@dataclass(frozen=True)
class Balanced:
    """A balance that was found.

    Parameters
    ----------
    exposure_stops : float
        Of the camera, from the passes' own units to the picture.
    stops : mapping of str to float
        By light that is on, against how it was rendered.
    median : float
        Median CIE L*, window and open sky left out.
    sky_median : float or None
        Of the window or open sky, where one is seen.
    burnt_share : float
        Of the picture without lamps that are seen directly; by day without window and open sky.
    white_share : float
        The same with window and open sky.
    """

    exposure_stops: float
    stops: Mapping[str, float]
    median: float
    sky_median: float | None
    burnt_share: float
    white_share: float


@dataclass(frozen=True)
class Solved:
    """Balances of three moods."""

    day: Balanced
    dusk: Balanced
    night: Balanced
