"""What is worth keeping from one picture to the next: masks, plates, and the like."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from dataclasses import dataclass
from typing import Any, TypeVar

from evenfall.system.opened import Openings, Stamp, listening, note_opened

__all__ = ["Shelf"]

T = TypeVar("T")
_USUAL_BYTES = 512 << 20


@dataclass(frozen=True)
class _Kept:
    value: Any
    bytes: int
    openings: Openings

    @property
    def is_fresh(self) -> bool:
        """Whether the files behind it are still those that were read."""
        try:
            return all(Stamp.of(opened.path.stat()) == opened.stamp for opened in self.openings)
        except OSError:
            return False


class Shelf:
    """Keeps what was made, by key, up to a number of bytes; what was not used for longest goes.

    Something that was made from files is made anew when one of them has changed. Safe to use from
    threads; two that ask for the same at once may both make it.

    Parameters
    ----------
    limit_bytes : int
        Most that is kept; 0 keeps nothing.

    Examples
    --------
    >>> shelf = Shelf()
    >>> shelf.get("mask", lambda: print("reading") or b"abc", len)
    reading
    b'abc'
    >>> shelf.get("mask", lambda: b"other", len)
    b'abc'
    """

    def __init__(self, limit_bytes: int = _USUAL_BYTES) -> None:
        self._limit = limit_bytes
        self._kept: OrderedDict[Hashable, _Kept] = OrderedDict()
        self._bytes = 0
        self._lock = threading.Lock()

    def get(self, key: Hashable, make: Callable[[], T], bytes_of: Callable[[T], int]) -> T:
        """Give what is kept under a key, or make it.

        Parameters
        ----------
        key : hashable
            Everything that it depends on, but for the contents of files.
        make : callable
            Makes it.
        bytes_of : callable
            Says how much memory it takes.
        """
        with self._lock:
            kept = self._kept.get(key)
            if kept is not None:
                self._kept.move_to_end(key)
        if kept is not None and kept.is_fresh:
            note_opened(*kept.openings)
            value: T = kept.value
            return value
        with listening() as openings:
            value = make()
        self._put(key, _Kept(value, bytes_of(value), openings))
        return value

    def _put(self, key: Hashable, kept: _Kept) -> None:
        with self._lock:
            old = self._kept.pop(key, None)
            self._bytes -= 0 if old is None else old.bytes
            if kept.bytes > self._limit:
                return
            self._kept[key] = kept
            self._bytes += kept.bytes
            while self._bytes > self._limit:
                _, gone = self._kept.popitem(last=False)
                self._bytes -= gone.bytes
