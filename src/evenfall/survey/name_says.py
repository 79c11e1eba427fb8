"""What names say of pictures: a light, all lights, a part of light, or no light at all.

A picture's path is the words of its file, part and layer, one after the other. What all paths
share is taken off first: project, view and version say nothing of a single picture. Of what is
left, words of the trade tell data, parts of light and beauties; the other words, the stem, name the
light. Data and parts belong to the light that has the same stem, or to the whole view where nothing
is left.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from evenfall.survey.words import (
    ALONE,
    BEAUTY_WORDS,
    DATA_WORDS,
    MARKS,
    PART_WORDS,
    ROLE_WORDS,
    SOURCE_WORDS,
    UNNAMED_WORDS,
    Component,
    first_of,
    words_of,
)

__all__ = [
    "KNOWN_WORDS",
    "NamePath",
    "NameSays",
    "name_path",
    "pieces_of",
    "says_no_light",
    "what_names_say",
]

_PIECE = re.compile(rf"[^\W_](?:[^\W_]|[{MARKS}])*")
_ENOUGH = 0.6  # of all pictures, that a word of a project stands before
_FEW = 3
_BESIDE_A_VIEW = frozenset(("main", "left", "right", "default", "center", "centre"))
_WEAK: frozenset[Component] = frozenset(
    ("lighting", "background", "volume", "coat", "sheen", "emission", "transmission", "raw")
)
"""Words that also stand in names of lights: they need a light beside them, or to stand alone."""

_COLOURS = frozenset(("color", "colour", "col", "filter"))
KNOWN_WORDS = frozenset(
    word
    for words in (*DATA_WORDS.values(), *PART_WORDS.values(), *ROLE_WORDS.values(), BEAUTY_WORDS)
    for word in words
)
"""Words of the trade that say something of a picture."""


@dataclass(frozen=True)
class NamePath:
    """Words on the way to a picture, as written: of its file, then of part and layer inside it.

    Parameters
    ----------
    outer, inner : tuple of str
        Words of folder and file, and of what is inside the file.
    """

    outer: tuple[str, ...]
    inner: tuple[str, ...] = ()

    @property
    def all(self) -> tuple[str, ...]:
        """All of them."""
        return (*self.outer, *self.inner)


@dataclass(frozen=True)
class NameSays:
    """What a name says of a picture.

    Parameters
    ----------
    stem : tuple of str
        Words, in lower case, of the light it speaks of; empty for the whole view.
    title : str
        The stem as written.
    own : tuple of str
        All words of the picture's own, those that tell included.
    data : str or None
        What it holds instead of light.
    components : frozenset of Component
        Which part of the light it holds; empty for all of it.
    beauty_word : str or None
        A word that means all lights at once.
    unnamed : bool
        Whether it is a picture that has no name of its own inside a file.
    word : str
        The word that tells.
    doubtful : bool
        Whether a word of data stands beside the name of a light, so that pixels have to tell.
    weak : bool
        Whether the words of a part stand in the names of lights as well.
    """

    stem: tuple[str, ...]
    title: str
    own: tuple[str, ...] = ()
    data: str | None = None
    components: frozenset[Component] = frozenset()
    beauty_word: str | None = None
    unnamed: bool = False
    word: str = ""
    doubtful: bool = False
    weak: bool = False


def name_path(file: str, part: str = "", layer: str = "", view: str = "") -> NamePath:
    """Cut names into words; a name that is given twice counts once.

    Parameters
    ----------
    file : str
        Name of the file relative to the folder, without frame number and ending.
    part, layer, view : str
        Names inside the file.

    Examples
    --------
    >>> name_path("villa/living_v2", "sun", "sun.direct").all
    ('villa', 'living', 'v2', 'sun', 'direct')
    """
    outer = _cut(file)
    inner: tuple[str, ...] = ()
    for name in (part, layer):
        inner = _joined(inner, _cut(name))
    if len(inner) > 1 and _folded(inner[:1])[0] in UNNAMED_WORDS:
        rest = set(_folded(inner[1:]))
        inner = inner[:1] if rest <= _BESIDE_A_VIEW | {view.casefold()} else inner
    whole = _joined(outer, inner)
    return NamePath(outer, whole[len(outer) :])


def pieces_of(name: str) -> list[re.Match[str]]:
    """Pieces between the signs of a name, each with its place.

    Examples
    --------
    >>> [piece[0] for piece in pieces_of("villa/sun light.v2")]
    ['villa', 'sun', 'light', 'v2']
    """
    return list(_PIECE.finditer(name))


def _cut(name: str) -> tuple[str, ...]:
    return tuple(piece[0] for piece in pieces_of(name))


def _folded(pieces: Sequence[str]) -> tuple[str, ...]:
    return tuple(piece.casefold() for piece in pieces)


def _joined(before: tuple[str, ...], after: tuple[str, ...]) -> tuple[str, ...]:
    """Put names together; what one ends with and the other begins with is there once."""
    for length in range(min(len(before), len(after)), 0, -1):
        if _folded(before[-length:]) == _folded(after[:length]):
            return (*before, *after[length:])
    return (*before, *after)


def says_no_light(name: str) -> bool:
    """Whether a name alone says that a file holds no light.

    Examples
    --------
    >>> says_no_light("view_normals"), says_no_light("bathroom")
    (True, False)
    """
    path = name_path(name)
    return _data(path.all, _stem(path.all), path) is not None


def what_names_say(paths: Sequence[NamePath]) -> list[NameSays]:
    """Read the names of all pictures of a folder.

    Examples
    --------
    >>> paths = [name_path(f"villa_{name}") for name in ("sun", "sun_direct", "depth", "beauty")]
    >>> for says in what_names_say(paths):
    ...     print(says.stem, says.data, *says.components, says.beauty_word)
    ('sun',) None None
    ('sun',) None direct None
    () depth None
    () None beauty
    """
    own = _own_words([path.all for path in paths])
    return [_read(words, path) for words, path in zip(own, paths, strict=True)]


def _own_words(names: Sequence[tuple[str, ...]]) -> list[tuple[str, ...]]:
    """Take off what the names begin and end with in common."""
    if len(set(map(_folded, names))) < 2:
        return list(names)
    own = list(names)
    for place in (0, -1):
        while (shared := _shared_word(own, place)) and not _shines(shared):
            own = [
                (name[1:] if place == 0 else name[:-1]) if _has(name, place, shared) else name
                for name in own
            ]
    return own


def _has(name: tuple[str, ...], place: int, word: str) -> bool:
    return bool(name) and name[place].casefold() == word


def _shared_word(names: Sequence[tuple[str, ...]], place: int) -> str | None:
    """Word that all names have at a place; or most of them, if it says nothing by itself."""
    counts = Counter(name[place].casefold() for name in set(map(_folded, names)) if name)
    if not counts:
        return None
    word, count = counts.most_common(1)[0]
    different = len(set(map(_folded, names)))
    if count == different:
        return word
    says_nothing = KNOWN_WORDS.isdisjoint(words_of(word)) and not word.isdigit()
    most = count >= max(_FEW, _ENOUGH * different)
    left = {_folded(name)[1:] if place == 0 else _folded(name)[:-1] for name in names}
    return word if says_nothing and most and place == 0 and len(left) >= _FEW else None


def _read(pieces: tuple[str, ...], path: NamePath) -> NameSays:
    own, nameless = _dropped(pieces, lambda word: word in UNNAMED_WORDS)
    words = _stem(own)
    whole = NameSays(words, " ".join(own), words, unnamed=bool(nameless) or not path.inner)
    data = _data(own, words, path)
    if data is not None:
        what, word = data
        left, _ = _dropped(own, lambda each: each in word.split())
        doubtful = not _tells(own[-1], word) and _shines(own[-1])
        return replace(whole, stem=_stem(left), data=what, word=word, doubtful=doubtful)
    components = _components(words)
    if components:
        known = [word for name in components for word in PART_WORDS[name]]
        spoken = {word for each in known if first_of(words, (each,)) for word in each.split()}
        left, told = _dropped(own, lambda each: each in spoken or each in BEAUTY_WORDS)
        return replace(
            whole,
            stem=_stem(left),
            title=" ".join(left),
            components=components,
            word=" ".join(told),
            weak=bool(left) and (components <= _WEAK or _is_lit(left, components)),
        )
    left, told = _dropped(own, lambda each: each in BEAUTY_WORDS)
    if not told:
        return whole
    return replace(whole, stem=_stem(left), title=" ".join(left), beauty_word=told[0], word=told[0])


def _is_lit(left: Sequence[str], components: frozenset[Component]) -> bool:
    """Whether a word of a shadow stands before what shines: lamps in shadow gaps are lights."""
    return components == {"shadow"} and len(left) > 1 and _shines(left[-1])


def _stem(pieces: Sequence[str]) -> tuple[str, ...]:
    return tuple(word for piece in pieces for word in words_of(piece))


def _tells(piece: str, word: str) -> bool:
    return bool(set(words_of(piece)) & set(word.split()))


def _shines(piece: str) -> bool:
    return not SOURCE_WORDS.isdisjoint(words_of(piece))


def _dropped(
    pieces: tuple[str, ...], is_dropped: Callable[[str], bool]
) -> tuple[tuple[str, ...], list[str]]:
    """Leave words out of a name; a piece of several words keeps the others."""
    kept, gone = [], []
    for piece in pieces:
        words = words_of(piece)
        out = [word for word in words if is_dropped(word)]
        gone += out
        if not out:
            kept.append(piece)
        elif len(out) < len(words):
            kept.append("".join(word for word in words if word not in out))
    return tuple(kept), gone


def _data(own: Sequence[str], words: tuple[str, ...], path: NamePath) -> tuple[str, str] | None:
    for what, known in DATA_WORDS.items():
        word = first_of(words, known)
        if word is not None:
            return what, word
    lobes = _components(words) - {"raw"}
    colour = next((word for word in words if word in _COLOURS), None)
    if lobes and colour:
        return "surface colour", colour
    last = words_of(own[-1]) if own else ()
    if len(last) == 1 and (path.inner or len(own) == 1):
        for what, known in ALONE.items():
            if last[0] in known:
                return what, last[0]
    return None


def _components(words: tuple[str, ...]) -> frozenset[Component]:
    """Parts of light that words speak of; a word of a pair says nothing by itself."""
    found: set[Component] = set()
    for pairs in (True, False):
        for name, known in PART_WORDS.items():
            word = first_of(words, [each for each in known if (" " in each) == pairs])
            if word is not None:
                found.add(name)
                words = tuple(each for each in words if not pairs or each not in word.split())
    return frozenset(found)
