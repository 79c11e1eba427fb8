"""Choosing one picture of a file that may hold many."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import NoReturn

from evenfall.passes.faults import refused
from evenfall.passes.header import PassHeader, Selector
from evenfall.recipe.words.suggesting import did_you_mean, joined

__all__ = ["select"]

_MOST_NAMES = 40


def select(path: Path, headers: Sequence[PassHeader], selector: Selector) -> int:
    """Return the place in `headers` of the picture that the selector names.

    Names are compared exactly first, then without regard to case. A layer that is not there is
    looked for among the parts, and a part among the layers, since one light a part and one light
    a layer mean the same. Without a view the first view of the file is taken; without a layer
    the unnamed one, or the only one.

    Raises
    ------
    PassError
        When nothing or more than one picture fits; the error lists the names that are there.
    """
    fitting = list(range(len(headers)))
    if selector.view is not None and any(header.view for header in headers):
        fitting = [n for n in fitting if headers[n].view == selector.view]
        if not fitting:
            _refuse(path, "view", selector.view, [header.view for header in headers])
    for wanted, own, other in (
        (selector.part, "part", "layer"),
        (selector.layer, "layer", "part"),
    ):
        if wanted is not None:
            fitting = _named(path, headers, fitting, wanted, own, other)
    if selector.view is None:
        first_view = headers[fitting[0]].view
        fitting = [n for n in fitting if headers[n].view == first_view]
    if selector.layer is None and len(fitting) > 1:
        fitting = [n for n in fitting if not headers[n].layer] or fitting
    if len(fitting) > 1:
        _refuse_ambiguous(path, [headers[n] for n in fitting])
    return fitting[0]


def _named(
    path: Path,
    headers: Sequence[PassHeader],
    fitting: list[int],
    wanted: str,
    own: str,
    other: str,
) -> list[int]:
    for kind in (own, other):
        for same in (str, str.casefold):
            found = [n for n in fitting if same(getattr(headers[n], kind)) == same(wanted)]
            if found:
                return found
    names = [getattr(headers[n], own) or getattr(headers[n], other) for n in fitting]
    _refuse(path, own, wanted, names)


def _refuse(path: Path, kind: str, wanted: str, names: Sequence[str]) -> NoReturn:
    there = list(dict.fromkeys(name for name in names if name))
    found = f"has no {kind} {wanted!r}"
    if not there:
        what = "its picture has" if len(names) == 1 else "its pictures have"
        raise refused(path, found, hint=f"{what} no name; leave {kind} out")
    named = joined(map(repr, there), "or", most=_MOST_NAMES)
    raise refused(path, found, named, did_you_mean(wanted, there))


def _refuse_ambiguous(path: Path, headers: Sequence[PassHeader]) -> NoReturn:
    key = "layer" if len({header.layer for header in headers}) > 1 else "part"
    names = joined(
        dict.fromkeys(repr(getattr(header, key)) for header in headers), "and", most=_MOST_NAMES
    )
    raise refused(
        path,
        f"holds {len(headers)} pictures, {key}s {names}",
        "one picture per light",
        f"say which with {key} = '...'",
    )
