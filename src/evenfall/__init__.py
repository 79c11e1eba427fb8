"""evenfall: day, dusk and night from one set of scene-linear light passes, without re-rendering."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from evenfall.late import late_names

if TYPE_CHECKING:
    from evenfall.produce import run
    from evenfall.recipe import Recipe, load

    __version__: str

__all__ = ["Recipe", "__version__", "load", "run"]

_late, _ = late_names(__name__, {"recipe": ("Recipe", "load"), "produce": ("run",)})


def __getattr__(name: str) -> Any:
    if name == "__version__":
        from importlib.metadata import version

        return version("evenfall")
    return _late(name)


def __dir__() -> list[str]:
    return sorted(__all__)
