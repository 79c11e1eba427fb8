"""What a mood comes to: inheritance applied, groups opened, the camera and look complete."""

from __future__ import annotations

import re
from collections.abc import Container, Iterator, Mapping, Sequence
from contextlib import contextmanager
from copy import copy
from dataclasses import dataclass, field
from typing import Literal, TypeVar

from pydantic import ValidationError

from evenfall.recipe.aims import Aim
from evenfall.recipe.areas import Area
from evenfall.recipe.base import Part, Step
from evenfall.recipe.camera import Camera, MoodCamera
from evenfall.recipe.counting import counted_from
from evenfall.recipe.gains import Counted, Match
from evenfall.recipe.lights import LightSetting
from evenfall.recipe.look import Cdl, Look
from evenfall.recipe.model import RecipeModel
from evenfall.recipe.moods import Daylight, Mood, Overlay, Plate, Region
from evenfall.recipe.places import Place
from evenfall.recipe.words.findings import Finding
from evenfall.recipe.words.wording import step_words

__all__ = ["Between", "ResolvedMood", "members", "merge", "resolve_moods"]

PartT = TypeVar("PartT", bound=Part)
TimeOfDay = Literal["day", "dusk", "night"]

_WHOLE = (Area, Cdl, Match)
_TIMES: tuple[tuple[TimeOfDay, tuple[str, ...]], ...] = (
    ("dusk", ("dusk", "twilight", "blue hour", "golden hour", "sunset", "evening", "dawn")),
    ("night", ("night", "midnight", "nighttime")),
    ("day", ("day", "daylight", "daytime", "noon", "midday", "morning", "afternoon", "overcast")),
)


@dataclass(frozen=True)
class Between:
    """Where a frame stands: between these moods, and how far from the first to the second."""

    first: str
    second: str
    share: float


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
        Complete: the recipe's, then those of the moods it builds on, then its own. A camera that is
        exposed as in another view has no meter, settings or stops.
    own_meter : bool
        Whether the mood, or one it builds on, says itself how it is exposed.
    counted_exposure : Counted or None
        From which mood the camera's exposure_stops were counted, when they were.
    plate, overlays, regions
        Background, cut-outs and changes in parts of the picture.
    aims : mapping of str to Aim
        The mood's own.
    plates : tuple of (Plate, float)
        Backgrounds that dissolve, with their weights, in a frame between two moods.
    between : Between or None
        For a frame of a sequence: the moods whose lights and camera it stands between; its own
        `lights` and `camera` are then those of the first.
    phase : int
        How many frames after the first it is; grain and dither move on by it.
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
    counted_exposure: Counted | None = None
    aims: Mapping[str, Aim] = field(default_factory=dict)
    plates: tuple[tuple[Plate, float], ...] = ()
    between: Between | None = None
    phase: int = 0

    @property
    def backgrounds(self) -> tuple[tuple[Plate, float], ...]:
        """Its plates with their weights; one that does not dissolve has the weight 1."""
        if self.between is not None or self.plate is None:
            return self.plates
        return ((self.plate, 1.0),)


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


def resolve_moods(model: RecipeModel) -> tuple[dict[str, ResolvedMood], list[Finding]]:
    """Resolve every mood of a model, in the recipe's order.

    What a mood says can contradict what it builds on; those places come back as findings.
    """
    known: dict[str, _Layers] = {}
    findings: dict[Place, Finding] = {}
    for name in model.moods:
        for each, mood in chain(model, name, known):
            layers = _Layers(model) if mood.based_on is None else known[mood.based_on].copy()
            layers.add(each, mood)
            known[each] = layers
            findings |= {finding.place: finding for finding in layers.findings}
    return {name: known[name].resolved(name) for name in model.moods}, list(findings.values())


def chain(model: RecipeModel, name: str, without: Container[str] = ()) -> list[tuple[str, Mood]]:
    """Return the moods that make up a mood by name, the first base first.

    It begins behind those that are left out, with what they build on. A frame of the sequence is
    made up of the moods that it stands between.
    """
    if name not in model.moods and model.sequence is not None and name == model.sequence.name:
        keys = model.sequence.moods_at(model.sequence.frame)
        found = [each for key in keys for each in chain(model, key, without)]
        return list(dict(found).items())
    moods: list[tuple[str, Mood]] = []
    current: str | None = name
    while current is not None and current not in without:
        mood = model.moods[current]
        moods.append((current, mood))
        current = mood.based_on
    return moods[::-1]


def said_in(model: RecipeModel, name: str, place: Place) -> str | None:
    """Name the mood of a chain that says something last: "" is the recipe itself, None nobody.

    Parameters
    ----------
    model : RecipeModel
        The recipe as written.
    name : str
        The mood.
    place : Place
        Below a mood, such as ``("look", "glare", "strength")``.
    """
    for where, top in (*chain(model, name)[::-1], ("", model)):
        part: object = top
        for step in place:
            told: frozenset[str] = getattr(part, "model_fields_set", frozenset())
            part = getattr(part, str(step)) if step in told else None
        if part is not None:
            return where
    return None


