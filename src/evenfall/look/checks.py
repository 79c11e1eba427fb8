"""What is said of LUTs, CDLs, configs and views that cannot be used."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from pathlib import Path

from evenfall.errors import Fault, PixelSourceError
from evenfall.recipe.words.suggesting import closest, joined

__all__ = [
    "CDL_FILES",
    "CONFIG_FILES",
    "LUT_FILES",
    "Refuse",
    "absurd_correction",
    "no_built_in_config",
    "no_cdl",
    "no_config",
    "no_interchange",
    "no_lut",
    "no_numbers",
    "no_view",
    "not_in_config",
    "require_file",
    "unknown_correction",
    "unusable",
]

LUT_FILES = "expected a LUT file: .cube, or another that OpenColorIO reads"
CDL_FILES = "expected a .cc, .ccc or .cdl file with a CDL"
CONFIG_FILES = "expected an OpenColorIO config, or ocio://NAME for a built-in one"

Refuse = Callable[[Exception | str], PixelSourceError]
"""Makes the error of a file of the reason why it cannot be used."""

_LONGEST_REASON = 200
_FIRST_FORMAT = re.compile(r"'\w+' failed with: (?P<reason>.*?)(?: '\w+' failed with: |$)")
_FILE_NAMED_AGAIN = re.compile(
    r"^(Error parsing [^()]*\(.*?\)\. |Error: Loading the OCIO profile '.*?' failed\. )"
    r"(Error is: |yaml-cpp: error at )?"
)
_NO_TEXT = "it is no text"
_NO_FORMAT = "All formats have been tried"


def require_file(path: Path, allowed: str) -> None:
    """Raise PixelSourceError when there is no such file."""
    if not path.is_file():
        raise PixelSourceError(Fault(str(path), "", "there is no such file", allowed))


def unusable(
    path: str | Path,
    what: str,
    error: Exception | str,
    allowed: str = "",
    hint: str = "export it again, or name another",
) -> PixelSourceError:
    """Say that a file cannot be used, with the reason that OpenColorIO gives.

    Examples
    --------
    >>> reason = "Error parsing a .cube file (/looks/warm.cube).  LUT type unspecified."
    >>> print(unusable("warm.cube", "cannot be used as a LUT", ValueError(reason)))
    warm.cube: cannot be used as a LUT: LUT type unspecified; export it again, or name another
    """
    reason = _reason(error)
    found = f"{what}: {reason}" if reason else what
    return PixelSourceError(Fault(str(path), "", found, allowed, hint))


def no_lut(path: Path) -> Refuse:
    """Say that a file cannot be used as a LUT."""
    return lambda reason: unusable(path, "cannot be used as a LUT", reason, LUT_FILES)


def no_cdl(path: Path) -> Refuse:
    """Say that a file cannot be used as a CDL."""
    return lambda reason: unusable(path, "cannot be used as a CDL", reason, CDL_FILES)


def no_config(path: Path) -> Refuse:
    """Say that a file cannot be read as a config."""
    return lambda reason: unusable(path, "cannot be read as a config", reason, CONFIG_FILES)


def no_view(config: str) -> Refuse:
    """Say that a view of a config cannot be computed."""
    hint = "put the config right, or name another view"
    return lambda reason: unusable(config, "this view cannot be computed", reason, hint=hint)


def no_numbers(value: float) -> str:
    """Reason why something cannot be used that `probing.unsound_value` found unsound."""
    return f"it gives NaN or Inf for colours of values up to {value:g}"


def _reason(error: Exception | str) -> str:
    """Give what an error of OpenColorIO tells a person that is new to them."""
    if isinstance(error, UnicodeDecodeError):  # it quotes the file
        return _NO_TEXT
    said = " ".join(str(error).split())
    first = _FIRST_FORMAT.search(said)
    if first is not None:
        said = first["reason"]
    elif _NO_FORMAT in said:
        return "it is of no format that is known"
    said = _FILE_NAMED_AGAIN.sub("", said).removesuffix(" At line (0)").rstrip(". :")
    if not said.isprintable():
        return _NO_TEXT
    return said if len(said) <= _LONGEST_REASON else f"{said[: _LONGEST_REASON - 3]}..."


def unknown_correction(path: Path, identifier: str, known: Sequence[str]) -> Fault:
    """Fault of a CDL file that has no correction of an id."""
    return Fault(
        str(path),
        "look.grade.cdl.id",
        f'found "{identifier}"',
        f"the file has {_listed(known)}",
        _meant(identifier, known) or "leave id out for the first",
    )


def absurd_correction(value: float) -> Fault:
    """Fault of a CDL whose numbers make no numbers of values up to this one."""
    return Fault(
        "",
        "look.grade.cdl",
        no_numbers(value),
        "expected slope, offset, power and saturation around 1",
        "look for a misplaced point",
    )


def no_built_in_config(config: str, known: Sequence[str]) -> Fault:
    """Fault of a built-in config that does not exist."""
    return Fault(
        "",
        "look.view.config",
        f'there is no built-in config called "{config}"',
        f"known are {_listed(['ocio://default', *known])}",
        _meant(config, known) or 'write "ocio://default", or the path of a config file',
    )


def not_in_config(config: str, what: str, name: str, known: Sequence[str]) -> Fault:
    """Fault of a display, view or colour space that a config does not have."""
    return Fault(
        config,
        f"look.view.{what}",
        f'found "{name}"',
        f"the config has {_listed(known)}",
        _meant(name, known) or "write one of these",
    )


def no_interchange(config: str, role: str, spaces: Sequence[str]) -> Fault:
    """Fault of a config that does not say where it stands, when no source is named in it."""
    return Fault(
        config,
        "look.view",
        f"the config has no role {role}, so it does not say how it is related to other spaces",
        f"the config has the colour spaces {_listed(spaces)}",
        'name the passes\' colour space in it: source = "..."',
    )


def _listed(names: Sequence[str]) -> str:
    return joined((f'"{name}"' for name in names if name), "and") or "none"


def _meant(name: str, known: Sequence[str]) -> str:
    """Ask for the name that was probably meant: names of configs are full of signs and brackets.

    Examples
    --------
    >>> _meant("sRGB", ["Display P3 - Display", "sRGB - Display"])
    'did you mean "sRGB - Display"?'
    """
    plain = {_plain(each): each for each in known}
    begun = [each for each in plain if each.startswith(_plain(name))]
    found = begun[0] if len(begun) == 1 else closest(_plain(name), plain)
    return f'did you mean "{plain[found]}"?' if found else ""


def _plain(name: str) -> str:
    return re.sub(r"\W", "", name.casefold())
