"""From a recipe file to its text and a plain tree of values, with syntax faults by line."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

from evenfall.errors import Fault, RecipeError
from evenfall.recipe.places import dotted
from evenfall.recipe.words.syntax import syntax_fault

__all__ = ["missing_recipe", "parse_toml", "read_recipe_bytes", "read_text"]

_LARGEST_BYTES = 16 * 1024 * 1024
_DEEPEST = 32


def read_text(path: Path) -> str:
    """Read a recipe file as text, line ends kept and a byte order mark dropped.

    Raises
    ------
    RecipeError
        When there is no such file, it is no file, it cannot be read or it is not UTF-8.
    """
    return _decoded(read_recipe_bytes(path), str(path))


def read_recipe_bytes(path: Path) -> bytes:
    """Read a recipe file as it is; as `read_text`."""
    name = str(path)
    try:
        if path.is_dir():
            raise RecipeError(Fault(name, "", "is a folder", "expected a recipe, a TOML file"))
        if path.exists() and not path.is_file():
            raise RecipeError(Fault(name, "", "is no ordinary file", "expected a TOML file"))
        data = path.read_bytes() if path.stat().st_size <= _LARGEST_BYTES else None
    except FileNotFoundError:
        found = "there is no such file"
        raise RecipeError(Fault(name, "", found, hint=missing_recipe(path))) from None
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise RecipeError(Fault(name, "", f"cannot be read: {reason}")) from None
    if data is None:
        raise RecipeError(Fault(name, "", "is over 16 MB", "expected a recipe, a small text file"))
    return data


def missing_recipe(path: Path) -> str:
    """Say what may have been meant by a recipe that is not there, or what makes one."""
    from difflib import get_close_matches

    if path.parent.is_dir():
        others = [entry.name for entry in path.parent.glob("*.toml")]
        close = get_close_matches(path.name, others, n=1)
        if close:
            return f"did you mean {path.with_name(close[0])}?"
    return "'evenfall survey FOLDER --write RECIPE' writes a first recipe"


def _decoded(data: bytes, name: str) -> str:
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        hint = "save it as UTF-8 in your editor"
        if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
            raise RecipeError(
                Fault(name, "", "is text in UTF-16", "a recipe is UTF-8 text", hint, line=1)
            ) from None
        raise RecipeError(
            Fault(
                name, "", f"found the byte 0x{data[error.start]:02x}, which is not UTF-8",
                "a recipe is UTF-8 text", hint, line=line,
            )
        ) from None  # fmt: skip
    if not text.strip():
        raise RecipeError(
            Fault(
                name, "", "is empty", "expected a recipe",
                "'evenfall survey FOLDER --write RECIPE' writes a first one",
            )
        )  # fmt: skip
    return text


def parse_toml(text: str, name: str) -> dict[str, Any]:
    """Parse TOML into plain values.

    Raises
    ------
    RecipeError
        With the line of the first syntax fault.
    """
    try:
        tree = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise RecipeError(syntax_fault(error, text, name)) from None
    except ValueError:  # Python reads no number of thousands of digits
        allowed = "expected numbers of some twenty digits at most"
        raise RecipeError(Fault(name, "", "holds a number of very many digits", allowed)) from None
    except RecursionError:
        raise RecipeError(_nested(name)) from None
    deep = _too_deep(tree)
    if deep is not None:
        raise RecipeError(_nested(name, deep))
    return tree


def _nested(name: str, place: str = "") -> Fault:
    allowed = f"expected tables and lists within each other, up to {_DEEPEST} of them"
    return Fault(name, place, "is nested too deeply to be a recipe", allowed)


def _too_deep(tree: dict[str, Any]) -> str | None:
    """Top key of something that is nested deeper than any recipe; None if nothing is."""
    for key, value in tree.items():
        level = [value]
        for _ in range(_DEEPEST):
            level = [
                inner
                for each in level
                if isinstance(each, dict | list)
                for inner in (each.values() if isinstance(each, dict) else each)
            ]
            if not level:
                break
        else:
            return dotted((key,))
    return None
