"""Exposure: which mood and which lights are metered, and what camera settings come to.

Where grey lands. The meter brings the metered luminance to `grey_percent`, 18 unless said. Camera
settings have the same anchor by default: the luminance that a meter calibrated with K = 12.5
(ISO 2720:1974) would call right for them, 0.125 x 2^EV100 cd/m2, lands on 18 % too, so metering and
then setting the camera to the metered EV is one and the same exposure. With anchor 'saturation' the
luminance that just saturates the sensor, 1.2 x 2^EV100 cd/m2 (ISO 12232:2019), lands on 1; the same
metered grey then lands on 0.125 / 1.2 = 0.104, or 0.79 stop lower.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from evenfall.errors import RecipeError
from evenfall.light.units import (
    MIDDLE_GREY,
    SATURATION_LUMINANCE,
    ev100_from_luminance,
    ev100_from_settings,
    luminance_from_ev100,
)
from evenfall.mix.balance import lights_on
from evenfall.recipe import CameraSettings, Meter, Recipe, ResolvedMood
from evenfall.recipe.places import dotted
from evenfall.system.opened import Once, Remembered

__all__ = ["LightsOn", "MeterPlan", "equivalent_ev100", "plan_meter", "settings_factor"]


@dataclass(frozen=True)
class MeterPlan:
    """What is to be metered: these lights, under the balance of that mood, by that meter.

    Moods with equal plans share one reading.

    Parameters
    ----------
    mood : str
        The mood whose balance the metered lights have.
    lights : tuple of str
        The lights that the meter sees; none of them is off.
    meter : Meter
        How it is measured.
    notes : tuple of str
        What a person should know.
    """

    mood: str
    lights: tuple[str, ...]
    meter: Meter
    notes: tuple[str, ...] = ()


def own_place(mood: ResolvedMood, part: Literal["meter", "settings"]) -> str:
    """Place of a camera's part in the recipe: the mood's own, or the camera of all moods."""
    return dotted((*(("moods", mood.name) if mood.own_meter else ()), "camera", part))


class LightsOn:
    """Which lights are on in the moods of a recipe; each mood is looked at once.

    Parameters
    ----------
    recipe : Recipe
        The recipe.
    """

    def __init__(self, recipe: Recipe) -> None:
        self.recipe = recipe
        self._on: Remembered[tuple[str, ...]] = Remembered()
        self._keyed = Once(self._first_keyed)

    def of(self, mood: str) -> tuple[str, ...]:
        """Lights that give any light in a mood; as `lights_on`."""
        return self._on.get(mood, lambda: lights_on(self.recipe, self.recipe.moods[mood]))

    def keys(self, mood: str) -> tuple[str, ...]:
        """Those of them that have the role of key."""
        lights = self.recipe.model.lights
        return tuple(name for name in self.of(mood) if lights[name].role == "key")

    def first_keyed(self) -> str:
        """Name the first mood in which a key is on; the first of all where there is none."""
        return self._keyed.get()

    def _first_keyed(self) -> str:
        moods = self.recipe.moods
        return next((mood for mood in moods if self.keys(mood)), next(iter(moods)))


def plan_meter(on: LightsOn, mood: ResolvedMood) -> MeterPlan | None:
    """Choose what is metered for a mood; None when its camera does not meter.

    The mood named by `meter.mood` is metered, otherwise the mood itself when it has a meter of its
    own, otherwise the first mood of the recipe in which a key is on. When no mood has a key on,
    the mix of the first mood is metered, and the plan says so.

    Parameters
    ----------
    on : LightsOn
        Of the recipe.
    mood : ResolvedMood
        One of its moods.

    Raises
    ------
    RecipeError
        When everything that is to be metered is off.
    """
    meter = mood.camera.meter
    if mood.camera.settings is not None or not isinstance(meter, Meter):
        return None
    place = own_place(mood, "meter")
    metered = _metered_mood(mood, meter, on)
    lights = _metered_lights(metered, meter, on)
    if lights:
        return MeterPlan(metered, lights, meter)
    if meter.of == "key" and meter.mood is None and not mood.own_meter:
        note = f"{place}: no mood has a key light that is on; the mix of {metered} is metered"
        lights = on.of(metered)
        if lights:
            return MeterPlan(metered, lights, meter, (note,))
    what = {"key": "the key", "mix": "every light"}.get(str(meter.of), "what it names")
    raise RecipeError(
        on.recipe.fault(
            place,
            f"{what} is off in {metered}, so there is nothing to meter",
            hint="meter another mood (mood = '...') or other lights (of = 'mix'), or say "
            "meter = 'off'",
        )
    )


def _metered_mood(mood: ResolvedMood, meter: Meter, on: LightsOn) -> str:
    if meter.mood is not None:
        return meter.mood
    return mood.name if mood.own_meter else on.first_keyed()


def _metered_lights(metered: str, meter: Meter, on: LightsOn) -> tuple[str, ...]:
    if meter.of == "key":
        return on.keys(metered)
    if meter.of == "mix":
        return on.of(metered)
    names = (meter.of,) if isinstance(meter.of, str) else meter.of
    chosen = {light for name in names for light in on.recipe.members(name)}
    return tuple(name for name in on.of(metered) if name in chosen)


def settings_factor(settings: CameraSettings, luminance_scale: float) -> float:
    """Exposure factor of camera settings.

    Parameters
    ----------
    settings : CameraSettings
        ISO, aperture, shutter, and the anchor.
    luminance_scale : float
        cd/m2 of a pixel of luminance 1.

    Examples
    --------
    >>> sunny = CameraSettings(iso=100, aperture=16, shutter="1/128")
    >>> round(4096 * settings_factor(sunny, 1.0), 3)  # EV 15 is 4096 cd/m2
    0.18
    """
    ev100 = ev100_from_settings(settings.iso, settings.aperture, settings.shutter_seconds)
    if settings.anchor == "saturation":
        return luminance_scale / (SATURATION_LUMINANCE * math.exp2(ev100))
    return luminance_scale * MIDDLE_GREY / luminance_from_ev100(ev100)


def equivalent_ev100(exposure_factor: float, luminance_scale: float) -> float:
    """EV at ISO 100 of camera settings, with the anchor 'grey', that expose the same.

    Examples
    --------
    >>> round(equivalent_ev100(0.18 / 4096, 1.0), 6)
    15.0
    """
    return ev100_from_luminance(luminance_scale * MIDDLE_GREY / exposure_factor)
