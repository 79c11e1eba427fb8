"""Text that is not TOML: which line, and what the person probably meant to write."""

from __future__ import annotations

import re
import tomllib

from evenfall.errors import Fault
from evenfall.recipe.lines import map_lines
from evenfall.recipe.places import dotted

__all__ = ["syntax_fault"]

_POSITION = re.compile(r"\s*\(at (?:line (?P<line>\d+), column (?P<column>\d+)|end of document)\)$")
_KEY = r"""(?P<key>(?:[\w-]+|"[^"]*"|'[^']*')(?:\s*\.\s*(?:[\w-]+|"[^"]*"|'[^']*'))*)"""
_PAIR = re.compile(
    rf"(?:^|[{{,])\s*{_KEY}\s*(?P<sign>[=:])\s*(?P<value>(?![\s\[{{])[^#,}}]*?)\s*(?=[#,}}]|$)"
)
_BARE_KEYS = re.compile(r"(?:^|[{,])([^\"'={},#]+)=")
_HEADING = re.compile(r"\s*(?P<brackets>\[{1,2})\s*(?P<name>[\w.-]+)\s*\]{1,2}\s*(?:#.*)?$")
_CURLY_QUOTES = re.compile("[\u201c\u201d\u201e\u201f\u00ab\u00bb\u2018\u2019\u201a]")
_LAST_COMMA = re.compile(r",\s*\}")
_LONGEST = 70
_SLIPS: tuple[tuple[str, str], ...] = (
    (r"(?P<value>#[0-9a-fA-F]{3,8})(?:\s*[,}].*)?", 'text stands in quotes: {key} = "{value}"'),
    (r"(?:#.*)?", "expected a value after {key} ="),
    (
        r'"[^"]*\\[uU].*',
        "\\u is followed by the four digits of one sign; the sign itself may stand in the text",
    ),
    (r'"[^"]*\\.*', "in double quotes a backslash is a sign of its own; write folders with '/'"),
    (r"(?i:true|yes|on)", 'write {key} = true, or "on" for a light'),
    (r"(?i:false|no|off)", 'write {key} = false, or "off" for a light'),
    (r"[+-]?\d+,\d.*", "numbers take a decimal point, not a comma: 0.5"),
    (
        r"(?P<value>[+-]?\d+(?:\.\d+)?)\s*[A-Za-z\u00b0]+",
        "numbers stand without units: {key} = {value}",
    ),
    (r"[+-]?[\d.]+\s*%", "a share is written as a number: 50 % is 0.5"),
    (r"\(.*", "a list stands in square brackets: [1.0, 0.9, 0.8]"),
    (r"(?P<sign>[+-]?)(?P<value>\.\d+)", "numbers start with a digit: {key} = {sign}0{value}"),
    (r"(?P<value>[+-]?\d+\.)", "numbers end with a digit: {key} = {value}0"),
    (r"[+-]?0\d.*", "numbers start without needless zeros"),
    (r"\d{4}-\d\d?-\d\d?.*", "there is no such date or time; 2026-06-21T21:30:00+02:00 is one"),
    (r"[^\"'\s]+\s+[\w.-]+\s*=.*", "each key stands on a line of its own"),
    (r"(?P<mark>[\"'])(?:(?!(?P=mark)).)*", "the text is not closed by {mark}"),
    (r"(?P<value>[^\"'#]*[^\"'#\s])\s*(?:#.*)?", 'text stands in quotes: {key} = "{value}"'),
)
"""What may stand after '=' by mistake, and what to say about it; the first that fits counts."""


def syntax_fault(error: tomllib.TOMLDecodeError, text: str, name: str) -> Fault:
    """Say where the text stops being TOML, what stands there and how to write it."""
    message = str(error)
    match = _POSITION.search(message)
    lines = text.splitlines() or [""]
    number = len(lines)
    if match is not None:
        message = message[: match.start()]
        number = int(match["line"]) if match["line"] else number
    if text.lstrip().startswith("{"):
        return Fault(
            name, "", "begins as JSON", "a recipe is TOML: key = value, [headings]", line=1
        )
    repeated = _repeated(text, name) if "Cannot" in message or "Duplicate" in message else None
    if repeated is not None:
        return repeated
    single = _single_brackets(lines, number)
    if single is not None:
        return Fault(name, "", *single[1:], line=single[0])
    number, unclosed = _opening(message, lines, number)
    line = lines[number - 1].strip() if number <= len(lines) else ""
    allowed = unclosed or _explanation(line) or _in_words(message, line)
    return Fault(name, "", f"found {_shortened(line)}", allowed, line=number)


def _shortened(line: str) -> str:
    if not line:
        return "the end of the file"
    line = "".join(sign if sign.isprintable() else repr(sign)[1:-1] for sign in line)
    return line if len(line) <= _LONGEST else line[: _LONGEST - 3] + "..."


