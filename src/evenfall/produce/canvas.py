"""One mood on one kind of display, filled strip by strip."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from evenfall.deliver.quantise import quantise
from evenfall.develop.developed import Scene
from evenfall.look.chain import LookChain
from evenfall.mix.averaging import area_mean, narrowed
from evenfall.system.scratch import buffer

__all__ = ["STRIP_ROWS", "Canvas"]

Floats = npt.NDArray[np.float32]
STRIP_ROWS = 12
"""Strips begin at multiples of it, so that small pictures can average 2, 3, 4, 6 or 12 rows."""


class Canvas:
    """What one kind of display of a mood is to give, filled strip by strip.

    Parameters
    ----------
    chain : LookChain
        From the mix to display light.
    size : tuple of int
        Width and height.
    phase : int
        How many frames after the first it is.
    """

    def __init__(self, chain: LookChain, size: tuple[int, int], phase: int = 0) -> None:
        self.chain, self.phase = chain, phase
        self.size = size
        self.codes: dict[tuple[int, bool], npt.NDArray[Any]] = {}
        self.linear: Floats | None = None
        self._narrow: Floats | None = None
        self._thumbnail_size = (0, 0)
        self._lines = 1

    def want_codes(self, bits: int, *, dither: bool) -> None:
        """Ask for whole codes of the whole frame."""
        width, height = self.size
        dtype = np.uint8 if bits == 8 else np.uint16
        if (bits, dither) not in self.codes:
            self.codes[bits, dither] = np.empty((height, width, 3), dtype)

    def want_linear(self) -> None:
        """Ask for display-linear planes of the whole frame."""
        width, height = self.size
        if self.linear is None:
            self.linear = np.empty((3, height, width), np.float32)

    def want_thumbnail(self, size: tuple[int, int]) -> None:
        """Ask for a small picture, of this width and height."""
        self._thumbnail_size = size
        lines = self.size[1] // size[1]
        aligned = self.size[1] % size[1] == 0 and STRIP_ROWS % lines == 0
        self._lines = lines if aligned else 1  # averaged before they are narrowed
        self._narrow = np.empty((3, self.size[1] // self._lines, size[0]), np.float32)

    @property
    def is_encoded(self) -> bool:
        """Whether display-encoded values are made, of which pixels can be counted."""
        return bool(self.codes) or self._narrow is not None

    def fill(self, scene: Scene, rows: slice) -> Floats | None:
        """Finish some rows; gives them display-encoded, until this thread fills others."""
        encoded, linear = self._finished(scene, rows)
        if self.linear is not None:
            self.linear[:, rows] = linear
        if self._narrow is not None:
            assert linear is not None
            self._reduce(linear, rows, self._narrow)
        if encoded is None:
            return None
        for (bits, dither), codes in self.codes.items():
            quantise(
                encoded,
                8 if bits == 8 else 16,
                dither=dither,
                first_row=rows.start,
                phase=self.phase,
                out=codes[rows],
            )
        return encoded

    def _finished(self, scene: Scene, rows: slice) -> tuple[Floats | None, Floats | None]:
        """Give encoded and linear rows, as far as asked for; the look is worked out once."""
        chain, space = self.chain, self.chain.output
        wants_linear = self.linear is not None or self._narrow is not None
        shape = 3, rows.stop - rows.start, self.size[0]
        first, second = buffer("canvas", shape), buffer("canvas again", shape)
        if wants_linear and (chain.encodes_last or not self.is_encoded):
            linear = scene.linear_rows(chain, rows, out=first)
            return space.encode(linear, out=second) if self.is_encoded else None, linear
        encoded = scene.encode_rows(chain, rows, out=first)
        return encoded, space.decode(encoded, out=second) if wants_linear else None

    def _reduce(self, linear: Floats, rows: slice, narrow: Floats) -> None:
        """Average display-linear rows for the small picture."""
        height, width = linear.shape[1:]
        lines = self._lines
        low = linear
        if lines > 1:
            grouped = linear.reshape(3, height // lines, lines, width)
            low = grouped[:, :, 0] + grouped[:, :, 1]
            for line in range(2, lines):
                low += grouped[:, :, line]
            low *= np.float32(1 / lines)
        for channel in range(3):
            part = narrow[channel, rows.start // lines : rows.stop // lines]
            part[...] = narrowed(low[channel], self._thumbnail_size[0])

    def thumbnail(self) -> npt.NDArray[np.uint8] | None:
        """Give the small picture as codes, (h, w, 3); None if it was not asked for."""
        if self._narrow is None:
            return None
        linear = np.stack([area_mean(plane, self._thumbnail_size) for plane in self._narrow])
        encoded = self.chain.output.encode(linear, out=linear)
        return quantise(encoded, 8, dither=False).astype(np.uint8, copy=False)
