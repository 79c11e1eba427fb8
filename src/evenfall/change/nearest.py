"""What comes nearest to a phrase that begins with no known name: told to the person, never done."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from evenfall.change.dials import Dial
from evenfall.change.phrases import ANYTHING, Takes, folded, nearest_command
from evenfall.errors import Fault
from evenfall.recipe import Recipe
from evenfall.recipe.words.suggesting import closest, joined

__all__ = ["unknown_name"]

Names = Mapping[str, Sequence[str | Dial]]

_WHOLE = {"everything", "picture", "image", "all", "overall", "it"}
_SHORTEST = 4  # letters of a word that may be a slip of another


def unknown_name(
    recipe: Recipe,
    names: Names,
    said: str,
    phrase: str = "",
    takes: Callable[[str | Dial], Takes] = lambda _: ANYTHING,
) -> Fault:
    """Say that nothing has such a name, with the nearest that is known.

    Parameters
    ----------
    recipe : Recipe
        Whose names.
    names : mapping of str to sequence
        What can be named, by its name folded.
    said : str
        What stands where a name should.
    phrase : str
        The whole phrase; empty where only a name is asked for.
    takes : callable
        What something that has a name can be told; nothing else is offered.

    Examples
    --------
    >>> from evenfall.develop.example import example_recipe
    >>> names = {name: [name] for name in ("sun", "sky", "lamp")}
    >>> print(unknown_name(example_recipe(), names, "", "warmer inside").hint)
    say of what, as in "sun warmer 20"; known are sun, sky, lamp, exposure, white balance, and \
numbers of the look such as glare
    """
    found = f'there is nothing called "{said}"' if said else "names no light, group or dial"
    offered = _offered(names, phrase, takes)
    if offered and [folded(one) for one in offered] != [folded(phrase)]:
        if not said:
            found = "names nothing at its beginning"
        ask = "did you mean" if len(offered) == 1 else "say which:"
        mark = "?" if len(offered) == 1 else ""
        return Fault(
            "", "", found, "", f"{ask} {joined((_quoted(one) for one in offered), 'or')}{mark}"
        )
    if said and not (phrase and _named_in(names, phrase)):
        meant = _meant(names, said)
        if meant:
            return Fault("", "", found, "", meant)
    return Fault("", "", found, "", _what_lacks(recipe, names, phrase, takes))


def _what_lacks(
    recipe: Recipe, names: Names, phrase: str, takes: Callable[[str | Dial], Takes]
) -> str:
    """Ask for what a phrase does not say: of what, or what happens to it."""
    known = f"known are {_known(recipe)}"
    meant = [name for name in _named_in(names, phrase) if len(names[name]) == 1]
    is_named = bool(meant) and not _WHOLE & set(folded(phrase).split())
    for one in (*recipe.model.groups, *recipe.model.lights):
        command = nearest_command(phrase, takes(one)) if phrase and not is_named else ""
        if command and names.get(folded(one)) == [one]:
            return f"say of what, as in {_quoted(f'{one} {command}')}; {known}"
    if not meant:
        return known
    named = " or ".join(_quoted(_name(names, name)) for name in meant)
    return f"say what happens to {named}: {takes(names[meant[0]][0]).known}"


def _meant(names: Names, said: str) -> str:
    """Ask for the name that something is nearest to; empty if none is."""
    within = [name for name in names if f" {folded(said)} " in f" {name} "]
    several = [one for name in _with_word(names, folded(said)) for one in names[name]]
    if len(several) > 1 and all(isinstance(one, str) for one in several):
        return f"say which: {joined(map(str, several), 'or')}"
    near = within[0] if within else closest(folded(said), names)
    return "" if near is None else f"did you mean {_quoted(_name(names, near))}?"


def _with_word(names: Names, word: str) -> list[str]:
    """Names with a word in them, one for each that they name."""
    found = {str(some[0]): name for name, some in names.items() if word in name.split()}
    return list(found.values())


def _offered(names: Names, phrase: str, takes: Callable[[str | Dial], Takes]) -> list[str]:
    """Write a phrase that names something amid other words as it would be understood.

    A word of a name counts for it; so does one that is only a slip away from it. Where it may be
    several names, each is offered.
    """
    found = _named_in(names, phrase)
    taken = {part for name in found for part in name.split()}
    rest = [
        word
        for word in phrase.replace("_", " ").split()
        if folded(word) not in taken and not (taken and _slip_of(folded(word), taken))
    ]
    if any(len(names[name]) > 1 for name in found):
        return []
    commands = {name: nearest_command(" ".join(rest), takes(names[name][0])) for name in found}
    return [f"{_name(names, name)} {command}" for name, command in commands.items() if command]


def _named_in(names: Names, phrase: str) -> list[str]:
    words = folded(phrase.replace(",", " ")).split()
    plain = f" {' '.join(words)} "
    whole = [name for name in names if f" {name} " in plain]
    found = [max(whole, key=len)] if whole else _by_words(names, words)
    if not found and _WHOLE & set(words) and "exposure" in names:
        return ["exposure"]
    return found


def _by_words(names: Names, words: Sequence[str]) -> list[str]:
    """Names of which a word stands in a phrase, or what is close to one; no dials among many."""
    for near in (False, True):
        found: dict[str, None] = {}
        for word in words:
            parts = {part for name in names for part in name.split()}
            part = _slip_of(word, parts) if near else word
            found |= dict.fromkeys(_with_word(names, part) if part else ())
        if len(found) == 1 or (found and all(isinstance(names[name][0], str) for name in found)):
            return list(found)
    return []


def _slip_of(word: str, parts: set[str]) -> str:
    """Give the word of a name that another is close to; empty if none is."""
    if len(word) < _SHORTEST or nearest_command(word):
        return ""
    return closest(word, sorted(part for part in parts if len(part) >= _SHORTEST)) or ""


def _name(names: Names, name: str) -> str:
    meant = names[name][0]
    return meant if isinstance(meant, str) else meant.name


def _quoted(text: str) -> str:
    return f'"{text}"'


def _known(recipe: Recipe) -> str:
    lights = (*recipe.model.lights, *recipe.model.groups)
    return f"{', '.join(lights)}, exposure, white balance, and numbers of the look such as glare"
