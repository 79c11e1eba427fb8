"""Everything that a command says in a terminal goes through here.

File names, and names inside files, may hold control characters: they could clear the screen, or
make one name look like another. They are shown as what they are.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

import click

from evenfall.errors import printable

if TYPE_CHECKING:
    from rich.console import Console, ConsoleOptions, RenderableType, RenderHook, RenderResult

__all__ = ["from_here", "make_console", "say", "say_json", "say_json_text"]


def say(text: object, *, err: bool = False, nl: bool = True) -> None:
    r"""Print text on standard output, or on standard error.

    Examples
    --------
    >>> say("sun\x1b[2J.exr")
    sun\x1b[2J.exr
    """
    click.echo(printable(str(text)), err=err, nl=nl)


def from_here(path: Path) -> Path:
    """Path as a person would type it from here."""
    try:
        return path.relative_to(Path.cwd())
    except ValueError:
        return path


def say_json(value: Any) -> None:
    """Print a value as JSON; letters of all languages as they are, control characters escaped."""
    say_json_text(json.dumps(value, indent=2, ensure_ascii=False) + "\n")


def say_json_text(text: str) -> None:
    """Print text that is JSON already."""
    plain = "".join(sign if _is_plain(sign) else json.dumps(sign)[1:-1] for sign in text)
    click.echo(plain, nl=False)


def _is_plain(sign: str) -> bool:
    return sign == "\n" or printable(sign) == sign


def make_console(*, stderr: bool = False, width_in_files: int | None = None) -> Console:
    """Terminal for tables and paragraphs, without anything that reads meaning into text.

    Parameters
    ----------
    stderr : bool
        Whether it is standard error.
    width_in_files : int, optional
        Columns where there is no terminal; what the library takes otherwise.
    """
    from rich.console import Console

    made = Console(stderr=stderr, highlight=False, emoji=False, markup=False)
    if width_in_files is not None and not made.is_terminal:
        made = Console(
            stderr=stderr, highlight=False, emoji=False, markup=False, width=width_in_files
        )
    made.push_render_hook(cast("RenderHook", _Plainly()))
    return made


class _Plainly:
    """Shows what is printed on a console without control characters in its text."""

    def process_renderables(self, renderables: Iterable[Any]) -> list[Any]:
        """Wrap everything that is about to be printed."""
        return [_Plain(each) for each in renderables]


class _Plain:
    def __init__(self, renderable: RenderableType) -> None:
        self._renderable = renderable

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        from rich.segment import Segment

        for segment in console.render(self._renderable, options):
            if segment.control:
                yield segment
            else:
                yield Segment(printable(segment.text), segment.style)
