"""Reading passes: one door for every kind of file."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path

from evenfall.passes.contents import Contents
from evenfall.passes.files import PassFile, open_pass
from evenfall.passes.fingerprint import fingerprint_held
from evenfall.passes.finite import NonFiniteRule, count_and_replace
from evenfall.passes.header import PassHeader, Selector
from evenfall.passes.image import PassImage, StoredPicture
from evenfall.passes.kinds import kind_of
from evenfall.passes.openexr.exr import contents_exr, inspect_exr, read_exr

__all__ = ["inspect", "list_contents", "read"]


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
        return _inspect_stored(file)


def list_contents(path: str | os.PathLike[str]) -> Contents:
    """List everything that a file holds: pictures, and channels that make none.

    Parameters
    ----------
    path : path-like

    Raises
    ------
    PassError
        As `inspect`; but a file that holds no picture is listed, not refused.
    """
    with open_pass(Path(path)) as file:
        if kind_of(file) == "exr":
            return contents_exr(file)
        return Contents(tuple(_inspect_stored(file)))


def read(
    path: str | os.PathLike[str],
    selectors: Sequence[Selector] = (Selector(),),
    *,
    non_finite: NonFiniteRule = "black",
    threads: int = 1,
    rows: slice | None = None,
    fingerprint: bool = False,
) -> list[PassImage]:
    """Read pictures of a file, or some rows of them; what they share is decoded once.

    Parameters
    ----------
    path : path-like
    selectors : sequence of Selector
        Which pictures; by default the only one of the file.
    non_finite : {"black", "neighbours"}
        What replaces NaN and Inf; see `evenfall.passes.finite.count_and_replace`.
    threads : int
        Threads that the decoder may use for this file.
    rows : slice, optional
        First row, and the one behind the last; only for pictures whose headers have `row_bytes`.
    fingerprint : bool
        Whether the file's fingerprint is found on the way, for `noted_fingerprint` to know; only
        where all rows are read.

    Returns
    -------
    list of PassImage
        In the order of the selectors.

    Raises
    ------
    PassError
        As `inspect`; and when a selector fits nothing, or pixels cannot be decoded.
    """
    with open_pass(Path(path), hold=fingerprint and rows is None) as file:
        fingerprint_held(file)
        stored = _read_stored(file, selectors, threads, rows)
    finished: dict[PassHeader, PassImage] = {}
    for picture in stored:  # two selectors may have chosen the same picture
        if picture.header not in finished:
            finished[picture.header] = _finish(picture, non_finite, rows.start if rows else 0)
    return [finished[picture.header] for picture in stored]


# Nearly all passes are OpenEXR; what reads the other kinds is imported when there is one.


def _inspect_stored(file: PassFile) -> list[PassHeader]:
    match kind_of(file):
        case "hdr":
            from evenfall.passes.formats.radiance import inspect_hdr

            return inspect_hdr(file)
        case "tiff":
            from evenfall.passes.formats.tiff import inspect_tiff

            return inspect_tiff(file)
        case "pfm":
            from evenfall.passes.formats.pfm import inspect_pfm

            return inspect_pfm(file)
        case _:
            return inspect_exr(file)


def _read_stored(
    file: PassFile, selectors: Sequence[Selector], threads: int, rows: slice | None
) -> list[StoredPicture]:
    match kind_of(file):
        case "hdr":
            from evenfall.passes.formats.radiance import read_hdr

            return read_hdr(file, selectors)
        case "tiff":
            from evenfall.passes.formats.tiff import read_tiff

            return read_tiff(file, selectors)
        case "pfm":
            from evenfall.passes.formats.pfm import read_pfm

            return read_pfm(file, selectors)
        case _:
            return read_exr(file, selectors, threads, rows)


def _finish(picture: StoredPicture, rule: NonFiniteRule, first_row: int) -> PassImage:
    red, green, blue = picture.planes
    planes = (red,) if green is red and blue is red else picture.planes
    census = count_and_replace(planes, picture.alpha, rule)
    return PassImage(picture.header, picture.planes, picture.alpha, census.lowered(first_row))
