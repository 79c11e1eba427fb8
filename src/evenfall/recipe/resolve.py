"""What a mood comes to: inheritance applied, groups opened, the camera and look complete."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal, TypeVar

from evenfall.recipe.areas import Area
from evenfall.recipe.base import Part
from evenfall.recipe.camera import Camera
from evenfall.recipe.lights import GAIN_KEYS, TINT_KEYS, LightSetting
from evenfall.recipe.look import Cdl, Look
from evenfall.recipe.model import RecipeModel
from evenfall.recipe.moods import Daylight, Mood, Overlay, Plate, Region

__all__ = ["ResolvedMood", "members", "merge", "merge_setting", "resolve_moods"]

PartT = TypeVar("PartT", bound=Part)
TimeOfDay = Literal["day", "dusk", "night"]

_WHOLE = (Area, Cdl)
_TIMES: tuple[tuple[TimeOfDay, tuple[str, ...]], ...] = (
    ("dusk", ("dusk", "twilight", "blue hour", "golden hour", "sunset", "evening", "dawn")),
    ("night", ("night", "midnight")),
    ("day", ("day", "noon", "morning", "afternoon", "midday", "sunny", "overcast")),
)


@dataclass(frozen=True)
class ResolvedMood:
    """A mood with everything it builds on applied.

    Parameters
    ----------
    name : str
        Key of the mood in the recipe.
    title : str
        Name for people.
    time_of_day : {"day", "dusk", "night"} or None
        As given, or guessed from name and title.
    lights : mapping of str to LightSetting
        Every light of the recipe in the recipe's order; an empty setting is as rendered.
    daylight : Daylight or None
        Sun and sky from a daylight model.
    camera, look : Camera, Look
        Complete: the recipe's, then those of the moods it builds on, then its own.
    own_meter : bool
        Whether the mood, or one it builds on, says itself how it is exposed.
    plate, overlays, regions
        Background, cut-outs and changes in parts of the picture.
    """

    name: str
    title: str
    time_of_day: TimeOfDay | None
    lights: Mapping[str, LightSetting]
    daylight: Daylight | None
    camera: Camera
    own_meter: bool
    look: Look
    plate: Plate | None
    overlays: tuple[Overlay, ...]
    regions: tuple[Region, ...]


def members(model: RecipeModel, name: str) -> tuple[str, ...]:
    """Lights of a light's or group's name, in the recipe's order.

    Raises
    ------
    KeyError
        When there is neither a light nor a group of that name.
    """
    if name in model.lights:
        return (name,)
    chosen = set(model.groups[name])
    return tuple(light for light in model.lights if light in chosen)


def resolve_moods(model: RecipeModel) -> dict[str, ResolvedMood]:
    """Resolve every mood of a sound model, in the recipe's order."""
    return {name: _resolve(model, name) for name in model.moods}


def chain(model: RecipeModel, name: str) -> list[Mood]:
    """Return the moods that make up a mood, the first base first."""
    moods: list[Mood] = []
    current: str | None = name
    while current is not None:
        mood = model.moods[current]
        moods.insert(0, mood)
        current = mood.based_on
    return moods


def _resolve(model: RecipeModel, name: str) -> ResolvedMood:
    lights = {light: LightSetting() for light in model.lights}
    camera, look = model.camera, model.look
    own_meter = False
    inherited: dict[str, object] = {"daylight": None, "plate": None, "overlays": (), "regions": ()}
    for mood in chain(model, name):
        _apply_lights(lights, mood, model)
        if mood.camera is not None:
            own_meter |= bool(mood.camera.model_fields_set & {"meter", "settings"})
            camera = merge(camera, mood.camera)
        if mood.look is not None:
            look = merge(look, mood.look)
        for field in inherited:
            if field in mood.model_fields_set:
                inherited[field] = getattr(mood, field)
    own = model.moods[name]
    return ResolvedMood(
        name=name,
        title=own.title or name,
        time_of_day=own.time_of_day or guess_time_of_day(name, own.title),
        lights=lights,
        camera=camera,
        own_meter=own_meter,
        look=look,
        **inherited,  # type: ignore[arg-type]  # each value is the mood's own field of that name
    )


def _apply_lights(lights: dict[str, LightSetting], mood: Mood, model: RecipeModel) -> None:
    entries = sorted(mood.lights.items(), key=lambda entry: entry[0] in model.lights)
    for name, setting in entries:
        for light in members(model, name):
            lights[light] = merge_setting(lights[light], setting)


def merge_setting(base: LightSetting, over: LightSetting) -> LightSetting:
    """Lay a light's setting over that of the mood it builds on.

    A gain replaces the gain and a tint the tint; what the setting does not speak of stays.

    Examples
    --------
    >>> day = LightSetting(stops=-1, kelvin=3000)
    >>> dusk = merge_setting(day, LightSetting(factor=2))
    >>> dusk.gain_key, dusk.factor, dusk.kelvin
    ('factor', 2.0, 3000.0)
    """
    values = {field: getattr(base, field) for field in base.model_fields_set}
    said = over.model_fields_set
    if said & {"on", *GAIN_KEYS}:
        values = _without(values, ("on", *GAIN_KEYS, "lumens_per_watt"))
    if said & set(TINT_KEYS):
        values = _without(values, (*TINT_KEYS, "duv", "locus"))
    values |= {field: getattr(over, field) for field in said if field != "on"}
    return LightSetting(**values)


def _without(values: dict[str, object], keys: tuple[str, ...]) -> dict[str, object]:
    return {key: value for key, value in values.items() if key not in keys}


def merge(base: PartT, over: PartT) -> PartT:
    """Lay the fields that a part says over those of another part of the same class.

    Tables inside are merged the same way; lists, areas, CDLs and tables of another class (another
    tone curve) are replaced as a whole.

    Examples
    --------
    >>> merge(Camera(exposure_stops=1), Camera(meter="off")).exposure_stops
    1.0
    """
    values = {field: getattr(base, field) for field in base.model_fields_set}
    for field in over.model_fields_set:
        below, above = getattr(base, field), getattr(over, field)
        mergeable = isinstance(above, Part) and not isinstance(above, _WHOLE)
        if mergeable and type(below) is type(above):
            above = merge(below, above)
        values[field] = above
    return type(base)(**values)


def guess_time_of_day(name: str, title: str | None) -> TimeOfDay | None:
    """Guess from a mood's name and title what time of day it shows.

    Examples
    --------
    >>> guess_time_of_day("evening_warm", None)
    'dusk'
    """
    for text in (name, title or ""):
        words = text.casefold().replace("_", " ").replace("-", " ")
        for time_of_day, marks in _TIMES:
            if any(mark in words for mark in marks):
                return time_of_day
    return None
