"""Passes averaged down for measuring.

The meter, ratios and neutral spots look at the view averaged down to 640 pixels of width, so that
a draft is exposed like the full picture and single bright pixels weigh little. Averaging commutes
with the mix; so passes are reduced as they go by, and each is read once.
"""

from __future__ import annotations

import threading
from collections.abc import Iterable, Sequence

import numpy as np
import numpy.typing as npt

from evenfall.develop.reduced import averaged, reduced_size
from evenfall.mix.balance import Balance
from evenfall.mix.engine import PassRead
from evenfall.passes.image import PassImage
from evenfall.system.opened import Opened, note_opened

__all__ = ["GRID_WIDTH", "Grid"]

Floats = npt.NDArray[np.float32]
GRID_WIDTH = 640


class Grid:
    """Measured passes, averaged down; whoever uses one is taken to have opened its files.

    Parameters
    ----------
    size : tuple of int
        Width and height of the passes.
    """

    def __init__(self, size: tuple[int, int]) -> None:
        self._height = size[1]
        self.size = reduced_size(size, GRID_WIDTH)
        self.watched: frozenset[str] = frozenset()
        self._planes: dict[str, Floats] = {}
        self._alphas: dict[str, Floats] = {}
        self._opened: dict[str, tuple[Opened, ...]] = {}
        self._lock = threading.Lock()

    def sharing(self) -> Grid:
        """Give a grid that has seen, and will see, the same: of passes that do not change."""
        other = Grid((0, self._height))
        other.size, other._lock = self.size, self._lock
        other._planes, other._alphas, other._opened = self._planes, self._alphas, self._opened
        return other

    def watch(self, lights: Iterable[str]) -> None:
        """Say which lights are measured from now on; others are let go by."""
        self.watched = frozenset(lights)

    @property
    def missing(self) -> frozenset[str]:
        """Lights that are to be measured and have not been seen."""
        return self.watched - self._planes.keys()

    def __contains__(self, light: str) -> bool:
        return light in self._planes

    def see(self, event: PassRead) -> None:
        """Take note of passes that were read; may be called from several threads."""
        for light in self.missing.intersection(event.lights):
            image = event.images[light]
            small = averaged(image, self.size)
            planes, alpha = np.stack(small.planes), small.alpha
            with self._lock:
                self._planes[light] = planes
                self._opened[light] = image.opened
                if alpha is not None:
                    self._alphas[light] = alpha

    @property
    def rows_behind(self) -> int:
        """Rows of a pass behind one row here; 1 where they do not divide evenly."""
        rows, odd = divmod(self._height, self.size[1])
        return 1 if odd else rows

    def lowered(self, image: PassImage) -> PassImage:
        """Bring a band of rows down to what is kept of it.

        A band must be a multiple of `rows_behind`. It stays as it is where rows do not divide
        evenly: only the whole picture can then be brought down.
        """
        rows = self.rows_behind
        if rows == 1:
            return image
        size = self.size[0], len(image.planes[0]) // rows
        return averaged(image, size)

    def planes(self, light: str) -> Floats:
        """Give the averaged pass of a light, shape (3, h, w), in the passes' primaries and units.

        Raises
        ------
        KeyError
            When it has not been seen.
        """
        planes = self._planes[light]
        note_opened(*self._opened[light])
        return planes

    def total(self, balance: Balance, lights: Sequence[str]) -> Floats:
        """Sum of lights under a balance; shape (3, h, w)."""
        width, height = self.size
        total = np.zeros((3, height, width), np.float32)
        for light in lights:
            factors = np.asarray(balance.lights[light].factors, np.float32)
            total += self.planes(light) * factors[:, None, None]
        return total

    def alpha(self, lights: Sequence[str]) -> Floats | None:
        """Alpha of the first of these lights that has one."""
        return next((self._alphas[light] for light in lights if light in self._alphas), None)
