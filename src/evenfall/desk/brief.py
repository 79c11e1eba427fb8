"""A mood in sentences, as a lighting person would say it: text, and the figures in it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal, assert_never

from evenfall.change.dials import Dial, dials, reading
from evenfall.compare.standing import stand
from evenfall.desk.figures import Figure, Kind
from evenfall.recipe import LightSetting, Recipe, ResolvedMood
from evenfall.recipe.aims import Aim
from evenfall.recipe.gains import GAIN_KEYS, Match, gives_nothing
from evenfall.recipe.lights import MoodSetting
from evenfall.recipe.resolve import chain, said_in
from evenfall.recipe.tints import (
    TINT_KEYS,
    AtXy,
    HexTint,
    InKelvin,
    LampClassTint,
    MiredShift,
    PlainRgb,
    Untinted,
)
from evenfall.recipe.words.aims import aim_words
from evenfall.recipe.words.looks import look_prose
from evenfall.recipe.words.prose import (
    gain_prose,
    kelvin_prose,
    name_prose,
    size_prose,
    tint_prose,
)

__all__ = ["Brief", "Clause", "Sentence", "brief_of"]

_GAINS = ("on", *GAIN_KEYS)
_RECIPE = "the recipe"


@dataclass(frozen=True)
class Clause:
    """What is said of one thing: words and figures in turn, and the lights that it is about."""

    spans: tuple[str | Figure, ...]
    lights: tuple[str, ...] = ()


@dataclass(frozen=True)
class Sentence:
    """Words that lead in, clauses, and words behind them.

    Parameters
    ----------
    kind : str
        Whether it says what is the mood's own, what it takes from another mood, what nobody
        mentions, what the camera and the look do, or what areas of the picture should be.
    """

    kind: Literal["own", "taken", "rest", "camera", "look", "aims"]
    lead: str
    clauses: tuple[Clause, ...]


@dataclass(frozen=True)
class Brief:
    """A mood in sentences."""

    mood: str
    title: str
    sentences: tuple[Sentence, ...]

    @property
    def figures(self) -> dict[str, Figure]:
        """Every figure by its key."""
        return {
            span.key: span
            for sentence in self.sentences
            for clause in sentence.clauses
            for span in clause.spans
            if isinstance(span, Figure)
        }


def brief_of(recipe: Recipe, mood: str) -> Brief:
    """Say a mood in sentences.

    Examples
    --------
    >>> from evenfall.develop.example import example_recipe
    >>> brief = brief_of(example_recipe(), "dusk")
    >>> [(sentence.kind, sentence.lead) for sentence in brief.sentences][:2]
    [('own', 'dusk has'), ('camera', 'The camera')]
    >>> brief.figures["gain:sky"].text
    '2 stops down'
    """
    resolved, own = recipe.moods[mood], recipe.model.moods[mood]
    said = _Said(recipe, mood)
    base = None if own.based_on is None else recipe.moods[own.based_on]
    lead = f"{resolved.title} has"
    clauses = {kind: tuple(said.clauses(kind)) for kind in ("own", "taken", "rest")}
    if base is not None:
        with_own = "with" if clauses["own"] else "as it stands"
        lead = f"{resolved.title} is {name_prose(base.title)} {with_own}"
    elif not clauses["own"]:
        lead = f"{resolved.title} has every light as it was rendered"
    sentences = [Sentence("own", lead, clauses["own"])]
    if clauses["taken"] and base is not None:
        unchanged = f"Unchanged from {name_prose(base.title)}:"
        sentences.append(Sentence("taken", unchanged, clauses["taken"]))
    sentences += _camera(recipe, resolved)
    if resolved.aims:
        clauses_of_aims = tuple(_aim(name, aim) for name, aim in resolved.aims.items())
        sentences.append(Sentence("aims", "It should show", clauses_of_aims))
    if clauses["rest"]:
        sentences.append(Sentence("rest", "Not mentioned, and as rendered:", clauses["rest"]))
    return Brief(mood, resolved.title, tuple(sentences))


@dataclass(frozen=True)
class _Entry:
    """Where something is said of a light: in which mood, under which name; nowhere when empty."""

    mood: str = ""
    name: str = ""


class _Said:
    """What a mood says of every light, gathered into clauses."""

    def __init__(self, recipe: Recipe, mood: str) -> None:
        self.recipe, self.mood = recipe, mood
        self.resolved = recipe.moods[mood]
        self.moods = [name for name, _ in chain(recipe.model, mood)][::-1]  # the mood itself first
        self.places = {
            light: (self._entry(light, _GAINS), self._entry(light, TINT_KEYS))
            for light in recipe.model.lights
        }

    def _entry(self, light: str, keys: Sequence[str]) -> _Entry:
        for mood in self.moods:
            entries = self.recipe.model.moods[mood].lights
            ruling = [
                name
                for name, setting in entries.items()
                if setting.model_fields_set.intersection(keys) and self._rules(name, light)
            ]
            if ruling:
                return _Entry(mood, light if light in ruling else ruling[-1])
        return _Entry()

    def _rules(self, name: str, light: str) -> bool:
        return light in self.recipe.members(name)

    def clauses(self, kind: str) -> Iterator[Clause]:
        """Give the clauses of a kind of sentence; lights of which the same is said share one."""
        groups: dict[object, list[str]] = {}
        for light, (gain, tint) in self.places.items():
            if self._kind(gain, tint) == kind:
                key = (gain, tint) if kind != "rest" else light
                groups.setdefault((key, self._figure_key(light)), []).append(light)
        for lights in groups.values():
            yield self._clause(tuple(lights), kind)

    def _figure_key(self, light: str) -> tuple[str, str]:
        """Give what must be alike for two lights to share a figure."""
        setting = self.resolved.lights[light]
        return gain_prose(setting), tint_prose(setting)

    def _kind(self, gain: _Entry, tint: _Entry) -> str:
        if self.mood in (gain.mood, tint.mood):
            return "own"
        return "taken" if gain.mood or tint.mood else "rest"

    def _clause(self, lights: tuple[str, ...], kind: str) -> Clause:
        gain, tint = self.places[lights[0]]
        setting = self.resolved.lights[lights[0]]
        subjects, called = self._called(lights, gain if gain.mood else tint)
        figure = self._gain(setting, lights, subjects, called, gain)
        if kind == "rest":
            return Clause(("the ", replace(figure, text=called)), lights)
        spans: list[str | Figure] = [f"the {called} ", figure]
        hue = tint_prose(setting)
        if hue and not gives_nothing(setting.gain):
            spans += [" at ", self._tint(setting, lights, subjects, called, tint, hue)]
        return Clause(tuple(spans), lights)

    def _called(self, lights: tuple[str, ...], entry: _Entry) -> tuple[tuple[str, ...], str]:
        """Give the names that `change` takes, and what the lights are called in a sentence."""
        model = self.recipe.model
        for group in (entry.name, *model.groups):
            if group in model.groups and self.recipe.members(group) == lights:
                plain = name_prose(group)  # "pendants", but "indoor lights"
                return (group,), plain if plain.endswith("s") else f"{plain} lights"
        titles = [name_prose(model.lights[light].title or light) for light in lights]
        if len(titles) == 1:
            return lights, titles[0]
        return lights, f"{', the '.join(titles[:-1])} and the {titles[-1]}"

    def _source(self, entry: _Entry) -> str:
        return "" if entry.mood in ("", self.mood) else entry.mood

    def _gain(
        self,
        setting: LightSetting,
        lights: tuple[str, ...],
        subjects: tuple[str, ...],
        called: str,
        entry: _Entry,
    ) -> Figure:
        off = gives_nothing(setting.gain)
        kind: Kind = "off" if off else "ratio" if isinstance(setting.gain, Match) else "gain"
        place = stand(self.recipe, self.mood, lights[0])
        return Figure(
            f"gain:{'+'.join(lights)}",
            kind,
            gain_prose(setting),
            f"{called[:1].upper()}{called[1:]}, strength",
            subjects,
            lights,
            -20.0 if place.is_off else round(place.stops, 4),
            self._source(entry),
        )

    def _tint(
        self,
        setting: LightSetting,
        lights: tuple[str, ...],
        subjects: tuple[str, ...],
        called: str,
        entry: _Entry,
        text: str,
    ) -> Figure:
        return Figure(
            f"tint:{'+'.join(lights)}",
            _tint_kind(setting),
            text,
            f"{called[:1].upper()}{called[1:]}, colour",
            subjects,
            lights,
            setting.kelvin or setting.mired_shift or 0.0,
            self._source(entry),
        )


def _tint_kind(setting: LightSetting | MoodSetting) -> Kind:
    tint = setting.tint
    match tint:
        case InKelvin():
            return "kelvin"
        case MiredShift() | Untinted():
            return "shift"
        case AtXy() | HexTint() | PlainRgb() | LampClassTint():
            return "colour"
        case _:
            assert_never(tint)


def _aim(name: str, aim: Aim) -> Clause:
    called = name_prose(name)
    label = f"{called[:1].upper()}{called[1:]}, aim"
    area = () if aim.area is None or aim.area.rectangle is None else aim.area.rectangle
    asked = (aim.stops, aim.ratio_value, aim.kelvin, aim.clipped_at_most, aim.shadows_at_least)
    value = next((float(each) for each in asked if each is not None), 0.0)
    figure = Figure(f"aim:{name}", "aim", aim_words(aim), label, (name,), value=value, area=area)
    return Clause((f"{called} ", figure))


def _camera(recipe: Recipe, mood: ResolvedMood) -> Iterator[Sentence]:
    known = dict.fromkeys(dial for some in dials(recipe).values() for dial in some)
    said = [(dial, said_in(recipe.model, mood.name, dial.place)) for dial in known]
    camera = [
        _dial_clause(mood, dial, source)
        for dial, source in said
        if dial.kind == "stops" or (dial.kind == "kelvin" and reading(mood, dial) is not None)
    ]
    yield Sentence("camera", "The camera", tuple(camera))
    look = [
        _dial_clause(mood, dial, source)
        for dial, source in said
        if dial.kind == "number" and source is not None and reading(mood, dial) is not None
    ]
    if look:
        yield Sentence("look", "The look has", tuple(look))


def _dial_clause(mood: ResolvedMood, dial: Dial, source: str | None) -> Clause:
    value = reading(mood, dial) or 0.0
    taken = "" if source == mood.name else source or _RECIPE
    key, label = f"dial:{dial.name}", dial.name[:1].upper() + dial.name[1:]
    figure = Figure(key, "number", f"{value:g}", label, (dial.name,), (), value, taken, dial)
    match dial.kind:
        case "stops":
            size = size_prose(value)
            way = "stays " if size == "0" else "opens " if value > 0 else "closes "
            view = mood.camera.as_in
            text = size if size != "0" else f"as in {Path(view).stem}" if view else "as metered"
            return Clause((way, replace(figure, kind="stops", text=text)))
        case "kelvin":
            white = replace(figure, kind="white", text=kelvin_prose(value))
            return Clause(("is balanced for ", white))
        case "number":
            section, number = str(dial.place[-2]), str(dial.place[-1])
            before, text, behind = look_prose(section, number, value)
            spans = (before, replace(figure, text=text), behind)
            return Clause(tuple(span for span in spans if span))
        case _:
            assert_never(dial.kind)
