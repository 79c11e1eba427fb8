"""What else a phrase may name: the exposure, the white balance, and the numbers of the look."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from evenfall.change.figures import number_value, step_value, stops_value
from evenfall.change.phrases import Command, folded
from evenfall.change.revision import Revision
from evenfall.change.tints import shifted_kelvin
from evenfall.errors import Fault, UsageError
from evenfall.recipe import Recipe, ResolvedMood
from evenfall.recipe.places import Place, dotted
from evenfall.recipe.words.looks import look_numbers
from evenfall.recipe.words.wording import counted_words, stops_words

__all__ = [
    "Dial",
    "dial_words",
    "dials",
    "put_dial",
    "reading",
    "refuse_exposure_of_another",
    "turn",
    "wanted",
]

_SAME = 1e-9
_KINDS = {
    "stops": ("add", "set"),
    "kelvin": ("kelvin", "mired"),
    "number": ("add", "times", "set"),
}
_TAKES = {
    "stops": '"+1/3", "down 1/2" or "= -1"',
    "kelvin": '"4300 K", "warmer 20" or "cooler 20"',
    "number": '"+0.1", "down 0.1", "x1.2" or "= 1.3"',
}


@dataclass(frozen=True)
class Dial:
    """One value of the camera or the look.

    Parameters
    ----------
    name : str
        As people say it.
    place : Place
        Below a mood, or below the recipe itself.
    kind : {"stops", "kelvin", "number"}
        What is said of it.
    """

    name: str
    place: Place
    kind: Literal["stops", "kelvin", "number"]

    def check(self, command: Command) -> str:
        """Say what it takes when that is not what the command says; empty when it is."""
        return "" if command.kind in _KINDS[self.kind] else self.takes

    @property
    def takes(self) -> str:
        """Say what it takes."""
        return f"{self.name} takes {_TAKES[self.kind]}"


_EXPOSURE = Dial("exposure", ("camera", "exposure_stops"), "stops")
_WHITE_BALANCE = Dial("white balance", ("camera", "white_balance", "kelvin"), "kelvin")


def dials(recipe: Recipe) -> dict[str, tuple[Dial, ...]]:
    """Give the dials of a recipe by every name that they go under, folded.

    A number of the look is called by its table and its key, ``glare strength``; by its key alone
    where no other has that key; and by its table alone where the key is ``strength``. A name that
    several go under leads to all of them.

    Examples
    --------
    >>> from evenfall.develop.example import example_recipe
    >>> found = dials(example_recipe())
    >>> [dial.name for dial in found["contrast"]], found["glare"][0].name
    (['tone contrast', 'grade contrast'], 'glare strength')
    """
    found: dict[str, dict[Dial, None]] = {}

    def add(name: str, dial: Dial) -> None:
        found.setdefault(folded(name), {})[dial] = None

    for dial in (_EXPOSURE, _WHITE_BALANCE):
        add(dial.name, dial)
    for mood in recipe.moods.values():
        for section, key, dial in _look_dials(mood):
            add(dial.name, dial)
            add(key, dial)
            if key == "strength":
                add(section, dial)
    return {name: tuple(some) for name, some in found.items()}


def _look_dials(mood: ResolvedMood) -> Iterator[tuple[str, str, Dial]]:
    for section, key, _ in look_numbers(mood.look):
        name = f"{section} {key}".replace("_", " ")
        yield section, key, Dial(name, ("look", section, key), "number")


def reading(mood: ResolvedMood, dial: Dial) -> float | None:
    """Give the value of a dial in a mood; None where the mood has no such value."""
    value: Any = mood
    for step in dial.place:
        value = getattr(value, str(step), None)
    return None if value is None else float(value)


def dial_words(mood: ResolvedMood, dial: Dial) -> str:
    """Say the value of a dial in a mood.

    Examples
    --------
    >>> from evenfall.develop.example import example_recipe
    >>> dial_words(example_recipe().moods["dusk"], Dial("exposure", ("camera", "exposure_stops"),
    ...                                                 "stops"))
    '0 stops'
    """
    value = reading(mood, dial)
    if value is None:
        return "not said"
    if dial.kind == "kelvin":
        return f"{value:g} K"
    if dial.kind == "number":
        return f"{value:g}"
    said = f"{stops_words(value)} {'stop' if 0 < abs(value) <= 1 else 'stops'}"
    return ", ".join(part for part in (said, counted_words(mood.counted_exposure)) if part)


def wanted(mood: ResolvedMood, dial: Dial, command: Command) -> float:
    """Give the value that a command leads to from what a mood has.

    Raises
    ------
    UsageError
        When there is nothing to count from.
    """
    now = reading(mood, dial)
    if command.kind in ("set", "kelvin"):
        return command.size
    if now is None:
        what = "temperature" if dial.kind == "kelvin" else "value"
        found = f"{dial.name} has no {what} in {mood.name}, so nothing can be counted from it"
        raise UsageError(Fault("", "", found, hint=f"give it one: {_TAKES[dial.kind]}"))
    if command.kind == "mired":  # a camera set to a higher temperature makes the picture warmer
        return shifted_kelvin(now, -command.size)
    return now * command.size if command.kind == "times" else now + command.size


def turn(
    revision: Revision, moods: Sequence[str], dial: Dial, want: dict[str, float], *, counted: bool
) -> None:
    """Turn a dial in moods, each after those that it is based on.

    Where all moods of the recipe are to turn it, and one has no value of its own nor from a mood,
    it is turned once for all, in the recipe's own camera or look.

    Parameters
    ----------
    revision : Revision
        Its edits are added to.
    moods : sequence of str
        The moods, bases first.
    dial : Dial
        Which.
    want : dict of str to float
        The value that each mood is to have.
    counted : bool
        Whether the values were counted from where the moods stand.
    """
    everywhere = len(moods) == len(revision.recipe.moods)
    for mood in moods if dial == _EXPOSURE else ():
        refuse_exposure_of_another(revision.recipe, mood)
    for mood in moods:
        now = reading(revision.recipe.moods[mood], dial)
        if now is not None and abs(now - want[mood]) < _SAME:
            continue
        if everywhere and not _said_in_moods(revision, mood, dial.place):
            place = dial.place
            value = _value(dial, want[mood], revision.raw(place))
        else:
            place = ("moods", mood, *dial.place)
            value = _mood_value(revision, mood, dial, want[mood], counted=counted)
        put_dial(revision, place, value)


def refuse_exposure_of_another(recipe: Recipe, mood: str) -> None:
    """Refuse to turn an exposure that a mood takes from another view.

    Raises
    ------
    UsageError
        When it does.
    """
    view = recipe.moods[mood].camera.as_in
    if view is not None:
        found = f"{mood} is exposed as in {view}"
        hint = f'turn it there, or say as_in = "none" in the camera of {mood} first'
        raise UsageError(Fault(str(recipe.path), "", found, "", hint))


def _said_in_moods(revision: Revision, mood: str, place: Place) -> bool:
    name: str | None = mood
    while name is not None:
        if revision.raw(("moods", name, *place)) is not None:
            return True
        name = revision.recipe.model.moods[name].based_on
    return False


def _mood_value(
    revision: Revision, mood: str, dial: Dial, want: float, *, counted: bool
) -> int | float | str:
    own = revision.raw(("moods", mood, *dial.place))
    base = revision.recipe.model.moods[mood].based_on
    is_step = isinstance(own, str) and own.lstrip().startswith(("up", "down"))
    if dial.kind == "stops" and counted and (is_step or (own is None and base is not None)):
        camera = (
            revision.recipe.model.camera if base is None else revision.recipe.moods[base].camera
        )
        return step_value(want - camera.exposure_stops)
    return _value(dial, want, own)


def _value(dial: Dial, want: float, like: object) -> int | float | str:
    return stops_value(want, like) if dial.kind == "stops" else number_value(want, like)


def put_dial(revision: Revision, place: Place, value: object) -> None:
    """Put a dial's value at its place, opening what stands there in a short form."""
    above = revision.raw(place[:-1])
    if above is not None and not isinstance(above, dict) and place[-2] != "tone":  # "none"
        revision.put(place[:-1], {str(place[-1]): value})
        return
    try:
        revision.put(place, value)
    except LookupError as error:
        raise UsageError(Fault("", dotted(place), *error.args)) from None
