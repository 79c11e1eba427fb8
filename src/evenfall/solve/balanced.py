"""Which light plays what, and the balances that were found."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

__all__ = ["Balanced", "Cast", "Solved"]


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
