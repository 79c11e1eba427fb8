"""Sentences in a terminal: broken between words, and indented as a whole."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.console import Console

__all__ = ["print_indented"]


def print_indented(console: Console, text: str, indent: int) -> None:
    """Print a paragraph as wide as the console; paths and words with hyphens stay whole.

    Examples
    --------
    >>> from rich.console import Console
    >>> print_indented(Console(width=24), "lights.sun: named like a sun", 2)
      lights.sun: named like
      a sun
    """
    from textwrap import fill

    margin = " " * indent
    wrapped = fill(
        text,
        width=console.width,
        initial_indent=margin,
        subsequent_indent=margin,
        break_on_hyphens=False,
        break_long_words=False,
    )
    console.print(wrapped, soft_wrap=True)
