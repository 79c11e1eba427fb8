"""Public names of a package that are imported when they are first asked for."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from importlib import import_module
from typing import Any

__all__ = ["late_names"]


def late_names(
    package: str, homes: Mapping[str, Sequence[str]]
) -> tuple[Callable[[str], Any], Callable[[], list[str]]]:
    """Make `__getattr__` and `__dir__` of a package (PEP 562) that starts quickly.

    Parameters
    ----------
    package : str
        Its ``__name__``.
    homes : mapping of str to sequence of str
        Public names by the module of the package that defines them.

    Examples
    --------
    >>> get, names = late_names("evenfall.passes", {"header": ["PassHeader"]})
    >>> get("PassHeader").__name__, names()
    ('PassHeader', ['PassHeader'])
    """
    home_of = {name: home for home, names in homes.items() for name in names}

    def get(name: str) -> Any:
        if name not in home_of:
            raise AttributeError(f"module {package!r} has no attribute {name!r}")
        return getattr(import_module(f"{package}.{home_of[name]}"), name)

    return get, lambda: sorted(home_of)
