"""Names that point somewhere: lights, groups and moods wherever a recipe speaks of them."""

from __future__ import annotations

import re
import string
import unicodedata
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from evenfall.recipe.camera import Camera, MoodCamera
from evenfall.recipe.deliverables import Deliverable
from evenfall.recipe.file_names import asks_for
from evenfall.recipe.formats import FORMATS
from evenfall.recipe.gains import figure_needed
from evenfall.recipe.hour_checks import check_hours
from evenfall.recipe.lights import MoodSetting, Source
from evenfall.recipe.model import RecipeModel
from evenfall.recipe.moods import Mood
from evenfall.recipe.places import Place, dotted
from evenfall.recipe.words.findings import Finding
from evenfall.recipe.words.hints import shown
from evenfall.recipe.words.suggesting import did_you_mean, joined

__all__ = ["NAME_FIELDS", "Names", "check_references"]

NAME_FIELDS = ("recipe", "mood", "frame", "format", "space", "width", "suffix")
"""What the name of a deliverable may hold in braces."""

_LONGEST_CYCLE = 10  # names of moods that build on each other, in a fault
_METER_WORDS = ("key", "mix")
_UNFIT_FOR_NAMES = re.compile(r'[\x00-\x1f\x7f/\\:*?"<>|{}]')
_LONGEST_NAME = 80
_FRAME_DIGITS = re.compile(r"\d{3,}(?=\.\w+$)")


@dataclass(frozen=True)
class Names:
    """All names that a recipe gives, those of faulty entries included."""

    lights: tuple[str, ...]
    groups: tuple[str, ...]
    moods: tuple[str, ...]

    @classmethod
    def of(cls, tree: dict[str, Any]) -> Names:
        """Read the names off a tree of values."""
        return cls(*(_keys(tree.get(table)) for table in ("lights", "groups", "moods")))


def _keys(table: Any) -> tuple[str, ...]:
    return tuple(table) if isinstance(table, dict) else ()


Doubt = Callable[[Place], bool]


def check_references(model: RecipeModel, names: Names, is_doubtful: Doubt) -> list[Finding]:
    """Return everything that names what is not there, in the order of the recipe.

    `is_doubtful` says of a table whether it lacks something that was faulty; nothing is concluded
    from what such a table does not say.
    """
    findings = [*_names(names), *_groups(model, names)]
    findings += _camera(("camera",), model.camera, names)
    for name, mood in model.moods.items():
        findings += _mood(("moods", name), mood, model, names, is_doubtful)
    findings += _cycles(model)
    findings += _deliverables(model, names, is_doubtful)
    findings += _same_passes(model, is_doubtful)
    findings += _frame(model, is_doubtful)
    findings += check_hours(model)
    return findings


def _names(names: Names) -> Iterator[Finding]:
    for table in ("lights", "groups", "moods"):
        for name in getattr(names, table):
            place = (table, name)
            if not name.strip() or name != name.strip():
                yield Finding(place, f"found the name {shown(name)}", "a name is words")
            elif _is_unfit(name) or len(name) > _LONGEST_NAME:
                yield Finding(
                    place,
                    f"found the name {shown(name)}",
                    f"a name is up to {_LONGEST_NAME} letters, digits, spaces, '-', '_' or '.', "
                    "as it also names files",
                )
    for name in names.groups:
        if name in names.lights:
            yield Finding(
                ("groups", name), "is the name of a light and of a group", hint="rename one of them"
            )
    yield from _alike("moods", names.moods, _as_files_are_named)
    yield from _alike("lights", names.lights, _composed)
    yield from _alike("groups", names.groups, _composed)
    for table in ("lights", "groups"):
        if "mix" in getattr(names, table):
            yield Finding((table, "mix"), 'is called "mix", which the meter uses for all lights')


def _is_unfit(name: str) -> bool:
    return bool(_UNFIT_FOR_NAMES.search(name)) or name.startswith(".") or not name.isprintable()


def _alike(table: str, names: tuple[str, ...], fold: Callable[[str], str]) -> Iterator[Finding]:
    seen: dict[str, str] = {}
    for name in names:
        first = seen.setdefault(fold(name), name)
        if first != name:
            same = _composed(first) == _composed(name)
            how = "how its accents are stored" if same else "capitals"
            files = ": their files would have one name on many systems" if table == "moods" else ""
            yield Finding(
                (table, name),
                f"differs from {shown(first)} only in {how}",
                hint=f"rename one{files}",
            )


def _composed(name: str) -> str:
    """One form of what is stored with accents as signs of their own or not."""
    return unicodedata.normalize("NFC", name)


def _as_files_are_named(name: str) -> str:
    return _composed(_composed(name).casefold())


def _groups(model: RecipeModel, names: Names) -> Iterator[Finding]:
    for name, lights in model.groups.items():
        if not lights:
            yield Finding(("groups", name), "has no lights", "expected a list of light names")
        for index, light in enumerate(lights):
            place = ("groups", name, index)
            if light in names.groups and light not in names.lights:
                inner = shown(model.groups.get(light, ()))
                yield Finding(
                    place, f"{shown(light)} is a group", "a group holds lights", f"write {inner}"
                )
            elif light not in names.lights and names.lights:
                yield _unknown("light", light, place, names.lights)