def _repeated(text: str, name: str) -> Fault | None:
    """Explain a key or table that is said twice."""
    lines = map_lines(text)
    if not lines.repeated:
        return None
    place, line = lines.repeated[0]
    first = lines.lines[place]
    hint = "keep one of them, or put what both say under one heading"
    return Fault(
        name, dotted(place), f"stands twice, here and in line {first}", hint=hint, line=line
    )


def _single_brackets(lines: list[str], number: int) -> tuple[int, str, str] | None:
    """Find a heading of a table where one of a list is meant, before or at the line of the fault.

    The parser stumbles over whichever of the two comes second.
    """
    headings = [
        (line, match["name"], len(match["brackets"]))
        for line, text in enumerate(lines[:number], start=1)
        if (match := _HEADING.match(text))
    ]
    if not headings or headings[-1][0] != number:
        return None
    _, name, brackets = headings[-1]
    lists = {each for _, each, count in headings if count > 1}
    singles = [line for line, each, count in headings if each == name and count == 1]
    if not singles or name not in lists or (brackets == 1 and name not in lists):
        return None
    return singles[-1], f"found [{name}]", f"a heading of a list has two brackets: [[{name}]]"


def _opening(message: str, lines: list[str], number: int) -> tuple[int, str]:
    """Line where an unclosed list, table or long text opens, and what it lacks."""
    before = lines[:number]
    in_a_list = message == "Invalid value" and before[-1].lstrip().startswith("[")
    if message.startswith("Unclosed array") or in_a_list:
        opening = _last(before, r"=\s*\[(?!.*\]\s*(?:#.*)?$)") or _last(before, r"=.*\[")
        return opening or number, "the list is not closed by ']', or lacks a comma"
    if message.startswith(("Unclosed inline", "Invalid initial character for a key part")):
        opening = _last(before, r"=\s*\{[^}]*$")
        if opening is not None:
            return opening, (
                "a table in braces is closed by '}' on the same line; "
                "a longer one goes under a [heading]"
            )
    if message.startswith("Unterminated"):
        for mark in ('"""', "'''"):
            if sum(line.count(mark) for line in lines) % 2:
                return _last(lines, re.escape(mark)) or number, f"the text is not closed by {mark}"
    return number, ""


def _last(lines: list[str], pattern: str) -> int | None:
    found = [index for index, line in enumerate(lines, start=1) if re.search(pattern, line)]
    return found[-1] if found else None


def _explanation(line: str) -> str:
    """Recognise the usual slips of the pen."""
    if _CURLY_QUOTES.search(line):
        return "text stands in straight quotes: \"...\" or '...'"
    if line.startswith("["):
        return _heading(line)
    pairs = list(_PAIR.finditer(line))
    for pair in pairs:
        if pair["sign"] == ":":
            return f"keys and values are joined by '=': {pair['key']} = {pair['value']}"
    for pair in pairs:
        said = _slip(pair["key"], pair["value"], line[pair.start("value") :])
        if said:
            return said
    if not pairs and not line.startswith("#") and "=" not in line and line:
        return "expected key = value, a [heading] or a # comment"
    odd = [part for key in _BARE_KEYS.findall(line) for part in key.split(".")]
    odd = [part.strip() for part in odd if not re.fullmatch(r"\s*[A-Za-z0-9_-]*\s*", part)]
    return f'names with spaces or other signs stand in quotes: "{odd[0]}"' if odd else ""


def _heading(line: str) -> str:
    plain = line.partition("#")[0].strip()
    if plain.startswith("[[") and not plain.endswith("]]"):
        return "a heading of a list ends with ']]': [[deliverables]]"
    if not plain.endswith("]"):
        return "a heading ends with ']': [moods.dusk]"
    bare = re.fullmatch(r"\[{1,2}([^\"']*)\]{1,2}", plain)
    if bare and re.search(r"[^\w.\s-]|\w\s+\w|[^\x00-\x7f]", bare[1]):
        return 'names with spaces or other signs stand in quotes: [moods."late dusk"]'
    return ""


def _slip(key: str, value: str, rest: str) -> str:
    """Say what is wrong with a value, given without and with the rest of its line."""
    if _is_sound(value) and not re.match(r"[+-]?\d+,\d", rest):
        return ""
    for pattern, said in _SLIPS:
        match = re.fullmatch(pattern, value) or re.fullmatch(pattern, rest)
        if match is not None:
            return said.format(key=key, **match.groupdict())
    return ""


def _is_sound(value: str) -> bool:
    try:
        tomllib.loads(f"value = {value}")
    except tomllib.TOMLDecodeError:
        return False
    return True


def _in_words(message: str, line: str) -> str:
    if _LAST_COMMA.search(line):
        return "no comma stands before the '}' that closes a table"
    words = {
        "Unterminated string": "the text is not closed by a quote",
        "Expected newline": "expected a new line, or a comma in a list or table",
        "Cannot overwrite": "the key stands twice in this table",
        "Cannot declare": "the table stands twice in the recipe",
    }
    for start, said in words.items():
        if message.startswith(start):
            return said
    return f"not valid TOML: {message[:1].lower()}{message[1:]}"
