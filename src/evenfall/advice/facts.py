"""What was measured of every mood and light: what advice and the meter report speak of."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from evenfall.recipe.lights import Role

__all__ = ["AskedRatio", "FrameFacts", "LightFacts", "MoodFacts", "RatioToKey", "light_facts"]


@dataclass(frozen=True)
class RatioToKey:
    """How a light stands to the key, in both conventions.

    Parameters
    ----------
    key_to_light : float
        Mean luminance of the key over that of the light: the key:fill convention.
    lit_to_shadow : float
        (key + light) over light: the (key+fill):fill convention.

    Examples
    --------
    >>> RatioToKey.of(key_luminance=4.0, light_luminance=1.0)
    RatioToKey(key_to_light=4.0, lit_to_shadow=5.0)
    """

    key_to_light: float
    lit_to_shadow: float

    @classmethod
    def of(cls, key_luminance: float, light_luminance: float) -> RatioToKey | None:
        """Form both ratios; None where either light gives nothing."""
        if key_luminance <= 0 or light_luminance <= 0:
            return None
        ratio = key_luminance / light_luminance
        return cls(ratio, ratio + 1.0)


@dataclass(frozen=True)
class AskedRatio:
    """How lights stand to what they were matched to: in the area asked for, and everywhere.

    Parameters
    ----------
    lights : tuple of str
        Lights that were matched together.
    to : str
        The light or group they were measured against.
    in_area, in_picture : RatioToKey
        Mean luminance of that light or group against theirs, in the area and in the whole picture.
    """

    lights: tuple[str, ...]
    to: str
    in_area: RatioToKey
    in_picture: RatioToKey


@dataclass(frozen=True)
class LightFacts:
    """One light in one mood.

    Parameters
    ----------
    name, role : str
        From the recipe.
    factors : tuple of 3 floats
        Factors R, G, B in the passes' primaries; all 0 when the light is off.
    gain_stops : float or None
        Stops relative to how it was rendered; None when off.
    kelvin : float or None
        Colour temperature of the light in the mood, when known.
    luminance : float
        Mean scene luminance it gives to the picture, before exposure.
    share : float
        Its share of the mood's light, 0 to 1.
    ratio : RatioToKey or None
        How it stands to the key; None for the key itself, and where there is no key.
    headroom_stops : float or None
        Stops it can still go up before its noise shows, or before it burns out; None when off or
        not measured.
    noise_share : float or None
        Its share of the mood's noise where that is worst; None when off or not measured.
    burns_out : bool
        Whether `headroom_stops` ends because what it lights burns white, and not by noise.
    """

    name: str
    role: Role
    factors: tuple[float, float, float]
    gain_stops: float | None
    kelvin: float | None
    luminance: float
    share: float
    ratio: RatioToKey | None
    headroom_stops: float | None = None
    noise_share: float | None = None
    burns_out: bool = False

    @property
    def is_on(self) -> bool:
        """Whether the light gives anything in the mood."""
        return max(self.factors) > 0


@dataclass(frozen=True)
class MoodFacts:
    """One mood as measured.

    Parameters
    ----------
    mood, title : str
        From the recipe.
    exposure_stops : float
        Stops by which the camera multiplies the mix, meter and compensation together.
    lights : tuple of LightFacts
        Every light of the recipe, in its order.
    clipped_share : float
        Share of the pixels that are clipped: a channel of the displayed picture is at its top.
    noise_lightness : float or None
        Lightness noise (standard deviation of CIE L*) that only 5 % of the picture exceeds.
    notes : tuple of str
        What the camera and the balance had to say.
    bare_share : float
        Share of the picture that the passes do not cover and no plate is behind.
    asked_ratios : tuple of AskedRatio
        Ratios that were asked for in an area of the picture.
    """

    mood: str
    title: str
    exposure_stops: float
    lights: tuple[LightFacts, ...]
    clipped_share: float
    noise_lightness: float | None = None
    notes: tuple[str, ...] = ()
    bare_share: float = 0.0
    burnt_share: float = 0.0
    median_lightness: float | None = None
    high_lightness: float | None = None
    asked_ratios: tuple[AskedRatio, ...] = ()


@dataclass(frozen=True)
class FrameFacts:
    """The size of a deliverable, and of the part of the passes that it shows.

    Parameters
    ----------
    number : int
        Which deliverable of the recipe, counted from 0.
    width, height : int
        Its pixels.
    part_width, part_height : int
        Pixels of the passes in it.

    Examples
    --------
    >>> FrameFacts(0, 4961, 2791, 1920, 1080).enlargement
    2.58...
    """

    number: int
    width: int
    height: int
    part_width: int
    part_height: int

    @property
    def enlargement(self) -> float:
        """How many times as long its sides are; below 1 where it is reduced."""
        return self.width / self.part_width


def light_facts(
    roles: Mapping[str, Role],
    factors: Mapping[str, tuple[float, float, float]],
    pass_means: Mapping[str, tuple[float, float, float]],
    luminance_weights: tuple[float, float, float],
    gains: Mapping[str, float],
    kelvins: Mapping[str, float | None],
) -> tuple[LightFacts, ...]:
    """Work out shares, ratios and gains of one mood from the passes' mean pixels.

    Parameters
    ----------
    roles : mapping of light to role
        Every light of the recipe, in its order.
    factors : mapping of light to 3 floats
        The mood's balance; lights that are missing are off.
    pass_means : mapping of light to 3 floats
        Mean scene-linear R, G, B of each pass as rendered.
    luminance_weights : 3 floats
        Weights of R, G, B in luminance, of the passes' primaries.
    gains : mapping of light to float
        The balance's gains alone, without tints; lights that are missing are off.
    kelvins : mapping of light to float or None
        Colour temperature in the mood, where known.

    Examples
    --------
    >>> sun, lamp = light_facts({"sun": "key", "lamp": "fixture"},
    ...     {"sun": (1, 1, 1), "lamp": (2, 2, 2)}, {"sun": (3, 3, 3), "lamp": (0.5, 0.5, 0.5)},
    ...     (0.2126, 0.7152, 0.0722), {"sun": 1, "lamp": 2}, {"sun": 5500.0, "lamp": 2700.0})
    >>> lamp.gain_stops, round(lamp.share, 2), round(lamp.ratio.key_to_light, 2)
    (1.0, 0.25, 3.0)
    """
    off = (0.0, 0.0, 0.0)
    luminance = {
        name: sum(
            weight * factor * mean
            for weight, factor, mean in zip(
                luminance_weights, factors.get(name, off), pass_means.get(name, off), strict=True
            )
        )
        for name in roles
    }
    total = sum(luminance.values())
    key = sum(luminance[name] for name, role in roles.items() if role == "key")
    return tuple(
        LightFacts(
            name=name,
            role=role,
            factors=factors.get(name, off),
            gain_stops=math.log2(gains[name]) if gains.get(name) else None,
            kelvin=kelvins.get(name),
            luminance=luminance[name],
            share=luminance[name] / total if total > 0 else 0.0,
            ratio=None if role == "key" else RatioToKey.of(key, luminance[name]),
        )
        for name, role in roles.items()
    )