def _unknown(what: str, name: str, place: Place, known: Iterable[str]) -> Finding:
    known = list(known)
    hint = did_you_mean(name, known)
    listed = f"known are {', '.join(known)}" if known and not hint else ""
    return Finding(place, f"there is no {what} called {shown(name)}", listed, hint)


def _light_or_group(name: str, place: Place, names: Names) -> Iterator[Finding]:
    known = (*names.lights, *names.groups)
    if name not in known and names.lights:  # no lights at all is a fault of its own
        yield _unknown("light or group", name, place, known)


def _mood_name(name: str | None, place: Place, names: Names) -> Iterator[Finding]:
    if name is not None and name not in names.moods and names.moods:
        yield _unknown("mood", name, place, names.moods)


def _camera(place: Place, camera: Camera | MoodCamera | None, names: Names) -> Iterator[Finding]:
    if camera is None:
        return
    meter = camera.meter
    if meter != "off":
        several = not isinstance(meter.of, str)
        for index, name in enumerate(meter.of if several else (meter.of,)):
            known = (*_METER_WORDS, *names.lights, *names.groups)
            if name not in known and names.lights:
                where = (*place, "meter", "of", *((index,) if several else ()))
                yield _unknown("light or group", str(name), where, known)
        yield from _mood_name(meter.mood, (*place, "meter", "mood"), names)
    if camera.white_balance is not None:
        neutral = (*place, "white_balance", "neutral_mood")
        yield from _mood_name(camera.white_balance.neutral_mood, neutral, names)


def _mood(
    place: Place, mood: Mood, model: RecipeModel, names: Names, is_doubtful: Doubt
) -> Iterator[Finding]:
    others = tuple(name for name in names.moods if name != place[-1])
    if mood.based_on not in (None, *names.moods):
        yield _unknown("mood", str(mood.based_on), (*place, "based_on"), others)
    if mood.daylight is not None:
        for key in ("sun", "sky"):
            name = getattr(mood.daylight, key)
            if name is not None:
                yield from _light_or_group(name, (*place, "daylight", key), names)
    for name, setting in mood.lights.items():
        where = (*place, "lights", name)
        yield from _light_or_group(name, where, names)
        yield from _matched(where, name, setting, model, names)
        yield from _needed(where, name, setting, model, is_doubtful)
    yield from _camera((*place, "camera"), mood.camera, names)
    for index, region in enumerate(mood.regions or ()):
        here = (*place, "regions", index)
        for name in region.lights:
            yield from _light_or_group(name, (*here, "lights", name), names)
        if region.white_balance is not None:
            neutral = region.white_balance.neutral_mood
            yield from _mood_name(neutral, (*here, "white_balance", "neutral_mood"), names)
    for name, aim in mood.aims.items():
        if isinstance(aim.over, str):
            where = (*place, "aims", name, "over")
            rest = [one for one in mood.aims if one != name]
            if aim.over == name:
                yield Finding(where, "an aim cannot be over itself", hint="name another aim")
            elif aim.over not in rest and not is_doubtful((*place, "aims")):
                yield _unknown("aim of this mood", aim.over, where, rest)


def _matched(
    place: Place, name: str, setting: MoodSetting, model: RecipeModel, names: Names
) -> Iterator[Finding]:
    if setting.match is None:
        return
    where = (*place, "match", "to")
    yield from _light_or_group(setting.match.to, where, names)
    other = _members(model, setting.match.to)
    shared = [light for light in _members(model, name) if light in other]
    if shared:
        yield Finding(where, f"{name} cannot be matched to itself ({', '.join(shared)})")


def _needed(
    place: Place, name: str, setting: MoodSetting, model: RecipeModel, is_doubtful: Doubt
) -> Iterator[Finding]:
    key = setting.gain_key
    figure = None if key is None else figure_needed(key)
    if key is None or figure is None:
        return
    unknown = [
        light
        for light in _members(model, name)
        if getattr(model.lights[light].rendered, figure) is None
        and not is_doubtful(("lights", light))
    ]
    if unknown:
        lacking = joined((dotted(("lights", light)) for light in unknown), "and")
        yield Finding(
            (*place, key),
            f"{key} need to know how the light was rendered, and rendered.{figure} is missing at "
            f"{lacking}",
            hint=f"add rendered = {{ {figure} = ... }} there, or use stops for {name}",
        )


def _members(model: RecipeModel, name: str) -> list[str]:
    named = (name,) if name in model.lights else model.groups.get(name, ())
    return [light for light in named if light in model.lights]


