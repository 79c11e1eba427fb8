"""Balance: from what a mood asks of its lights to three factors R, G, B a light."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

from evenfall.errors import Fault, RecipeError
from evenfall.light.gain import gain_factor
from evenfall.light.primaries import RgbSpace
from evenfall.light.tint import TintResult, tint_factors
from evenfall.recipe import Daylight, Light, LightSetting, Recipe, Rendered, ResolvedMood
from evenfall.recipe.gains import Counted, is_relative
from evenfall.recipe.places import dotted

if TYPE_CHECKING:
    from evenfall.light.daybalance import DaylightStart

__all__ = ["AreaRatio", "Balance", "LightBalance", "balance_mood", "lights_on"]

_LARGEST_FACTOR = 2.0**60


@dataclass(frozen=True)
class LightBalance:
    """Gain and tint of one light in one mood, relative to how it was rendered.

    Parameters
    ----------
    gain : float
        Factor, 0 when the light is off.
    tint : TintResult
        Factors for R, G, B, and the colour they lead to.
    """

    gain: float
    tint: TintResult

    @property
    def factors(self) -> tuple[float, float, float]:
        """What the pass is multiplied by: gain times tint."""
        red, green, blue = self.tint.factors
        return (self.gain * red, self.gain * green, self.gain * blue)


@dataclass(frozen=True)
class AreaRatio:
    """How matched lights stand in the area that they were matched in.

    Parameters
    ----------
    lights : tuple of str
        Lights that were matched together.
    to : str
        The light or group they were measured against.
    others : tuple of str
        Lights of it that are on.
    ratio : float
        Mean luminance in the area of the others over that of the lights.
    """

    lights: tuple[str, ...]
    to: str
    others: tuple[str, ...]
    ratio: float


@dataclass(frozen=True)
class Balance:
    """All gains and tints of one mood.

    Parameters
    ----------
    mood : str
        The mood's key.
    lights : mapping of str to LightBalance
        Every light of the recipe, in its order.
    notes : tuple of str
        What a person should know, each with the place in the recipe it speaks of.
    area_ratios : tuple of AreaRatio
        What was asked for in areas of the picture, as it came out there.
    """

    mood: str
    lights: Mapping[str, LightBalance]
    notes: tuple[str, ...] = ()
    area_ratios: tuple[AreaRatio, ...] = ()

    @property
    def factors(self) -> dict[str, tuple[float, float, float]]:
        """Factors for R, G, B by light; all 0 for a light that is off."""
        return {light: balance.factors for light, balance in self.lights.items()}

    @property
    def on(self) -> tuple[str, ...]:
        """Lights that are multiplied by anything but 0, in the recipe's order."""
        return tuple(light for light, balance in self.lights.items() if any(balance.factors))

    def with_gains(self, recipe: Recipe, solved: Mapping[str, float]) -> Balance:
        """Give matched lights the gains that were solved for them.

        Parameters
        ----------
        recipe : Recipe
            For the messages of errors.
        solved : mapping of str to float
            Gain by light.

        Raises
        ------
        RecipeError
            With a fault for every gain that is absurd.
        """
        lights, faults = dict(self.lights), []
        for name, gain in solved.items():
            lights[name] = replace(lights[name], gain=gain)
            try:
                _check_size(lights[name])
            except ValueError as error:
                faults.append(recipe.fault(("moods", self.mood, "lights", name), str(error)))
        if faults:
            raise RecipeError(faults)
        return replace(self, lights=lights)


def balance_mood(recipe: Recipe, mood: ResolvedMood, space: RgbSpace) -> Balance:
    """Work out the gains and tints of a mood.

    Lights that are matched to others get a gain of 1, as the solver needs it; those that count from
    such a gain in another mood count from 1.

    Parameters
    ----------
    recipe : Recipe
        Where the lights and how they were rendered come from.
    mood : ResolvedMood
        One of its moods.
    space : RgbSpace
        The passes' primaries.

    Raises
    ------
    RecipeError
        With a fault for every light whose gain or tint cannot be had.
    """
    lights: dict[str, LightBalance] = {}
    notes: list[str] = []
    faults: list[Fault] = []
    starts = _daylight_starts(recipe, mood, notes, faults)
    for name, setting in mood.lights.items():
        place = dotted(("moods", mood.name, "lights", name))
        rendered = recipe.model.lights[name].rendered
        start = starts.get(name)
        try:
            gain = _gain(recipe, mood, name, start)
            balance = _balance_light(setting, rendered, space, gain, start)
            _check_size(balance)
        except ValueError as error:
            faults.append(recipe.fault(place, str(error)))
            continue
        lights[name] = balance
        notes.extend(f"{place}: {note}" for note in balance.tint.notes if balance.gain > 0)
    if faults:
        raise RecipeError(faults)
    return Balance(mood.name, lights, tuple(notes))


