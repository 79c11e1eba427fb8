"""Names of pass files as a recipe writes them: what stands for a frame and a camera.

``#`` stands for the digits of `passes.frame` and ``{view}`` for `passes.view`. A sign that belongs
to the name itself is written in brackets: ``lamp [#]2.exr`` is the file ``lamp #2.exr``, and a
space at either end is ``[ ]``.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Literal

__all__ = ["as_written", "asks_for", "filled_in", "parted"]

_PLACEHOLDER = re.compile(r"\[(?P<plain>[#{\[ ])\]|(?P<frame>#+)|(?P<view>\{view\})")
_SPECIAL = re.compile(r"#|\{(?=view\})|\[(?=[#{\[ ]\])|^ +| +$")


def filled_in(name: str, *, frame: int | None, view: str | None) -> str:
    """Fill frame number and camera into the name of a file; what is not known stays.

    Examples
    --------
    >>> filled_in("sun.####.exr", frame=12, view=None)
    'sun.0012.exr'
    >>> filled_in("{view}/lamp [#]2.exr", frame=12, view="kitchen")
    'kitchen/lamp #2.exr'
    """

    def fill(match: re.Match[str]) -> str:
        if match["plain"]:
            return match["plain"]
        if match["frame"]:
            return match[0] if frame is None else str(frame).zfill(len(match[0]))
        return match[0] if view is None else view

    return _PLACEHOLDER.sub(fill, name)


def parted(name: str, *, view: str | None) -> Iterator[str | None]:
    """Give the text of a file's name in parts, None where a frame number stands.

    Examples
    --------
    >>> list(parted("sun.####.exr", view=None))
    ['sun.', None, '.exr']
    """
    begun = 0
    for match in _PLACEHOLDER.finditer(name):
        yield name[begun : match.start()]
        yield None if match["frame"] else filled_in(match[0], frame=None, view=view)
        begun = match.end()
    yield name[begun:]


def asks_for(name: str, what: Literal["frame", "view"]) -> bool:
    """Whether the name of a file leaves room for a frame number or a camera.

    Examples
    --------
    >>> asks_for("sun.####.exr", "frame"), asks_for("lamp [#]2.exr", "frame")
    (True, False)
    """
    return any(match[what] for match in _PLACEHOLDER.finditer(name))


def as_written(name: str) -> str:
    """Write the name of a file so that it means that file, whatever signs are in it.

    Examples
    --------
    >>> as_written("lamp #2.exr"), as_written("{view}[#].exr"), as_written(" sun.exr")
    ('lamp [#]2.exr', '[{]view}[[][#]].exr', '[ ]sun.exr')
    """
    return _SPECIAL.sub(lambda found: "".join(f"[{sign}]" for sign in found[0]), name)
