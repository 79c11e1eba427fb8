"""Passes that are the same in all frames of many: read once, and kept as far as there is room."""

from __future__ import annotations

import threading
from collections.abc import Callable, Collection, Hashable
from dataclasses import dataclass, replace
from typing import Any, TypeVar

from evenfall.passes.header import PassHeader, Selector
from evenfall.system.opened import Once, Stamp

__all__ = ["PassPlace", "Standing"]

T = TypeVar("T")


@dataclass(frozen=True)
class PassPlace:
    """Where a picture of a light lies, and which file that was when its header was read.

    Parameters
    ----------
    header : PassHeader
        With how much of it counts.
    selector : Selector
        Which picture of the file.
    stamp : Stamp
        Of the file.
    stands : bool
        Whether it is the same in all frames.
    """

    header: PassHeader
    selector: Selector
    stamp: Stamp
    stands: bool

    @property
    def is_blended(self) -> bool:
        """Whether only a part of it counts, which is another from frame to frame."""
        return self.header.weight != 1

    @property
    def unweighted(self) -> PassPlace:
        """The same picture, whatever counts of it."""
        return replace(self, header=replace(self.header, weight=1.0))

    @property
    def decoded_bytes(self) -> int:
        """Memory that the picture takes."""
        header = self.header
        bytes_a_sample = 2 if header.pixel_type == "half" else 4
        return header.width * header.height * (3 + header.has_alpha) * bytes_a_sample


class Standing:
    """Keeps what was read, by key, for as long as it lives; safe to use from threads.

    What comes first is kept, and nothing goes again: frames ask for the same passes in the same
    order over and over, so that a store in which the oldest gives way would never have the next.
    Two threads that ask for the same read it once.

    Parameters
    ----------
    limit_bytes : int
        Most that is kept.

    Examples
    --------
    >>> standing = Standing(limit_bytes=4)
    >>> standing.get("sun", lambda: print("reading") or "abc", 3)
    reading
    'abc'
    >>> standing.get("sun", lambda: "other", 3)
    'abc'
    >>> standing.get("sky", lambda: "there is no room to keep it", 3)
    'there is no room to keep it'
    """

    def __init__(self, limit_bytes: int) -> None:
        self._limit = self._left = limit_bytes
        self._kept: dict[Hashable, Once[Any]] = {}
        self._lock = threading.Lock()

    def keeps(self, places: Collection[PassPlace]) -> bool:
        """Whether there is room for all pictures of a frame, and they are the same in others."""
        size_bytes = sum(place.decoded_bytes for place in places)
        return size_bytes <= self._limit and all(place.stands for place in places)

    def get(self, key: Hashable, read: Callable[[], T], size_bytes: int) -> T:
        """Give what is kept under a key, or read it.

        Parameters
        ----------
        key : hashable
            Everything that it depends on, the file's times of change included.
        read : callable
            Reads it; called once if there is room. What it raises is raised at every use.
        size_bytes : int
            How much memory it takes.
        """
        with self._lock:
            kept: Once[T] | None = self._kept.get(key)
            if kept is None and size_bytes <= self._left:
                self._left -= size_bytes
                kept = self._kept[key] = Once(read)
        return read() if kept is None else kept.get()