def _check_size(balance: LightBalance) -> None:
    largest = max(balance.factors)
    if not largest <= _LARGEST_FACTOR:
        raise ValueError(f"its pass would be multiplied by {largest:.3g}, which is over 60 stops")


def lights_on(recipe: Recipe, mood: ResolvedMood) -> tuple[str, ...]:
    """Lights that give any light in a mood, in the recipe's order.

    A light can be off by word, by a factor of 0, or as a sun below the horizon.

    Raises
    ------
    RecipeError
        When daylight asks for what cannot be had.
    """
    faults: list[Fault] = []
    starts = _daylight_starts(recipe, mood, [], faults)
    if faults:
        raise RecipeError(faults)
    return tuple(
        name
        for name, setting in mood.lights.items()
        if _gain(recipe, mood, name, starts.get(name)) > 0
        and (setting.rgb is None or any(setting.rgb))
    )


def _daylight_starts(
    recipe: Recipe, mood: ResolvedMood, notes: list[str], faults: list[Fault]
) -> dict[str, DaylightStart]:
    """Where the lights that are sun and sky start from, with notes and faults added."""
    starts: dict[str, DaylightStart] = {}
    daylight = mood.daylight
    if daylight is None:
        return starts
    from evenfall.light.daybalance import daylight_start

    parts: tuple[tuple[Literal["sun", "sky"], str | None], ...] = (
        ("sun", daylight.sun),
        ("sky", daylight.sky),
    )
    for part, name in parts:
        place = dotted(("moods", mood.name, "daylight", part))
        try:
            for light in recipe.members(name) if name else ():
                start = daylight_start(
                    daylight, part, _rendered(recipe.model.lights[light], daylight)
                )
                starts[light] = start
                notes.extend(f"{place}: {note}" for note in start.notes)
        except ValueError as error:
            faults.append(recipe.fault(place, str(error)))
    return starts


def _rendered(light: Light, daylight: Daylight) -> Rendered:
    """How a light was rendered; one on its way, unless it says, for where it stands."""
    rendered, altitudes = light.rendered, light.sun_altitudes_degrees
    if altitudes is None or rendered.sun_altitude_degrees is not None:
        return rendered
    from evenfall.light.daybalance import sun_altitude

    now = min(max(sun_altitude(daylight), min(altitudes)), max(altitudes))
    return rendered.model_copy(update={"sun_altitude_degrees": now})


def _balance_light(
    setting: LightSetting,
    rendered: Rendered,
    space: RgbSpace,
    gain: float,
    start: DaylightStart | None,
) -> LightBalance:
    if start is None:
        return LightBalance(gain, tint_factors(setting, rendered, space))
    if start.rendered_xy is not None:
        rendered = Rendered(xy=start.rendered_xy)
    return LightBalance(gain, tint_factors(setting, rendered, space, start.xy))


def _gain(recipe: Recipe, mood: ResolvedMood, light: str, start: DaylightStart | None) -> float:
    """Gain of a light as far as no pixel is needed; one that is matched counts with 1."""
    setting = mood.lights[light]
    if isinstance(setting.gain, Counted):
        base = recipe.moods[setting.gain.mood]
        starts = _daylight_starts(recipe, base, [], [])  # what is wrong there is told there
        return _gain(recipe, base, light, starts.get(light)) * math.exp2(setting.gain.stops)
    gain = gain_factor(setting, recipe.model.lights[light].rendered)
    return gain * start.gain if start is not None and is_relative(setting.gain) else gain