def _cycles(model: RecipeModel) -> Iterator[Finding]:
    known: set[str] = set()  # where they lead has been followed
    for first in model.moods:
        seen: dict[str, None] = {}
        current: str | None = first
        while current in model.moods and current not in seen and current not in known:
            seen[current] = None
            current = model.moods[current].based_on
        known |= seen.keys()
        if current is not None and current in seen:
            names = list(seen)
            cycle = [*names[names.index(current) :], current]
            if len(cycle) > _LONGEST_CYCLE:
                cycle[_LONGEST_CYCLE // 2 : -_LONGEST_CYCLE // 2] = ["..."]
            yield Finding(
                ("moods", current, "based_on"),
                f"the mood builds on itself: {' -> '.join(cycle)}",
                hint="let one of them stand on its own, without based_on",
            )


def _deliverables(model: RecipeModel, names: Names, is_doubtful: Doubt) -> Iterator[Finding]:
    written: dict[str, Place] = {}
    if model.sheet.make:
        written[_as_files_are_named(model.sheet.name + FORMATS[model.sheet.format].ending)] = (
            "sheet",
        )
    for index, deliverable in enumerate(model.deliverables):
        place: Place = ("deliverables", index)
        for position, name in enumerate(deliverable.moods):
            if model.sequence is None or name != model.sequence.name:
                yield from _mood_name(name, (*place, "moods", position), names)
        faults = list(_file_name(deliverable.name, (*place, "name"), NAME_FIELDS))
        faults += _file_name(deliverable.suffix, (*place, "suffix"), ())
        yield from faults
        if not faults and not is_doubtful(place):
            yield from _clashes(deliverable, place, model, written)
    yield from _file_name(model.sheet.name, ("sheet", "name"), ("recipe",))


def _file_name(name: str, place: Place, fields: tuple[str, ...]) -> Iterator[Finding]:
    try:
        used = [part[1] for part in string.Formatter().parse(name) if part[1] is not None]
    except ValueError:
        yield Finding(place, f"found {shown(name)}", "braces come in pairs: {mood}")
        return
    for unknown in (part for part in used if part not in fields):
        allowed = ", ".join(f"{{{part}}}" for part in fields) or "no braces"
        yield Finding(
            place, f"found {{{unknown}}} in {shown(name)}", f"known are {allowed}",
            did_you_mean(unknown, fields),
        )  # fmt: skip
    plain = name.replace("{", "").replace("}", "")
    is_blank = bool(fields) and not plain.strip()
    if is_blank or _is_unfit(plain):
        yield Finding(
            place,
            f"found {shown(name)}",
            'expected a plain file name, without folders and without any of / \\ : * ? " < > |',
            "folders are chosen by --out",
        )


def _clashes(
    deliverable: Deliverable, place: Place, model: RecipeModel, written: dict[str, Place]
) -> Iterator[Finding]:
    for mood in deliverable.moods or model.moods:
        name = _as_files_are_named(_file_of(deliverable, mood))
        if name not in written:
            written[name] = place
            continue
        other = written[name]
        if other == place and "{mood}" not in deliverable.name:
            found = f"its name {shown(deliverable.name)} gives every mood the same file"
            yield Finding(place, found, hint="put {mood} into the name")
        elif other != place:
            yield Finding(
                place,
                f"would write the same file as {dotted(other)}",
                hint='give it a suffix = "..." or a name of its own',
            )
        return


def _file_of(deliverable: Deliverable, mood: str) -> str:
    size = (deliverable.crop, deliverable.width, deliverable.height, deliverable.print)
    name = deliverable.name.format(
        recipe="{recipe}",
        mood=mood,
        frame="{frame}",
        format=deliverable.format,
        space=deliverable.space,
        width=repr(size),
        suffix=deliverable.suffix,
    )
    return name + deliverable.row.ending


def _same_passes(model: RecipeModel, is_doubtful: Doubt) -> Iterator[Finding]:
    seen: dict[Source, str] = {}
    for name, light in model.lights.items():
        if is_doubtful(("lights", name)):
            continue
        for source in light.sources:
            first = seen.setdefault(source, name)
            if first != name:
                held = "is the same pass as" if len(light.sources) == 1 else "counts a picture of"
                yield Finding(
                    ("lights", name),
                    f"{held} {dotted(('lights', first))}: {source}",
                    hint="each light has a pass of its own; name its file, layer or part",
                )
    beauty = model.passes.beauty
    if beauty is not None and beauty.source in seen:
        other = dotted(("lights", seen[beauty.source]))
        yield Finding(
            ("passes", "beauty"), f"is the same picture as {other}: {beauty.source}",
            hint="the beauty is the view with all lights at once",
        )  # fmt: skip


def _frame(model: RecipeModel, is_doubtful: Doubt) -> Iterator[Finding]:
    """Refuse a frame that changes no file: only the names of the pictures would change."""
    files = [source.file for light in model.lights.values() for source in light.sources]
    frame = model.passes.frame
    if (
        frame is None
        or model.sequence is not None
        or any(asks_for(file, "frame") for file in files)
        or is_doubtful(("lights",))
    ):
        return
    numbered = next((file for file in files if _FRAME_DIGITS.search(file)), "sun.0001.exr")
    pattern = _FRAME_DIGITS.sub(lambda digits: "#" * len(digits[0]), numbered)
    yield Finding(
        ("passes", "frame"),
        f"found {frame}, and no light's file has #### in its name, so each frame would be the same",
        hint=f"write #### for the digits, as in file = {shown(pattern)}",
    )
