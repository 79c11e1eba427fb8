"""Reading passes: one door for every kind of file."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path

from evenfall.passes.exr import StoredPicture, inspect_exr, read_exr
from evenfall.passes.files import open_pass
from evenfall.passes.finite import NonFiniteRule, count_and_replace
from evenfall.passes.header import PassHeader, Selector
from evenfall.passes.image import PassImage

__all__ = ["inspect", "read"]


def inspect(path: str | os.PathLike[str]) -> list[PassHeader]:
    """List the pictures of a file: every layer, part and view that could be a light.

    Headers, chunk tables and the presence of every chunk are checked; no pixel is decoded.

    Parameters
    ----------
    path : path-like

    Returns
    -------
    list of PassHeader
        In the file's order, the first view and the unnamed layer of a part first.

    Raises
    ------
    PassError
        When the file is missing, damaged, cut, too large to believe, or no scene-linear picture.
    """
    with open_pass(Path(path)) as file:
        return inspect_exr(file)


def read(
    path: str | os.PathLike[str],
    selectors: Sequence[Selector] = (Selector(),),
    *,
    non_finite: NonFiniteRule = "black",
    threads: int = 1,
) -> list[PassImage]:
    """Read pictures of a file; what they share is decoded once.

    Parameters
    ----------
    path : path-like
    selectors : sequence of Selector
        Which pictures; by default the only one of the file.
    non_finite : {"black", "neighbours"}
        What replaces NaN and Inf; see `evenfall.passes.finite.count_and_replace`.
    threads : int
        Threads that the decoder may use for this file.

    Returns
    -------
    list of PassImage
        In the order of the selectors.

    Raises
    ------
    PassError
        As `inspect`; and when a selector fits nothing, or pixels cannot be decoded.
    """
    with open_pass(Path(path)) as file:
        stored = read_exr(file, selectors, threads)
    return [_finish(picture, non_finite) for picture in stored]


def _finish(picture: StoredPicture, rule: NonFiniteRule) -> PassImage:
    red, green, blue = picture.planes
    planes = (red,) if green is red and blue is red else picture.planes
    census = count_and_replace(planes, picture.alpha, rule)
    return PassImage(picture.header, picture.planes, picture.alpha, census)
