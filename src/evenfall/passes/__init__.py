"""What the renderer wrote: finding, reading, proving and cleaning passes."""

from __future__ import annotations

from evenfall.passes.header import PassHeader, Selector
from evenfall.passes.image import PassImage, PixelCensus
from evenfall.passes.library import PassLibrary
from evenfall.passes.reading import inspect, read

__all__ = [
    "PassHeader",
    "PassImage",
    "PassLibrary",
    "PixelCensus",
    "Selector",
    "inspect",
    "read",
]
