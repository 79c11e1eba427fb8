"""Which light plays what, and the balances that were found."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from evenfall.recipe.lights import Role
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


def cast_of(roles: Mapping[str, Role | None]) -> Cast:
    """Say which light plays what, by their roles and names.

    A key sets with the day where there is a sky, or where it is called after sun or moon.

    Examples
    --------
    >>> cast_of({"spot": "key", "kicker": "fixture"}).key_lamps
    ('spot',)
    """

    def names(*chosen: str) -> tuple[str, ...]:
        return tuple(name for name, role in roles.items() if role in chosen)

    keys = names("key")
    sets = bool(names("sky")) or any(_SUNS & set(words_of(name)) for name in keys)
    return Cast(
        sun=keys if sets else (),
        key_lamps=() if sets else keys,
        sky=names("sky"),
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
