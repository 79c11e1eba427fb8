"""What a phrase speaks of: a light, a group, or a dial of the camera or the look."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import TypeAlias

from evenfall.change.dials import Dial, dials
from evenfall.change.nearest import unknown_name
from evenfall.change.phrases import (
    ANYTHING,
    Command,
    Takes,
    folded,
    parse_commands,
    split_subject,
)
from evenfall.change.roles import OfRole, role_names
from evenfall.errors import Fault
from evenfall.recipe import Recipe
from evenfall.recipe.base import LARGEST_STOPS
from evenfall.recipe.words.suggesting import joined

__all__ = ["Order", "read_phrases"]

_Subject: TypeAlias = str | OfRole | Dial
"""A light or group by its name, several lights, or a dial."""


@dataclass(frozen=True)
class Order:
    """One command, and what it is for.

    Parameters
    ----------
    phrase : str
        The phrase that it stood in.
    command : Command
        What is to happen.
    subject : str
        Light, group or dial, as the recipe names it; or several lights, as they are called.
    dial : Dial or None
        The dial; None for lights.
    parts : mapping of str to tuple of str
        The lights of it, by names that may stand in a recipe; none for a dial.
    """

    phrase: str
    command: Command
    subject: str
    dial: Dial | None = None
    parts: Mapping[str, tuple[str, ...]] = field(default_factory=dict)

    @property
    def lights(self) -> tuple[str, ...]:
        """All of its lights."""
        return tuple(light for some in self.parts.values() for light in some)


def read_phrases(recipe: Recipe, phrases: Sequence[str]) -> tuple[list[Order], list[Fault]]:
    """Read phrases about a recipe; everything that is wrong with them comes back at once.

    Examples
    --------
    >>> from evenfall.develop.example import example_recipe
    >>> orders, faults = read_phrases(example_recipe(), ["lamp +1/3, 2700 K", "exposure up 1"])
    >>> [(order.subject, order.command.kind) for order in orders], faults
    ([('lamp', 'add'), ('lamp', 'kelvin'), ('exposure', 'add')], [])
    >>> print(read_phrases(example_recipe(), ["lamb off"])[1][0])
    "lamb off": there is nothing called "lamb"; did you mean "lamp off"?
    """
    names = _names(recipe)
    known: dict[str, Sequence[_Subject]] = {
        **{role: [lights] for role, lights in role_names(recipe).items()},
        **names,
    }
    orders: list[Order] = []
    faults: list[Fault] = []
    for phrase in phrases:
        some, wrong = _read(recipe, names, known, phrase)
        orders += some
        faults += [Fault(f'"{phrase}"', "", f.found, f.allowed, f.hint) for f in wrong]
    return orders, faults + _contradictions(orders)


def _names(recipe: Recipe) -> dict[str, list[str | Dial]]:
    """Everything that can be named, by its name folded; titles of lights are names, too."""
    found: dict[str, list[str | Dial]] = {}
    for name in (*recipe.model.lights, *recipe.model.groups):
        found.setdefault(folded(name), []).append(name)
    for name, light in recipe.model.lights.items():
        if light.title is not None and name not in found.setdefault(folded(light.title), []):
            found[folded(light.title)].append(name)
    for name, some in dials(recipe).items():
        found.setdefault(name, []).extend(some)
    return found


def _read(
    recipe: Recipe,
    names: Mapping[str, list[str | Dial]],
    known: Mapping[str, Sequence[_Subject]],
    phrase: str,
) -> tuple[list[Order], list[Fault]]:
    """Read a phrase: all that is known may be meant, but what is only like a name is not a role."""
    name, rest = split_subject(phrase, known)
    if not name:
        takes = partial(_takes, recipe, known)
        return [], [unknown_name(recipe, names, rest, phrase, takes)]
    meant = known[name]
    if len(meant) > 1:
        called = joined(f'"{one if isinstance(one, str) else one.name}"' for one in meant)
        return [], [Fault("", "", f'"{name}" is {called}', hint="say which")]
    [subject] = meant
    commands, faults = parse_commands(rest, _takes(recipe, known, subject))
    if isinstance(subject, Dial):
        faults += [
            Fault("", "", f'"{command.text}" is not understood here', "", wrong)
            for command in commands
            if (wrong := subject.check(command))
        ]
        return [Order(phrase, one, subject.name, dial=subject) for one in commands], faults
    called = subject if isinstance(subject, str) else subject.name
    lights = _lights(recipe, subject)
    parts = subject.parts if isinstance(subject, OfRole) else {called: lights}
    for command in commands:
        faults += _light_faults(recipe, known, command, lights)
        if command.kind == "ratio" and isinstance(subject, OfRole):
            faults.append(_no_ratio(command, called))
    return [Order(phrase, _named(known, one), called, parts=parts) for one in commands], faults


def _lights(recipe: Recipe, subject: str | OfRole) -> tuple[str, ...]:
    return subject.lights if isinstance(subject, OfRole) else recipe.members(subject)


def _takes(recipe: Recipe, names: Mapping[str, Sequence[_Subject]], subject: _Subject) -> Takes:
    """Say what lights or a dial can be told."""
    if isinstance(subject, Dial):
        return Takes(lambda command: not subject.check(command), subject.takes)
    lights = _lights(recipe, subject)
    return Takes(lambda command: not _light_faults(recipe, names, command, lights), ANYTHING.known)


def _named(names: Mapping[str, Sequence[_Subject]], command: Command) -> Command:
    """Give a ratio the name of the other light as the recipe has it."""
    known = names.get(folded(command.name), [])
    if command.kind != "ratio" or len(known) != 1 or not isinstance(known[0], str):
        return command
    return Command(command.kind, command.text, ratio=command.ratio, name=known[0])


def _light_faults(
    recipe: Recipe,
    names: Mapping[str, Sequence[_Subject]],
    command: Command,
    lights: Sequence[str],
) -> list[Fault]:
    if command.kind in ("add", "set") and abs(command.size) > LARGEST_STOPS:
        found = f'"{command.text}" is more than a light can be told'
        return [Fault("", "", found, f"expected stops from -{LARGEST_STOPS} to {LARGEST_STOPS}")]
    if command.kind != "ratio":
        return []
    meant = names.get(folded(command.name), [])
    known = [one for one in meant if isinstance(one, str)]
    if meant and isinstance(meant[0], OfRole):
        return [_no_ratio(command, meant[0].name)]
    if not known:
        of_lights = {
            name: lights
            for name, some in names.items()
            if (lights := [one for one in some if isinstance(one, str)])
        }
        return [unknown_name(recipe, of_lights, command.name)]
    if set(recipe.members(known[0])) & set(lights):
        return [Fault("", "", f'"{command.text}" matches a light to itself')]
    return []


def _no_ratio(command: Command, called: str) -> Fault:
    found = f'"{command.text}" is no ratio of two: {called} are several lights'
    return Fault("", "", found, "", "write them as a group into [groups], and name that")


def _contradictions(orders: Sequence[Order]) -> list[Fault]:
    """Whatever is told twice what to do, in one way or another."""
    faults: dict[Fault, None] = {}
    for number, order in enumerate(orders):
        for earlier in orders[:number]:
            said = _both_say(earlier, order)
            if said:
                found = f'{said} is told twice: by "{earlier.command.text}"'
                where = "" if earlier.phrase == order.phrase else f' in "{earlier.phrase}"'
                also = f' and by "{order.command.text}"'
                faults[Fault(f'"{order.phrase}"', "", f"{found}{where}{also}")] = None
    return list(faults)


def _both_say(one: Order, other: Order) -> str:
    """Name what two orders both decide; empty when nothing."""
    if one.dial is not None or other.dial is not None:
        return one.subject if one.dial == other.dial else ""
    shared = [light for light in one.lights if light in other.lights]
    if not shared:
        return ""
    is_off = "off" in (one.command.kind, other.command.kind)
    same = one.command.says == other.command.says
    return shared[0] if same or (is_off and one.phrase == other.phrase) else ""
