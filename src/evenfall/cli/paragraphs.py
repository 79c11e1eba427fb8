"""Sentences in a terminal: broken between words, and indented as a whole."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.console import Console

__all__ = ["print_hanging", "print_indented"]


def print_indented(console: Console, text: str, indent: int) -> None:
    """Print a paragraph as wide as the console; paths and words with hyphens stay whole.

    Examples
    --------
    >>> from rich.console import Console
    >>> print_indented(Console(width=24), "lights.sun: named like a sun", 2)
      lights.sun: named like
      a sun
    """
    _print_filled(console, text, " " * indent, " " * indent)


def print_hanging(console: Console, text: str) -> None:
    """Print a paragraph whose first line stands out.

    Examples
    --------
    >>> from rich.console import Console
    >>> print_hanging(Console(width=24), "Data, depth: room.exr (channel Z)")
    Data, depth: room.exr
      (channel Z)
    """
    _print_filled(console, text, "", "  ")


def _print_filled(console: Console, text: str, first: str, following: str) -> None:
    from textwrap import fill

    wrapped = fill(
        text,
        width=console.width,
        initial_indent=first,
        subsequent_indent=following,
        break_on_hyphens=False,
        break_long_words=False,
    )
    console.print(wrapped, soft_wrap=True)
