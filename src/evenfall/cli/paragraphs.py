"""Sentences in a terminal: broken between words, and indented as a whole."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.console import Console

__all__ = ["print_indented", "shown"]


def shown(text: str) -> str:
    r"""Make text fit for a terminal: control characters, and bytes that are no text, as escapes.

    Examples
    --------
    >>> shown("lamp\x1b[31m.exr"), shown("K\udcfcche.exr"), shown("Küche")
    ('lamp\\x1b[31m.exr', 'K\\xfcche.exr', 'Küche')
    """
    return "".join(map(_shown_sign, text))


def _shown_sign(sign: str) -> str:
    if "\udc80" <= sign <= "\udcff":  # a byte of a file name that is not UTF-8
        return f"\\x{ord(sign) - 0xDC00:02x}"
    return sign if sign.isprintable() else repr(sign)[1:-1]


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
