"""Aims as they are said: "1 1/3 stops under middle grey", "4:1 over table"."""

from __future__ import annotations

from evenfall.recipe.aims import Aim
from evenfall.recipe.areas import Area
from evenfall.recipe.words.wording import stops_words

__all__ = [
    "aim_words",
    "clipped_words",
    "colour_words",
    "lightness_words",
    "ratio_words",
    "shadows_words",
]


def aim_words(aim: Aim) -> str:
    """Say all that an aim asks.

    Examples
    --------
    >>> aim_words(Aim(stops=-1.25, kelvin=3000))
    '1.25 stops under middle grey, 3000 K'
    >>> aim_words(Aim(brighter=0.5)), aim_words(Aim(clipped_at_most=0.03))
    ('1/2 stop brighter than it stood', 'at most 3.0% clipped')
    """
    said = (lightness_words, ratio_words, colour_words, clipped_words, shadows_words)
    return ", ".join(words for say in said if (words := say(aim)))


def lightness_words(aim: Aim) -> str:
    """Say how light it is to be; empty where it does not say."""
    if aim.stops is not None:
        if stops_words(aim.stops) == "0":
            return "middle grey"
        return f"{_plain(abs(aim.stops))} {'over' if aim.stops > 0 else 'under'} middle grey"
    if aim.brighter is not None:
        return f"{_plain(aim.brighter)} brighter than it stood"
    return "" if aim.darker is None else f"{_plain(aim.darker)} darker than it stood"


def ratio_words(aim: Aim) -> str:
    """Say its ratio to another area; empty where it does not say."""
    if aim.ratio is None:
        return ""
    return f"{aim.ratio} over {'another area' if isinstance(aim.over, Area) else aim.over}"


def colour_words(aim: Aim) -> str:
    """Say what colour it is to be; empty where it does not say."""
    if aim.kelvin is not None:
        return f"{aim.kelvin:.0f} K"
    return "neutral" if aim.neutral else ""


def clipped_words(aim: Aim) -> str:
    """Say how much of it may be clipped; empty where it does not say."""
    at_most = aim.clipped_at_most
    return "" if at_most is None else f"at most {at_most:.1%} clipped"


def shadows_words(aim: Aim) -> str:
    """Say how dark its shadows may be; empty where it does not say."""
    at_least = aim.shadows_at_least
    return "" if at_least is None else f"shadows at L* {at_least:g} at least"


def _plain(stops: float) -> str:
    words = stops_words(stops).lstrip("+")
    is_one = words == "1" or ("/" in words and " " not in words)
    return f"{words} {'stop' if is_one else 'stops'}"
