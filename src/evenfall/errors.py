"""The tree of errors a person may see, and the faults and advice they carry.

::

    EvenfallError            exit 1
    ├── RecipeError          exit 2   everything wrong with a recipe, all at once
    ├── UsageError           exit 2   a command or a call asked for something impossible
    ├── PassError            exit 1   a pass cannot be used (missing, damaged, mismatched)
    ├── PixelSourceError     exit 1   another picture cannot be used (plate, mask, overlay, LUT)
    └── OutputError          exit 1   a deliverable cannot be written
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

__all__ = [
    "Advice",
    "EvenfallError",
    "Fault",
    "OutputError",
    "PassError",
    "PixelSourceError",
    "RecipeError",
    "UsageError",
    "printable",
    "refusal",
]

_LONGEST_PLACE = 300


def printable(text: str) -> str:
    r"""Text with control characters written out, as what they are; line breaks stay.

    What is invisible, turns text round, or commands a terminal comes from names in files, and is
    never meant.

    Examples
    --------
    >>> printable("sun\x1b[31m, café, \u202eexr")
    'sun\\x1b[31m, café, \\u202eexr'
    >>> printable("K\udcfcche.exr")
    'K\\xfcche.exr'
    """
    if text.isprintable():
        return text
    return "".join(map(_written_out, text))


def _written_out(sign: str) -> str:
    if sign.isprintable() or sign == "\n" or sign in _SPACES:
        return sign
    if "\udc80" <= sign <= "\udcff":  # a byte of a file name that is not UTF-8
        return f"\\x{ord(sign) - 0xDC00:02x}"
    return repr(sign)[1:-1]


_SPACES = "\u00a0\u2002\u2003\u2009\u202f\u3000"
"""Spaces of other widths, and those at which no line breaks: they print as spaces do."""


@dataclass(frozen=True)
class Fault:
    """One thing that is wrong, said so that a person can put it right.

    Parameters
    ----------
    file : str
        The file in which the fault lies, as the person named it.
    place : str
        Dotted place inside the file (``moods.dusk.lights.sun.stops``), or empty.
    found : str
        What was found there.
    allowed : str
        What is allowed there, or empty.
    hint : str
        What to do next, or empty.
    line : int or None
        Line number in the file, from 1.

    Examples
    --------
    >>> print(Fault("villa.toml", "look.tone", 'found "evenfal"', hint='did you mean "evenfall"?',
    ...             line=31))
    villa.toml:31: look.tone: found "evenfal"; did you mean "evenfall"?
    """

    file: str
    place: str
    found: str
    allowed: str = ""
    hint: str = ""
    line: int | None = None

    def __str__(self) -> str:
        where = self.file if self.line is None else f"{self.file}:{self.line}"
        head = ": ".join(part for part in (where, _shortened(self.place)) if part)
        tail = "; ".join(part for part in (self.found, self.allowed, self.hint) if part)
        return printable(f"{head}: {tail}" if head else tail).replace("\n", "\\n")


def _shortened(place: str) -> str:
    half = _LONGEST_PLACE // 2
    return place if len(place) <= _LONGEST_PLACE else f"{place[:half]}...{place[-half:]}"


@dataclass(frozen=True)
class Advice:
    """Something a senior colleague would say; nothing is refused because of it.

    Parameters
    ----------
    code : str
        Short stable name, also the word that silences it (``fill-over-key``).
    place : str
        Dotted recipe place or mood it speaks of.
    message : str
        What was noticed.
    reason : str
        Why it matters, and what usually helps.
    """

    code: str
    place: str
    message: str
    reason: str

    def __str__(self) -> str:
        return f"{self.place}: {self.message} ({self.reason}) [{self.code}]"


class EvenfallError(Exception):
    """Base of every error that a person may see."""

    exit_code = 1


class FaultyError(EvenfallError):
    """An error that carries one or more faults and prints them a line each."""

    def __init__(self, faults: Iterable[Fault] | Fault | str) -> None:
        if isinstance(faults, str):
            faults = [Fault("", "", faults)]
        elif isinstance(faults, Fault):
            faults = [faults]
        self.faults: tuple[Fault, ...] = tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))


class RecipeError(FaultyError):
    """Everything that is wrong with a recipe."""

    exit_code = 2


class UsageError(FaultyError):
    """A command or a call asked for something that cannot be."""

    exit_code = 2


class PassError(FaultyError):
    """One or more passes cannot be used."""


class PixelSourceError(FaultyError):
    """A plate, mask, overlay, LUT or other side file cannot be used."""


class OutputError(FaultyError):
    """A deliverable cannot be written."""


def refusal(error: OSError | ImportError) -> str:
    """Say what the system refused, where nobody knows more about it.

    Examples
    --------
    >>> refusal(PermissionError(13, "Permission denied", "sun.exr"))
    'sun.exr: the system refused it: Permission denied'
    >>> refusal(OSError(5, "Input/output error"))
    'The system refused to read: Input/output error'
    """
    if isinstance(error, ImportError):
        return f"A part of the program cannot be loaded: {error}"
    reason = error.strerror or str(error)
    if error.errno is None:  # of a library
        return f"A library gave up: {reason}"
    if error.filename is None:  # as of reading and writing; what is written names its file
        return f"The system refused to read: {reason}"
    return f"{error.filename}: the system refused it: {reason}"
