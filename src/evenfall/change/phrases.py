"""The grammar of changes: a phrase names what is meant and says what happens to it.

A phrase is a subject and one or more commands with commas between them::

    pendants +1/3, 2700 K
    sky down 1/2
    fill 4:1 to sun

====================  =======================================================================
``+1/3``, ``up 1/3``  stops up from where it stands; of a number of the look, that much more
``-2``, ``down 2``    the same downwards
``x1.5``              times a factor
``= -1``              stops from the render; of the exposure and the look, the value itself
``1200 lm``           luminous flux
``900 cd``            luminous intensity of a directed lamp
``9 W at 90 lm/W``    electric power and efficacy
``on``, ``off``       as rendered; not lit at all
``4:1 to sun``        a ratio, solved from the pixels: the sun is four times as strong as it
``2700 K``            colour temperature
``warmer 20``         mired up from where its colour stands; ``cooler 20`` is down
====================  =======================================================================

Nothing is guessed: text that is none of these is quoted, with the nearest that is known.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Literal

from evenfall.errors import Fault
from evenfall.recipe.base import parse_stops
from evenfall.recipe.words.suggesting import closest

__all__ = [
    "ANYTHING",
    "KNOWN",
    "Command",
    "Kind",
    "Takes",
    "folded",
    "nearest_command",
    "parse_commands",
    "split_subject",
]

Kind = Literal[
    "add", "times", "set", "lumens", "watts", "candela", "on", "off", "ratio", "kelvin", "mired"
]

KNOWN = (
    "+1/3", "down 1/2", "x1.5", "= -1", "1200 lm", "900 cd", "9 W at 90 lm/W", "on", "off",
    "4:1 to sun", "2700 K", "warmer 20", "cooler 20",
)  # fmt: skip
"""One example of each command."""

_NUMBER = r"\d+(?:\.\d+)?"
_STOPS = rf"(?:{_NUMBER}(?:\s+\d+\s*/\s*\d+)?|\d+\s*/\s*\d+)(?:\s*stops?)?"
_FORMS: dict[Kind, str] = {
    "add": rf"(?P<way>[+-]|up\s|down\s)\s*(?P<size>{_STOPS})",
    "times": rf"x\s*(?P<size>{_NUMBER})",
    "set": rf"=\s*(?P<size>[+-]?\s*{_STOPS})",
    "lumens": rf"(?P<size>{_NUMBER})\s*lm",
    "candela": rf"(?P<size>{_NUMBER})\s*cd",
    "watts": rf"(?P<size>{_NUMBER})\s*W\s+at\s+(?P<second>{_NUMBER})\s*lm/W",
    "on": r"on",
    "off": r"off",
    "ratio": rf"(?P<size>{_NUMBER})\s*:\s*(?P<second>{_NUMBER})\s+to\s+(?P<name>\S.*)",
    "kelvin": rf"(?P<size>{_NUMBER})\s*K",
    "mired": rf"(?P<way>warmer|cooler)\s+(?P<size>{_NUMBER})(?:\s*mired)?",
}
_PATTERNS = {kind: re.compile(form, re.IGNORECASE) for kind, form in _FORMS.items()}
_OTHER_SIGNS = str.maketrans({"\u2212": "-", "\u2013": "-", "\u00d7": "x", "\u00a0": " "})
_BEGINNING = re.compile(
    r"(?<!\S)(?:[+=]|-\s*\d|x\s*\d|\d|(?:up|down|on|off|warmer|cooler)(?!\S))", re.IGNORECASE
)
_DECIMAL_COMMA = re.compile(r"(?<!/)\b(\d+),(\d+)(?=\s*(?:,|$|stops?))", re.IGNORECASE)
_MEANT = {
    "brighter": "up 1/3", "lighter": "up 1/3", "more": "up 1/3", "stronger": "up 1/3",
    "darker": "down 1/3", "dimmer": "down 1/3", "less": "down 1/3", "weaker": "down 1/3",
    "hotter": "warmer 20", "redder": "warmer 20", "yellower": "warmer 20",
    "colder": "cooler 20", "bluer": "cooler 20", "warm": "warmer 20", "cool": "cooler 20",
    "warmer": "warmer 20", "cooler": "cooler 20", "up": "up 1/3", "down": "down 1/3",
    "bright": "up 1/3", "dark": "down 1/3", "dim": "down 1/3",
    "half": "x0.5", "halve": "x0.5", "double": "x2", "twice": "x2", "without": "off", "no": "off",
    "out": "off",
}  # fmt: skip
"""What words stand for; where a size is said with them, it takes the place of the usual one."""

_SAID_SIZES = {
    re.compile(rf"\b{said}\b", re.IGNORECASE): size
    for said, size in (
        ("half a stop", "1/2"), ("(?:a|one) third(?: of a stop)?", "1/3"),
        ("two thirds(?: of a stop)?", "2/3"), ("(?:a|one) quarter(?: of a stop)?", "1/4"),
        ("(?:a|one) stop", "1"), ("two stops", "2"),
    )
}  # fmt: skip
_SOME_SIZE = re.compile(rf"(?<![\w./]){_STOPS}(?![\w./])", re.IGNORECASE)
_UNITS = {
    ("ev", "stop", "f"): 'stops are written "{way}{size}"',
    ("lux", "lx", "cd/", "nit"): 'a light is told lumens, as in "1200 lm", or stops',
    ("lumen", "lm"): 'the nearest that is known is "{size} lm"',
    ("candela", "cd"): 'the nearest that is known is "{size} cd"',
    ("w", "kw"): 'say how many lumens a watt gives: "{size} W at 90 lm/W"',
    ("k",): 'the nearest that is known is "{size} K"',
    ("mi", "mk", "deg", "\u00b0"): 'the nearest that is known is "warmer {size}"',
}
"""What is said of numbers with units that begin so."""

_SHARE = re.compile(rf"(?P<sign>[+-]?)\s*(?P<size>{_NUMBER})\s*(?:%|per\s?cent\b)", re.IGNORECASE)
_BACKWARDS = re.compile(rf"^(warmer|cooler|up|down)\s*-\s*({_STOPS})$", re.IGNORECASE)
_OTHER_WAY = {"warmer": "cooler", "cooler": "warmer", "up": "down", "down": "up"}
_QUOTED = re.compile(r'"([^"]*)"')
_UNIT = re.compile(
    rf"(?P<sign>[=+-]?)\s*(?P<size>{_NUMBER})\s*(?P<unit>[^\d\s]\S*)?", re.IGNORECASE
)


@dataclass(frozen=True)
class Command:
    """One thing that is to happen to what a phrase names.

    Parameters
    ----------
    kind : str
        Which command it is.
    text : str
        As it was written.
    size : float
        Stops, factor, lumens, watts, candela, kelvin or mired; signed for ``add``, ``set`` and
        ``mired``, where + is up and warmer.
    second : float
        Lumens per watt of ``watts``.
    ratio, name : str
        Of ``ratio``: the two numbers, and the light that the first is for.
    """

    kind: Kind
    text: str
    size: float = 0.0
    second: float = 0.0
    ratio: str = ""
    name: str = ""

    @property
    def says(self) -> Literal["gain", "tint"]:
        """Whether it says how strong a light is, or what colour."""
        return "tint" if self.kind in ("kelvin", "mired") else "gain"


@dataclass(frozen=True)
class Takes:
    """What a subject can be told.

    Parameters
    ----------
    fits : callable
        Whether a command is one for it.
    known : str
        A sentence that says what is.
    """

    fits: Callable[[Command], bool]
    known: str


ANYTHING = Takes(lambda _: True, f"known are {', '.join(KNOWN)}")
"""Every command, where it is not known yet what for."""


def folded(name: str) -> str:
    """Write a name so that capitals, underscores and spaces make no difference.

    Examples
    --------
    >>> folded("Terrace_Lantern")
    'terrace lantern'
    """
    return " ".join(name.replace("_", " ").split()).casefold()


def split_subject(text: str, names: Iterable[str]) -> tuple[str, str]:
    """Part a phrase into the longest known name that it begins with, and the rest.

    Parameters
    ----------
    text : str
        A phrase.
    names : iterable of str
        Known names, folded.

    Returns
    -------
    tuple of str
        The name as known, empty when none is; then the rest. Without a known name the first part
        is empty and the rest is what stands before the first command.

    Examples
    --------
    >>> split_subject("lamp 2 +1/3", ["lamp", "lamp 2"])
    ('lamp 2', '+1/3')
    >>> split_subject("lampe +1/3", ["lamp"])
    ('', 'lampe')
    """
    plain = " ".join(text.translate(_OTHER_SIGNS).split())
    for name in sorted(names, key=len, reverse=True):
        words = plain[: len(name)].replace("_", " ").casefold()
        rest = plain[len(name) :]
        if words == name and (not rest or not rest[0].isalnum()) and not rest.startswith("_"):
            return name, rest.strip()
    found = _BEGINNING.search(plain)
    return "", (plain[: found.start()] if found else plain).strip()


def parse_commands(text: str, takes: Takes = ANYTHING) -> tuple[list[Command], list[Fault]]:
    """Read the commands of a phrase; what is not understood comes back as faults.

    Nothing is suggested that the subject would not take.

    Examples
    --------
    >>> [command.size for command in parse_commands("down 1/2, 2700 K")[0]]
    [-0.5, 2700.0]
    >>> print(parse_commands("brighter")[1][0])
    "brighter" is not understood; the nearest that is known is "up 1/3"
    """
    comma = _DECIMAL_COMMA.search(text)
    if comma is not None:
        meant = _DECIMAL_COMMA.sub(r"\1.\2", text).strip()
        said = f': "{meant}"' if _is_understood(meant, takes) else f"; {takes.known}"
        hint = f"numbers have a decimal point{said}"
        return [], [Fault("", "", f'"{comma[0].strip()}" is not understood', "", hint)]
    commands: list[Command] = []
    faults: list[Fault] = []
    for part in (part.strip() for part in text.split(",")):
        try:
            commands.append(_command(part, takes))
        except ValueError as error:
            found, _, hint = str(error).partition("\n")
            faults.append(Fault("", "", found, "", hint))
    return commands, faults


def _command(text: str, takes: Takes) -> Command:
    if not text:
        raise ValueError(f"nothing is said to happen to it\n{takes.known}")
    for kind, pattern in _PATTERNS.items():
        match = pattern.fullmatch(text)
        if match is not None:
            return _read(kind, text, match)
    raise ValueError(f'"{text}" is not understood\n{_nearest(text, takes)}')


def _read(kind: Kind, text: str, match: re.Match[str]) -> Command:
    groups = match.groupdict()
    size = _size(kind, text, groups)
    if kind in ("add", "mired"):
        down = groups["way"].strip().lower() in ("-", "down", "cooler")
        return Command(kind, text, -size if down else size)
    if kind == "ratio":
        if not (size > 0 and float(groups["second"]) > 0):
            raise ValueError(f'"{text}" is no ratio\nboth numbers are above 0, as in 4:1 to sun')
        ratio = f"{groups['size']}:{groups['second']}"
        return Command(kind, text, ratio=ratio, name=groups["name"].strip())
    return Command(kind, text, size, float(groups.get("second") or 0.0))


def _size(kind: Kind, text: str, groups: dict[str, str]) -> float:
    if "size" not in groups:
        return 0.0
    try:
        size = parse_stops(groups["size"]) if kind in ("add", "set") else float(groups["size"])
    except ValueError:
        raise ValueError(f'"{text}" is no number of stops\nwrite them as in +1 1/3') from None
    if kind == "times" and size == 0:
        raise ValueError(f'"{text}" leaves no light\nsay off')
    return size


def nearest_command(text: str, takes: Takes = ANYTHING) -> str:
    """Give the command that a text holds among other words, or means by them; empty if none.

    It is always one that the subject takes.

    Examples
    --------
    >>> nearest_command("switched to 2700 K"), nearest_command("a bit brighter, by 2/3")
    ('2700 K', 'up 2/3')
    >>> nearest_command("half a stop darker")
    'down 1/2'
    >>> nearest_command("10% brighter"), nearest_command("20 % down")
    ('x1.1', 'x0.8')
    """
    return next((one for one in _meant_by(text) if _is_command(one, takes)), "")


def _meant_by(text: str) -> Iterator[str]:
    """Give what a text may mean, the likeliest first; factors also in stops."""
    for said, digits in _SAID_SIZES.items():
        text = said.sub(digits, text)
    share = _SHARE.search(text)
    if share is not None:
        yield from _meant_by_share(text.replace(share[0], " "), share["sign"], share["size"])
        return
    words = text.split()
    for length in range(len(words), 0, -1):
        for start in range(len(words) - length + 1):
            yield " ".join(words[start : start + length])
    meant = next((_MEANT[word] for word in _words(text) if word in _MEANT), "")
    way, _, usual = meant.partition(" ")
    size = _SOME_SIZE.search(text) if usual else None
    yield f"{way} {size[0]}" if size is not None else meant
    if meant.startswith("x"):
        yield _in_stops(float(meant[1:]))


def _meant_by_share(rest: str, sign: str, percent: str) -> Iterator[str]:
    """Give what so many per cent and the other words of a text may mean."""
    words = ["down" if word == "off" else word for word in _words(rest)]
    meant = next((_MEANT[word] for word in words if word in _MEANT), "")
    way = {"+": "up", "-": "down"}.get(sign) or meant.partition(" ")[0]
    if way not in ("up", "down", ""):
        yield from _meant_by(rest)
        return
    factor = {"up": 100 + float(percent), "down": 100 - float(percent)}.get(way, float(percent))
    if factor > 0:
        yield f"x{factor / 100:g}"
        yield _in_stops(factor / 100)
    elif factor == 0:
        yield "off"


def _in_stops(factor: float) -> str:
    return f"{'up' if factor >= 1 else 'down'} {abs(math.log2(factor)):.2g}"


def _is_understood(text: str, takes: Takes) -> bool:
    return all(_is_command(part.strip(), takes) for part in text.split(","))


def _is_command(text: str, takes: Takes) -> bool:
    for kind, pattern in _PATTERNS.items():
        match = pattern.fullmatch(text)
        if match is not None:
            try:
                return takes.fits(_read(kind, text, match))
            except ValueError:
                return False
    return False


def _words(text: str) -> list[str]:
    return re.findall(r"[a-z]+", text.casefold())


def _nearest(text: str, takes: Takes) -> str:
    """Say which command comes nearest to a text that is none; only what would be understood."""
    for hint in _hints(text, takes):
        if all(_is_understood(said, takes) for said in _QUOTED.findall(hint)):
            return hint
    return takes.known


def _hints(text: str, takes: Takes) -> Iterator[str]:
    words = text.split()
    for number in range(1, len(words)):
        apart = " ".join(words[:number]), " ".join(words[number:])
        if all(_is_command(part, takes) for part in apart):
            yield f'commands have commas between them: "{", ".join(apart)}"'
    unit = _UNIT.fullmatch(text)
    if unit is not None:
        yield from _with_unit(unit["sign"], unit["size"], (unit["unit"] or "").casefold())
    for way, size in _BACKWARDS.findall(text):
        yield f'the nearest that is known is "{_OTHER_WAY[way.lower()]} {size}"'
    held = nearest_command(text, takes)
    if held.startswith("x") and _SHARE.fullmatch(text):
        yield f'a share is said as a factor: "{held}"'
    if held:
        yield f'the nearest that is known is "{held}"'
    known = {"up": "up 1/3", "down": "down 1/3", "warmer": "warmer 20", "cooler": "cooler 20",
             "on": "on", "off": "off", "lm": "1200 lm", "kelvin": "2700 K"}  # fmt: skip
    unclear = [word for word in _words(text) if word not in _MEANT]
    near = next((found for word in unclear if (found := closest(word, known))), None)
    if near is not None:
        yield f'the nearest that is known is "{known[near]}"'


def _with_unit(sign: str, size: str, unit: str) -> Iterator[str]:
    """Say how a number with that unit, or without one, is written."""
    if not unit and not sign and float(size) >= 1000:
        unit = "kelvin"
    for beginnings, hint in _UNITS.items():
        if unit and unit.startswith(beginnings):
            yield hint.format(size=size, way=sign or "up ")
            return
    if not unit:
        yield f'say "up {size}" from where it stands, or "= {size}"'
