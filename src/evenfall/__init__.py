"""evenfall: day, dusk and night from one set of scene-linear light passes, without re-rendering."""

from __future__ import annotations

import sys
from types import ModuleType
from typing import TYPE_CHECKING, Any

from evenfall.late import late_names

if TYPE_CHECKING:
    from evenfall.recipe import Recipe, load
    from evenfall.run import develop, mix, run

    __version__: str

__all__ = ["Recipe", "__version__", "develop", "load", "mix", "run"]

_late, _ = late_names(__name__, {"recipe": ("Recipe", "load"), "run": ("develop", "mix", "run")})


def __getattr__(name: str) -> Any:
    if name == "__version__":
        from importlib.metadata import version

        return version("evenfall")
    return _late(name)


def __dir__() -> list[str]:
    return sorted(__all__)


class _Package(ModuleType):
    """Lets the functions `mix` and `run` stand before the subpackages of the same names.

    Importing a subpackage binds its name here; the setters let that pass. Import from
    subpackages by `from evenfall.mix.engine import ...`.
    """

    @property
    def mix(self) -> Any:
        return __getattr__("mix")

    @mix.setter
    def mix(self, subpackage: ModuleType) -> None:
        pass

    @property
    def run(self) -> Any:
        return __getattr__("run")

    @run.setter
    def run(self, subpackage: ModuleType) -> None:
        pass


sys.modules[__name__].__class__ = _Package
