r"""Lights and their roles from the names of files and layers, by open patterns.

A name is cleaned first: frame number, view name and the words that all names of a folder share are
taken off, but for words that say what shines (``lamp``) and where only a number would be left. Then
the first pattern that fits gives the light; the first two fit no NAME that is only a number:

====================================  ===========================  ===========
pattern (case does not matter)        example                      light
====================================  ===========================  ===========
``(light|pass)[_ .-]NAME``            ``living_light_cove``        cove
``NAME[_ .-](light|pass)``            ``sky_pass``                 sky
``NAME``                              ``floor_lamp``               floor_lamp
====================================  ===========================  ===========

A recipe replaces the patterns by its own (``passes.name_patterns``): regular expressions with a
group named ``light``; names that fit none are then no lights. Words that give a light its role
stand in `evenfall.survey.words`.

A key of a recipe is short and plain: lower case, accents taken off; letters of other alphabets
stay. Where that loses something, the name as written is kept as a title.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass

from evenfall.errors import Fault, UsageError
from evenfall.recipe.lights import Role
from evenfall.survey.words import MARKS, ROLE_WORDS, SOURCE_WORDS, first_of, plain, words_of

__all__ = [
    "NAME_PATTERNS",
    "LightName",
    "NameMatch",
    "RoleGuess",
    "compile_patterns",
    "frame_digits",
    "light_names",
    "match_name",
    "role_from_name",
    "without_frame",
]

NAME_PATTERNS = (
    r"^(?:.*[_ .-])?(?:lights?|pass(?:es)?)[_ .-]+(?P<light>.*[^\W\d_].*)$",
    r"^(?P<light>.*[^\W\d_].*?)[_ .-]+(?:lights?|pass(?:es)?)$",
    r"^(?P<light>.+)$",
)
"""The documented patterns, tried in this order."""

_FRAME = re.compile(r"[_ .-]*(?:frame[_ .-]?)?\d{4,}$", re.IGNORECASE)
_IDEOGRAPH = re.compile("[\u4e00-\u9fff]")  # a sign that is a word
_SEPARATORS = "_ .-"
_NO_WORD = re.compile(rf"[^\w{MARKS}]+|_+")
_LONGEST_KEY = 48  # a key is typed; the longest that a recipe takes is 80
_LONGEST_TITLE = 80
_ENDS_LIKE_A_LAMP = ("lamp", "lampe", "leuchte", "licht", "strahler", "lampen", "leuchten")
_BEGINS_OUTSIDE = (
    *("garten", "terrasse", "fassade", "balkon", "aussen", "hof", "strasse", "einfahrt", "pool"),
    *("tuin", "straat", "buiten", "terras", "gevel"),
)
_WORDS_BEFORE = re.compile(r"[_ .-]*[^_ .-]+[_ .-]+")
_WORDS_AFTER = re.compile(r"[_ .-]+[^_ .-]+")


@dataclass(frozen=True)
class NameMatch:
    """A light found in a name, and the pattern that found it."""

    light: str
    pattern: str


@dataclass(frozen=True)
class LightName:
    """Name of a light.

    Parameters
    ----------
    key : str
        For the recipe.
    title : str or None
        As written, where the key has lost something.
    """

    key: str
    title: str | None = None


@dataclass(frozen=True)
class RoleGuess:
    """A role and why it is proposed."""

    role: Role
    reason: str


def compile_patterns(patterns: Sequence[str]) -> tuple[re.Pattern[str], ...]:
    """Compile a recipe's patterns, or the documented ones if it has none.

    Raises
    ------
    UsageError
        When a pattern is no regular expression or lacks the group ``light``; all faults at once.
    """
    compiled, faults = [], []
    for pattern in patterns or NAME_PATTERNS:
        try:
            expression = re.compile(pattern, re.IGNORECASE)
        except re.error as error:
            faults.append(Fault("", "passes.name_patterns", f"{pattern!r} does not read: {error}"))
            continue
        if "light" not in expression.groupindex:
            hint = "a group named 'light': (?P<light>...)"
            faults.append(Fault("", "passes.name_patterns", f"{pattern!r} names no light", hint))
        compiled.append(expression)
    if faults:
        raise UsageError(faults)
    return tuple(compiled)


def match_name(name: str, patterns: Sequence[str] = ()) -> NameMatch | None:
    """Find the light in one name.

    Examples
    --------
    >>> match_name("living_light_cove").light
    'cove'
    >>> match_name("sun", [r"^L_(?P<light>.+)$"]) is None
    True
    """
    for expression in compile_patterns(patterns):
        found = expression.search(name)
        if found is not None and found["light"]:
            return NameMatch(
                found["light"].strip(_SEPARATORS) or found["light"], expression.pattern
            )
    return None


def light_names(stems: Sequence[str], patterns: Sequence[str] = ()) -> tuple[LightName | None, ...]:
    """Find the lights in the names of a folder, without frame number and what all names share.

    Parameters
    ----------
    stems : sequence of str
        Names of files without ending, or of layers.
    patterns : sequence of str
        Patterns that replace the documented ones; they see the whole name.

    Returns
    -------
    tuple of LightName or None
        In the order of `stems`; None where none of `patterns` fits. Two lights of one name get a
        number.

    Examples
    --------
    >>> [name.key for name in light_names(["villa_v2_Sun.0001", "villa_v2_Garden lamps.0001"])]
    ['sun', 'garden_lamps']
    >>> light_names(["Küchenlicht"])
    (LightName(key='kuchenlicht', title='Küchenlicht'),)
    """
    if patterns:
        found = [match_name(stem, patterns) for stem in stems]
    else:
        found = [match_name(stem) for stem in _without_shared([without_frame(s) for s in stems])]
    names: list[LightName | None] = []
    for match in found:
        taken = [name.key for name in names if name is not None]
        unnamed = None if patterns else ""
        light = unnamed if match is None else match.light
        names.append(None if light is None else _name(light, taken))
    return tuple(names)


def without_frame(stem: str) -> str:
    """Take off a frame number: four digits or more at the end of a name.

    Examples
    --------
    >>> without_frame("sun.0001"), without_frame("sun_02"), without_frame("0001")
    ('sun', 'sun_02', '0001')
    """
    return _FRAME.sub("", stem) or stem


def frame_digits(stem: str) -> str:
    """Digits of a frame number at the end of a name; nothing where there is none.

    Examples
    --------
    >>> frame_digits("sun.0001"), frame_digits("sun_02"), frame_digits("0001")
    ('0001', '', '')
    """
    return stem[len(stem.rstrip("0123456789")) :] if without_frame(stem) != stem else ""


def _without_shared(stems: Sequence[str]) -> list[str]:
    """Take off what all names begin and end with, at whole words only.

    Words that say what shines stay, as does one word where only a number or a letter would be left.
    """
    if len(stems) < 2:
        return list(stems)
    start = _whole_words(_shared_start(stems))
    end = _whole_words(_shared_start([stem[::-1] for stem in stems]))[::-1]
    before, after = _WORDS_BEFORE.findall(start), _WORDS_AFTER.findall(end)
    kept_before, kept_after = _kept_of(before), after[0] if after and _shines(after[0]) else ""
    names = []
    for stem in stems:
        own = stem[len(start) : len(stem) - len(end)]
        name = kept_before + own + kept_after
        left = name.strip(_SEPARATORS)
        is_a_letter = len(left) < 2 and not _IDEOGRAPH.match(left)
        if is_a_letter or not any(sign.isalpha() for sign in name):
            name = before[-1] + own if before else own + "".join(after[:1])
        names.append(name.strip(_SEPARATORS) if own.strip(_SEPARATORS) else stem)
    return names


def _kept_of(before: Sequence[str]) -> str:
    """Shared words that stay: a last one that says what shines, and those of a role before it."""
    kept = len(before)
    if before and _shines(before[-1]):
        kept -= 1
        while kept > 0 and role_from_name(before[kept - 1]) is not None:
            kept -= 1
    return "".join(before[kept:])


def _shines(word: str) -> bool:
    return not SOURCE_WORDS.isdisjoint(words_of(word)[-1:])


def _shared_start(stems: Sequence[str]) -> str:
    length = 0
    for signs in zip(*stems, strict=False):
        if len(set(signs)) > 1:
            break
        length += 1
    return stems[0][:length]


def _whole_words(shared: str) -> str:
    last = max((shared.rfind(sign) for sign in _SEPARATORS), default=-1)
    return shared[: last + 1]


def _name(light: str, taken: Sequence[str]) -> LightName:
    """Make a key that is free, and keep as a title what it loses."""
    shown = "".join(sign for sign in light if sign.isprintable()).strip(_SEPARATORS)
    key = _key(light)
    kept = _NO_WORD.sub("", shown.lower()) == _NO_WORD.sub("", key)
    title = None if kept else _NO_WORD.sub(" ", shown).strip()[:_LONGEST_TITLE]
    return LightName(_free(key, taken), title or None)


def _key(light: str) -> str:
    key = _NO_WORD.sub("_", plain(light).lower()).strip("_")
    if len(key) > _LONGEST_KEY:
        key = key[:_LONGEST_KEY].rpartition("_")[0] or key[:_LONGEST_KEY]
    return key or "light"


def _free(key: str, taken: Collection[str]) -> str:
    number, free = 2, key
    while free in taken:
        free, number = f"{key}_{number}", number + 1
    return free


def role_from_name(name: str) -> RoleGuess | None:
    """Propose a role from the words of a light's name.

    Examples
    --------
    >>> role_from_name("garden_lamps")
    RoleGuess(role='outdoor fixture', reason="named 'garden'")
    >>> role_from_name("group_3") is None
    True
    """
    words = words_of(name)
    for role, known in ROLE_WORDS.items():
        word = first_of(words, known)
        if word is not None:
            return RoleGuess(role, f"named '{word}'")
    for word in words:
        if word.endswith(_ENDS_LIKE_A_LAMP):
            is_outside = word.startswith(_BEGINS_OUTSIDE)
            return RoleGuess("outdoor fixture" if is_outside else "fixture", f"named '{word}'")
    return None
