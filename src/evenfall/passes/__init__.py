"""What the renderer wrote: finding, reading, proving and cleaning passes."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

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

_HOMES = {
    "header": ("PassHeader", "Selector"),
    "image": ("PassImage", "PixelCensus"),
    "library": ("PassLibrary",),
    "reading": ("inspect", "read"),
}


def __getattr__(name: str) -> Any:
    for home, names in _HOMES.items():
        if name in names:
            return getattr(import_module(f"evenfall.passes.{home}"), name)
    raise AttributeError(f"module 'evenfall.passes' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)
