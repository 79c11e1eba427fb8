"""Where in the text of a recipe each value stands: a map from place to line."""

from __future__ import annotations

import re
from contextlib import suppress
from dataclasses import dataclass, field
from functools import lru_cache

from evenfall.recipe.places import Place

__all__ = ["LineMap", "map_lines"]

_BLANK = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_SPACE = re.compile(r"[ \t]*")
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_STRING = re.compile(
    r'"""(?:[^\\]|\\.)*?"""(?:"{0,2})(?!")'
    r"|'''.*?'''(?:'{0,2})(?!')"
    r'|"(?:[^"\\\n]|\\.)*"'
    r"|'[^'\n]*'",
    re.DOTALL,
)
_SCALAR = re.compile(r"[^,\]}#\r\n]+")
_ESCAPES = {"b": "\b", "t": "\t", "n": "\n", "f": "\f", "r": "\r", "e": "\x1b"}
_ESCAPE = re.compile(r"\\(?:u([0-9A-Fa-f]{4})|U([0-9A-Fa-f]{8})|(.))", re.DOTALL)


@dataclass
class LineMap:
    """Lines of places, from 1.

    Parameters
    ----------
    lines : dict of Place to int
        Where each key, table or list entry stands first.
    repeated : list of (Place, int)
        Keys and tables that were said again, and where.
    spans : dict of Place to (int, int)
        First sign of each plain value, and the one behind its last.
    """

    lines: dict[Place, int] = field(default_factory=dict)
    repeated: list[tuple[Place, int]] = field(default_factory=list)
    spans: dict[Place, tuple[int, int]] = field(default_factory=dict)

    def line_of(self, place: Place) -> int | None:
        r"""Line of a place, or of the nearest table above it; None for the whole recipe.

        Examples
        --------
        >>> map_lines("[lights.sun]\nfile = 'sun.exr'").line_of(("lights", "sun", "role"))
        1
        """
        while place:
            if place in self.lines:
                return self.lines[place]
            place = place[:-1]
        return None


@lru_cache(maxsize=4)
def map_lines(text: str) -> LineMap:
    r"""Map every place of a TOML text to its line; the map is kept, and not to be changed.

    The text should be valid TOML; in text that is not, the map ends at the first stumble.

    Examples
    --------
    >>> map_lines("a.b = [\n  1,\n  2]\n").lines[("a", "b", 1)]
    3
    """
    scanner = _Scanner(text)
    with suppress(_StumbleError):
        scanner.document()
    return scanner.map


class _StumbleError(Exception):
    """The text is not valid TOML at this point."""


class _Scanner:
    """Walks through TOML text and notes on which line each key stands; values are skipped."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.position = 0
        self.map = LineMap()
        self.lengths: dict[Place, int] = {}  # entries so far of each array of tables
        self.said: set[Place] = set()
        self._counted = (0, 1)

    def document(self) -> None:
        table: Place = ()
        self._skip(_BLANK)
        while self.position < len(self.text):
            if self.text[self.position] == "[":
                table = self._header()
            else:
                self._pair(table)
            self._skip(_BLANK)

    def _header(self) -> Place:
        line = self._line()
        brackets = 2 if self.text.startswith("[[", self.position) else 1
        self.position += brackets
        keys = self._key_path()
        self._expect("]" * brackets)
        place: Place = ()
        for depth, key in enumerate(keys, start=1):
            place = (*place, key)
            self.map.lines.setdefault(place, line)
            if depth < len(keys) and place in self.lengths:
                place = (*place, self.lengths[place] - 1)
        if brackets == 2:
            count = self.lengths.get(place, 0)
            self.lengths[place] = count + 1
            place = (*place, count)
        self._say(place, line)
        return place

    def _pair(self, table: Place) -> None:
        line = self._line()
        keys = self._key_path()
        self._expect("=")
        self._skip(_SPACE)
        for depth in range(1, len(keys)):
            self.map.lines.setdefault((*table, *keys[:depth]), line)
        place = (*table, *keys)
        self._say(place, line)
        self._value(place)

    def _say(self, place: Place, line: int) -> None:
        if place in self.said:
            self.map.repeated.append((place, line))
        else:
            self.said.add(place)
            self.map.lines[place] = line

    def _value(self, place: Place) -> None:
        opening = self.text[self.position : self.position + 1]
        if opening == "[":
            self._list(place)
        elif opening == "{":
            self._inline_table(place)
        else:
            start = self.position
            value = self._match(_STRING if opening and opening in "\"'" else _SCALAR)
            self.map.spans[place] = start, start + len(value.rstrip())

    def _list(self, place: Place) -> None:
        self.position += 1
        index = 0
        while not self._closed("]"):
            self._say((*place, index), self._line())
            self._value((*place, index))
            index += 1
            self._skip(_BLANK)
            if self.text.startswith(",", self.position):
                self.position += 1

    def _inline_table(self, place: Place) -> None:
        self.position += 1
        while not self._closed("}"):
            self._pair(place)
            self._skip(_BLANK)
            if self.text.startswith(",", self.position):
                self.position += 1

    def _closed(self, bracket: str) -> bool:
        self._skip(_BLANK)
        if self.position >= len(self.text):
            raise _StumbleError
        if self.text.startswith(bracket, self.position):
            self.position += 1
            return True
        return False

    def _key_path(self) -> tuple[str, ...]:
        keys = [self._key()]
        while self._skip(_SPACE) and self.text.startswith(".", self.position):
            self.position += 1
            keys.append(self._key())
        return tuple(keys)

    def _key(self) -> str:
        self._skip(_SPACE)
        opening = self.text[self.position : self.position + 1]
        if opening == '"':
            return _ESCAPE.sub(_unescaped, self._match(_STRING)[1:-1])
        if opening == "'":
            return self._match(_STRING)[1:-1]
        return self._match(_BARE_KEY)

    def _expect(self, token: str) -> None:
        self._skip(_SPACE)
        if not self.text.startswith(token, self.position):
            raise _StumbleError
        self.position += len(token)

    def _match(self, pattern: re.Pattern[str]) -> str:
        match = pattern.match(self.text, self.position)
        if match is None:
            raise _StumbleError
        self.position = match.end()
        return match[0]

    def _skip(self, pattern: re.Pattern[str]) -> bool:
        match = pattern.match(self.text, self.position)
        assert match is not None  # the patterns match nothing at all, too
        self.position = match.end()
        return True

    def _line(self) -> int:
        position, line = self._counted
        line += self.text.count("\n", position, self.position)
        self._counted = (self.position, line)
        return line


def _unescaped(match: re.Match[str]) -> str:
    code = match[1] or match[2]
    return chr(int(code, 16)) if code else _ESCAPES.get(match[3], match[3])
