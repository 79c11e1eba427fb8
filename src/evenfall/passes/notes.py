"""What a person should know about passes that can be read, from what their headers say."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence

from evenfall.passes.header import PassHeader

__all__ = ["notes_on"]

_SEEN = 1e-4  # of a pixel aspect: less than a pixel of the largest pictures


def notes_on(sources: Mapping[str, Sequence[PassHeader]]) -> list[str]:
    """Say what is odd about passes, each by itself and against the others.

    Parameters
    ----------
    sources : mapping of str to sequence of PassHeader
        By light the pictures it is made of, from the inspection of their files.

    Returns
    -------
    list of str
        One note a line; empty for passes as they should be.
    """
    named = [
        (light if len(headers) == 1 else f"{light}: {header.label}", header)
        for light, headers in sources.items()
        for header in headers
    ]
    own = [f"{name}: {note}" for name, header in named for note in header.notes]
    return [*own, *_origins(named), *_aspect(named[0][1].pixel_aspect)]


def _aspect(aspect: float) -> list[str]:
    """Say so when pixels are not square; all passes of a recipe have the same."""
    if abs(aspect - 1) < _SEEN:
        return []
    return [
        f"pixels are {aspect:.4g} times as wide as high: pictures are made with square ones, exr "
        "files keep them, and figures of areas count them as they are"
    ]


def _origins(named: Sequence[tuple[str, PassHeader]]) -> list[str]:
    """Say which pictures begin elsewhere than most: they are laid over each other all the same."""
    origins = [(name, header.display_window[:2]) for name, header in named]
    ((usual, _),) = Counter(origin for _, origin in origins).most_common(1)
    return [
        f"{name}: its picture begins at {origin[0]}, {origin[1]}, that of most passes at "
        f"{usual[0]}, {usual[1]}; they are laid corner to corner"
        for name, origin in origins
        if origin != usual
    ]
