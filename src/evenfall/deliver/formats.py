"""The module of every format, and the displays that a format is finished for."""

from __future__ import annotations

from typing import NamedTuple, assert_never

from evenfall.deliver.finished import Codec
from evenfall.light.units import REFERENCE_WHITE_NITS
from evenfall.recipe.deliverables import Deliverable
from evenfall.recipe.formats import FormatName, Shows

__all__ = ["Display", "codec", "displays"]


class Display(NamedTuple):
    """A kind of display: its output space, and its peak over diffuse white."""

    space: str
    peak: float = 1.0


def codec(name: FormatName) -> Codec:
    """Return the module of a format; it is imported when it is first asked for.

    Examples
    --------
    >>> codec("png").__name__
    'evenfall.deliver.png'
    """
    module: Codec
    match name:
        case "png":
            from evenfall.deliver import png

            module = png
        case "jpeg":
            from evenfall.deliver import jpeg

            module = jpeg
        case "tiff":
            from evenfall.deliver import tiff

            module = tiff
        case "exr":
            from evenfall.deliver import exr

            module = exr
        case "layered exr":
            from evenfall.deliver import layered_exr

            module = layered_exr
        case "avif":
            from evenfall.deliver import avif

            module = avif
        case "gain-map jpeg":
            from evenfall.deliver import gain_map

            module = gain_map
        case "webp":
            from evenfall.deliver import webp

            module = webp
        case "film" | "hdr film" | "moving avif" | "moving webp":
            from evenfall.deliver import film

            module = film
        case _:
            assert_never(name)
    return module


def displays(deliverable: Deliverable) -> dict[Shows, Display]:
    """Return the display that each rendition in a file is finished for; the mix needs none.

    Examples
    --------
    >>> displays(Deliverable(format="png"))
    {'display': Display(space='sRGB', peak=1.0)}
    """
    found: dict[Shows, Display] = {}
    for shows in deliverable.row.shows:
        if shows == "display":
            found[shows] = Display(deliverable.row.display_space or deliverable.space)
        elif shows == "hdr":
            gamut = deliverable.row.hdr_gamut or deliverable.space
            found[shows] = Display(gamut, deliverable.peak_nits / REFERENCE_WHITE_NITS)
    return found
