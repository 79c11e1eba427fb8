"""Work that is given up as soon as nobody wants it any more.

Whoever wants something says by what to tell that it is wanted still; what works on it asks now and
then. This is bound to the thread: what hands work to others takes the asking along.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar

__all__ = ["Overtaken", "going_on", "while_wanted"]

_Wish = Callable[[], bool]
_wish: ContextVar[_Wish | None] = ContextVar("wish", default=None)


class Overtaken(Exception):  # noqa: N818 -- nothing is wrong
    """What was being worked on is wanted no more."""


@contextmanager
def while_wanted(is_wanted: _Wish) -> Iterator[None]:
    """Give up what is worked on here when it is wanted no more.

    Parameters
    ----------
    is_wanted : callable
        Quick, and safe to call from any thread.

    Raises
    ------
    Overtaken
        When it is wanted no more.

    Examples
    --------
    >>> with while_wanted(lambda: False):
    ...     going_on()()
    Traceback (most recent call last):
    evenfall.system.overtaken.Overtaken
    """
    token = _wish.set(is_wanted)
    try:
        yield
    finally:
        _wish.reset(token)


def going_on() -> Callable[[], None]:
    """Give what work that takes long calls now and then, from any thread; it may raise `Overtaken`.

    Examples
    --------
    >>> go_on = going_on()
    >>> go_on()
    """
    is_wanted = _wish.get()
    if is_wanted is None:
        return _go_on

    def go_on() -> None:
        if not is_wanted():
            raise Overtaken

    return go_on


def _go_on() -> None:
    return
