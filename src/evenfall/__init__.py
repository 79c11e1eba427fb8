"""evenfall: day, dusk and night from one set of scene-linear light passes, without re-rendering."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from evenfall.recipe import Recipe, load
    from evenfall.run import develop, mix, run

    __version__: str

__all__ = ["Recipe", "__version__", "develop", "load", "mix", "run"]

_HOMES = {
    "Recipe": "evenfall.recipe",
    "load": "evenfall.recipe",
    "mix": "evenfall.run",
    "develop": "evenfall.run",
    "run": "evenfall.run",
}


def __getattr__(name: str) -> Any:
    if name == "__version__":
        from importlib.metadata import version

        return version("evenfall")
    if name in _HOMES:
        return getattr(import_module(_HOMES[name]), name)
    raise AttributeError(f"module 'evenfall' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)