class _Layers:
    """A mood as it comes together: the recipe first, then one mood over the other."""

    def __init__(self, model: RecipeModel) -> None:
        self.model = model
        self.lights = {light: LightSetting() for light in model.lights}
        self.camera, self.look = model.camera, model.look
        self.own_meter = False
        self.daylight: Daylight | None = None
        self.plate: Plate | None = None
        self.overlays: tuple[Overlay, ...] = ()
        self.regions: tuple[Region, ...] = ()
        self.counted_exposure: Counted | None = None
        self.findings: list[Finding] = []

    def copy(self) -> _Layers:
        """Start from here; what was found so far is told already."""
        copied = copy(self)
        copied.lights, copied.findings = dict(self.lights), []
        return copied

    def add(self, name: str, mood: Mood) -> None:
        place = ("moods", name)
        said = mood.model_fields_set
        base_daylight, base_lights = self.daylight, dict(self.lights)
        self.daylight = mood.daylight if "daylight" in said else self.daylight
        shifted = self._lit_otherwise(base_daylight)
        entries = sorted(mood.lights.items(), key=lambda entry: entry[0] in self.model.lights)
        for named, setting in entries:
            where = (*place, "lights", named)
            lights = members(self.model, named)
            if isinstance(setting.stops, Step) and mood.based_on is not None:
                self._check_step(setting.stops, [base_lights[one] for one in lights], mood, where)
            for light in lights:
                with self._noting(where):
                    over = counted_from(
                        base_lights[light],
                        setting,
                        mood.based_on,
                        daylight_differs=light in shifted,
                    )
                    self.lights[light] = _without_on(merge(self.lights[light], over))
        if mood.camera is not None:
            self._set_camera(mood.camera, mood.based_on, (*place, "camera"))
        if mood.look is not None:
            with self._noting((*place, "look")):
                self.look = merge(self.look, mood.look)
        self.plate = mood.plate if "plate" in said else self.plate
        self.overlays = self.overlays if mood.overlays is None else mood.overlays
        self.regions = self.regions if mood.regions is None else mood.regions

    def _lit_otherwise(self, before: Daylight | None) -> set[str]:
        """Lights that are sun or sky of a model, where the model has changed."""
        if self.daylight == before:
            return set()
        models = [model for model in (before, self.daylight) if model is not None]
        names = [name for model in models for name in (model.sun, model.sky) if name is not None]
        return {light for name in names for light in members(self.model, name)}

    def _check_step(
        self, step: Step, below: Sequence[LightSetting], mood: Mood, place: Place
    ) -> None:
        """Note a step from lights that are all off; a group may hold some that stay off."""
        if all(setting.is_off for setting in below):
            found = f'"{step_words(step.stops)}" counts from {mood.based_on}, where it is off'
            hint = "say plain stops, which count from the render"
            self.findings.append(Finding(place, found, hint=hint))

    def _set_camera(self, said: MoodCamera, base: str | None, place: Place) -> None:
        self.own_meter |= bool(said.model_fields_set & {"meter", "settings"})
        values = {field: getattr(said, field) for field in said.model_fields_set}
        stops = values.get("exposure_stops")
        with self._noting(place):
            if isinstance(stops, Step):
                values["exposure_stops"] = self.camera.exposure_stops + stops.stops
            self.camera = merge(self.camera, Camera(**values))
        if isinstance(stops, Step) and base is not None:
            self.counted_exposure = Counted(mood=base, stops=stops.stops)
        elif stops is not None:
            self.counted_exposure = None

    @contextmanager
    def _noting(self, place: Place) -> Iterator[None]:
        """Note what does not go with what a mood inherits; it is then left as inherited."""
        try:
            yield
        except ValidationError as error:
            for detail in error.errors():
                message = str(detail.get("ctx", {}).get("error", detail["msg"]))
                found = f"does not go with what the mood inherits: {message}"
                self.findings.append(Finding(place, found))

    def resolved(self, name: str) -> ResolvedMood:
        own = self.model.moods[name]
        return ResolvedMood(
            name=name,
            title=own.title or name,
            time_of_day=own.time_of_day or guess_time_of_day(name, own.title),
            lights=self.lights,
            daylight=self.daylight,
            camera=_as_in_another(self.camera),
            own_meter=self.own_meter,
            look=self.look,
            plate=self.plate,
            overlays=self.overlays,
            regions=self.regions,
            counted_exposure=None if self.camera.as_in else self.counted_exposure,
            aims=own.aims,
        )


def _as_in_another(camera: Camera) -> Camera:
    """Leave out how a camera is exposed, where that is said in another view."""
    if camera.as_in is None:
        return camera
    return Camera(as_in=camera.as_in, meter="off", white_balance=camera.white_balance)


def _without_on(setting: LightSetting) -> LightSetting:
    """Drop `on`, which has done its work when the inherited gain is gone."""
    said = setting.model_fields_set - {"on"}
    return LightSetting(**{field: getattr(setting, field) for field in said})


def merge(base: PartT, over: PartT) -> PartT:
    """Lay the fields that a part says over those of another part of the same class.

    Tables inside are merged the same way; lists, areas, CDLs, ratios and tables of another class
    (another tone curve) are replaced as a whole. Keys that say one thing between them, such as the
    ways to give a gain, replace each other.

    Examples
    --------
    >>> merge(Camera(exposure_stops=1), Camera(meter="off")).exposure_stops
    1.0
    >>> day = LightSetting(stops=-1, kelvin=3000)
    >>> dusk = merge(day, LightSetting(factor=2))
    >>> dusk.gain_key, dusk.factor, dusk.kelvin
    ('factor', 2.0, 3000.0)
    """
    values = {field: getattr(base, field) for field in base.model_fields_set}
    for family in over.families:
        if over.model_fields_set & set(family.heads):
            for field in family.members:
                values.pop(field, None)
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
        words = re.sub(r"[\W\d_]+", " ", text.casefold()).strip()
        for time_of_day, marks in _TIMES:
            if any(f" {mark} " in f" {words} " for mark in marks):
                return time_of_day
    return None
