"""What the renderer wrote: finding, reading, proving and cleaning passes."""

from __future__ import annotations

from typing import TYPE_CHECKING

from evenfall.late import late_names

if TYPE_CHECKING:
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

__getattr__, __dir__ = late_names(
    __name__,
    {
        "header": ("PassHeader", "Selector"),
        "image": ("PassImage", "PixelCensus"),
        "library": ("PassLibrary",),
        "reading": ("inspect", "read"),
    },
)
