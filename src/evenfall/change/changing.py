"""A recipe is changed by phrases: what stood, what stands now, and which moods change with it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from evenfall.change.dials import dial_words, turn, wanted
from evenfall.change.figures import stops_value
from evenfall.change.gains import move_gains, set_gains
from evenfall.change.keeping import keep_moods, stand_alone
from evenfall.change.metering import check_what_hangs_on_lights, metering_notes
from evenfall.change.revision import Revision
from evenfall.change.subjects import Order, read_phrases
from evenfall.change.tints import Tint, set_tints, shifted_tint
from evenfall.compare.difference import Difference
from evenfall.compare.moods import mood_differences
from evenfall.compare.standing import Stand, stand
from evenfall.errors import Fault, RecipeError, UsageError
from evenfall.recipe import Recipe
from evenfall.recipe.base import parse_stops
from evenfall.recipe.choosing import choose_written_moods
from evenfall.recipe.reading import read_text
from evenfall.recipe.resolve import chain
from evenfall.recipe.saving import replace_text
from evenfall.recipe.words.suggesting import joined
from evenfall.recipe.words.wording import setting_words

__all__ = ["Changed", "Planned", "change_recipe", "change_text"]


@dataclass(frozen=True)
class Changed:
    """What a change comes to.

    Parameters
    ----------
    path : Path
        The recipe.
    text : str
        What stands in it now, or would.
    moods : mapping of str to tuple of Difference
        What was asked for, by mood.
    carried : mapping of str to tuple of Difference
        What else changes, by mood, because it is based on one of those.
    kept : tuple of str
        Moods that were to stay as they were.
    notes : tuple of str
        What a person should know.
    written : bool
        False when it was only to be said.
    """

    path: Path
    text: str
    moods: Mapping[str, tuple[Difference, ...]]
    carried: Mapping[str, tuple[Difference, ...]]
    kept: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    written: bool = False


def change_recipe(
    path: str | Path,
    moods: str | Sequence[str],
    phrases: Sequence[str],
    *,
    keep: Sequence[str] = (),
    dry_run: bool = False,
) -> Changed:
    r"""Change a recipe by phrases in the words of the trade.

    Comments, order and spelling of the file stay; only figures that must change do. The file is
    replaced in one step, and only if nobody has changed it meanwhile.

    Parameters
    ----------
    path : str or Path
        The recipe.
    moods : str or sequence of str
        Moods to change: names, with commas between them where they are one text; "all" is all.
    phrases : sequence of str
        Such as ``"pendants +1/3, 2700 K"``; `evenfall.change.phrases` has the grammar.
    keep : sequence of str
        Moods based on these that are to stay as they are: what they had is written into them.
    dry_run : bool
        Only say what would be; nothing is written.

    Raises
    ------
    RecipeError
        When the recipe is not sound, or would not be afterwards.
    UsageError
        When a phrase is not understood, contradicts another, or changes nothing; or the file was
        changed meanwhile.
    OutputError
        When the file cannot be written.

    Examples
    --------
    >>> from evenfall.develop.example import example_recipe
    >>> changed = change_recipe(example_recipe().path, ["dusk"], ["sky down 1/2"], dry_run=True)
    >>> print(changed.moods["dusk"][0])
    sky: -2 stops -> -2 1/2 stops (down 1/2)
    """
    path = Path(path)
    text = read_text(path)
    changed = change_text(text, path, moods, phrases, keep=keep)
    if dry_run:
        return changed
    replace_text(path, text, changed.text)
    return replace(changed, written=True)


def change_text(
    text: str,
    path: Path,
    moods: str | Sequence[str],
    phrases: Sequence[str],
    *,
    keep: Sequence[str] = (),
) -> Changed:
    """Change the text of a recipe; otherwise as `change_recipe`. No file is touched.

    Parameters
    ----------
    text : str
        A recipe.
    path : Path
        Where it stands or is to stand.
    moods, phrases, keep
        As of `change_recipe`.

    Raises
    ------
    RecipeError, UsageError
        As `change_recipe`.
    """
    return Planned(text, path, moods, phrases, keep=keep).finished()


class Planned:
    """A change that is worked out, and whose text is not written yet; otherwise as `change_text`.

    Parameters
    ----------
    text, path, moods, phrases, keep
        As of `change_text`.
    before : Recipe, optional
        What the text says, where that is known already.

    Attributes
    ----------
    recipe : Recipe
        What the recipe comes to; its text and lines are still those before the change.
    """

    def __init__(
        self,
        text: str,
        path: Path,
        moods: str | Sequence[str],
        phrases: Sequence[str],
        *,
        keep: Sequence[str] = (),
        before: Recipe | None = None,
    ) -> None:
        revision = Revision(text, path, before)
        before = revision.recipe
        chosen = _chosen(before, moods)
        orders, faults = read_phrases(before, phrases)
        if not phrases:
            faults.append(
                Fault("", "", "nothing is said to change", "", 'say it as in "sky down 1/2"')
            )
        if faults:
            raise UsageError(faults)
        kept = choose_written_moods(before, keep) if keep else ()
        work = _Work(revision, before, chosen)
        going_off = [
            light for order in orders if order.command.kind == "off" for light in order.lights
        ]
        alone = stand_alone(revision, before, kept, going_off)
        for order in orders:
            work.follow(order)
        if not work.faults and not revision.edits:
            work.faults += [Fault(f'"{idle.phrase}"', "", said) for said, idle in work.idle.items()]
        if work.faults:
            raise UsageError(work.faults)
        keep_moods(revision, before, chosen, kept, alone)
        if any(order.command.kind in ("off", "ratio") for order in orders):
            check_what_hangs_on_lights(revision.recipe)
        self._work, self._path, self._keep = work, path, keep
        self.recipe = revision.recipe

    def finished(self) -> Changed:
        """Write the text, and say what the change comes to.

        Raises
        ------
        UsageError
            When the text is laid out in a way that cannot be edited without harm.
        """
        return _finished(self._work, self._path, self._keep)


def _chosen(recipe: Recipe, moods: str | Sequence[str]) -> tuple[str, ...]:
    """Moods by name, each after those that it is based on."""
    if isinstance(moods, str):
        whole = moods in recipe.moods
        moods = [moods] if whole else [name.strip() for name in moods.split(",")]
    everything = list(moods) == ["all"] and "all" not in recipe.moods
    names = choose_written_moods(recipe, () if everything else moods)
    return tuple(sorted(names, key=lambda name: len(chain(recipe.model, name))))


@dataclass
class _Work:
    """Orders that are followed one after the other."""

    revision: Revision
    before: Recipe
    moods: tuple[str, ...]
    faults: list[Fault] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    idle: dict[str, Order] = field(default_factory=dict)

    def follow(self, order: Order) -> None:
        """Add the edits of an order, or the reason why there are none."""
        edits = len(self.revision.edits)
        try:
            if order.dial is not None:
                self._turn(order)
            elif order.command.says == "tint":
                self._tint(order)
            elif order.command.kind in ("add", "times"):
                self._move(order)
            else:
                self._set(order)
            _ = self.revision.recipe
        except UsageError as error:
            self._refuse(order, error.faults)
        except RecipeError as error:
            self._refuse(
                order, [Fault("", f.place, f.found, f.allowed, f.hint) for f in error.faults]
            )
        else:
            if len(self.revision.edits) == edits:
                said = f'"{order.command.text}" changes nothing; {self._why(order)}'
                self.idle[said] = order

    def _refuse(self, order: Order, faults: Sequence[Fault]) -> None:
        source = f'"{order.phrase}"'
        self.faults += [Fault(source, f.place, f.found, f.allowed, f.hint) for f in faults]

    def _why(self, order: Order) -> str:
        """Say how what was spoken of stands."""
        mood = self.before.moods[self.moods[0]]
        if order.dial is not None:
            words = {dial_words(mood, order.dial)}
        else:
            words = {setting_words(mood.lights[light], light) for light in order.lights}
        said = f"{order.subject} is {words.pop()}" if len(words) == 1 else "all stand so"
        return f"in {mood.name}, {said}"

    def _turn(self, order: Order) -> None:
        assert order.dial is not None
        want = {
            mood: wanted(self.before.moods[mood], order.dial, order.command) for mood in self.moods
        }
        counted = order.command.kind in ("add", "times", "mired")
        turn(self.revision, self.moods, order.dial, want, counted=counted)

    def _move(self, order: Order) -> None:
        size = order.command.size
        way = math.log2(size) if order.command.kind == "times" else size
        dark = []
        for mood in self.moods:
            stood = {light: stand(self.before, mood, light) for light in order.lights}
            off = [light for light, place in stood.items() if place.is_off]
            dark += [(light, mood) for light in off]
            for name, lights in order.parts.items():
                lit = {light: stood[light].moved(way) for light in lights if light not in off}
                if lit:
                    move_gains(self.revision, mood, name, lit)
        if len(dark) == len(self.moods) * len(order.lights):
            found = f"{order.subject} is off in {', '.join(self.moods)}, so nothing can be added"
            hint = 'say "on", which is as rendered, or stops from the render as in "= -1"'
            raise UsageError(Fault("", "", found, hint=hint))
        self.notes += [f"{light} is off in {mood}, and stays off" for light, mood in dark]

    def _set(self, order: Order) -> None:
        gain = _gain(order)
        for mood in self.moods:
            pending = [
                light
                for light in order.lights
                if not _has_gain(self.revision.recipe, mood, light, gain)
            ]
            for name, lights in order.parts.items():
                if not set(pending).isdisjoint(lights):
                    set_gains(self.revision, mood, name, lights, gain)

    def _tint(self, order: Order) -> None:
        for mood in self.moods:
            settings = self.before.moods[mood].lights
            want: dict[str, Tint] = {}
            for light in order.lights:
                if order.command.kind == "kelvin":
                    want[light] = {"kelvin": _whole(order.command.size)}
                else:
                    want[light] = shifted_tint(settings[light], order.command.size, light)
            for name, lights in order.parts.items():
                set_tints(self.revision, mood, name, {light: want[light] for light in lights})


def _whole(value: float) -> int | float:
    return int(value) if value.is_integer() else value


def _gain(order: Order) -> dict[str, object]:
    """Keys of an entry that say what a command says."""
    command = order.command
    if command.kind == "ratio":
        return {"match": {"to": command.name, "ratio": command.ratio}}
    if command.kind == "set":
        return {"stops": stops_value(command.size)}
    if command.kind in ("lumens", "candela"):
        return {command.kind: _whole(command.size)}
    if command.kind == "watts":
        return {"watts": _whole(command.size), "lumens_per_watt": _whole(command.second)}
    return {command.kind: True}


def _has_gain(recipe: Recipe, mood: str, light: str, gain: Mapping[str, object]) -> bool:
    """Whether a light has a gain already."""
    setting = recipe.moods[mood].lights[light]
    match = gain.get("match")
    if isinstance(match, Mapping):
        has = setting.match
        return has is not None and (has.to, has.ratio) == (match["to"], match["ratio"])
    if gain.keys() & {"lumens", "watts", "candela"}:
        return all(getattr(setting, key) == value for key, value in gain.items())
    place = stand(recipe, mood, light)
    if "off" in gain:
        return place.is_off
    stops = gain.get("stops", 0.0)
    return (
        setting.match is None
        and setting.counted is None
        and place.is_near(Stand(parse_stops(stops), place.anchor))
    )


def _inherited(work: _Work) -> list[str]:
    """Say which of the values that were changed stand in files that the recipe builds on."""
    if not work.revision.bases:
        return []
    origins = work.before.gathered.origins
    lines: dict[str, set[int]] = {}
    for place, _ in work.revision.edits:
        for above in (place, place[:-1]):
            spot = origins.inherited_spot(above)
            if spot is not None:
                lines.setdefault(spot[0], set()).add(spot[1])
                break
    return [
        f"{file} has {'values' if len(some) > 1 else 'a value'} of its own for every view (line"
        f"{'s' if len(some) > 1 else ''} {joined(map(str, sorted(some)), 'and')}), over which "
        f"{work.before.path.name} now says its own; to change every view, change {file} instead"
        for file, some in lines.items()
    ]


def _finished(work: _Work, path: Path, keep: Sequence[str]) -> Changed:
    after = work.revision.recipe
    notes = [*work.notes, *work.idle, *metering_notes(work.before, after), *_inherited(work)]
    found = {mood: mood_differences(work.before, after, mood) for mood in after.moods}
    return Changed(
        path=path,
        text=work.revision.written(),
        moods={mood: found[mood] for mood in after.moods if mood in work.moods and found[mood]},
        carried={mood: some for mood, some in found.items() if some and mood not in work.moods},
        kept=tuple(keep),
        notes=tuple(dict.fromkeys(notes)),
    )
