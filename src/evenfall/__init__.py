"""evenfall: day, dusk and night from one set of scene-linear light passes, without re-rendering.

::

    import evenfall

    view = evenfall.open("view.toml")
    view.develop("dusk")           # in a notebook, shows itself
    view.run(out="pictures")
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from evenfall.late import late_names

if TYPE_CHECKING:
    from evenfall.recipe import Recipe, load
    from evenfall.view import View, plan_view, read_provenance, survey_folder
    from evenfall.view import open_view as open

    __version__: str

__all__ = [
    "Recipe",
    "View",
    "__version__",
    "load",
    "open",
    "plan_view",
    "read_provenance",
    "survey_folder",
]

_late, _ = late_names(
    __name__,
    {
        "recipe": ("Recipe", "load"),
        "view": ("View", "plan_view", "read_provenance", "survey_folder"),
    },
)


def __getattr__(name: str) -> Any:
    if name == "__version__":
        from importlib.metadata import version

        return version("evenfall")
    if name == "open":
        from evenfall.view import open_view

        return open_view
    return _late(name)


def __dir__() -> list[str]:
    return sorted(__all__)
