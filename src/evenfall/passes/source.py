"""Where passes come from: files at full size, reduced ones, or passes kept in memory."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Protocol

from evenfall.light.primaries import RgbSpace
from evenfall.passes.header import PassHeader
from evenfall.passes.image import PassImage

__all__ = ["PassSource"]


class PassSource(Protocol):
    """The passes of one view, found, held against each other, and read when they are needed.

    Met by `PassLibrary`, `evenfall.develop.drafts.DraftPasses` and
    `evenfall.develop.kept.KeptPasses`.
    """

    @property
    def size(self) -> tuple[int, int]:
        """Width and height of every pass in pixels."""

    @property
    def pixel_aspect(self) -> float:
        """Width over height of a pixel, the same for all passes."""

    @property
    def headers(self) -> Mapping[str, PassHeader]:
        """By light, in the recipe's order; without those that cannot be opened."""

    @property
    def sources(self) -> Mapping[str, tuple[PassHeader, ...]]:
        """By light: every picture that adds up to its pass."""

    @property
    def space(self) -> RgbSpace:
        """Primaries and white of the passes."""

    @property
    def luminance_scale(self) -> float | None:
        """cd/m2 of a pixel of luminance 1, when it is known."""

    def batches(self, lights: Iterable[str]) -> list[tuple[str, ...]]:
        """Group lights that are decoded together."""

    def bands(self, lights: Iterable[str], *, multiple: int = 1) -> list[slice]:
        """Cut the view into bands of rows, from the top down, that begin at multiples of a number.

        There is one band of all rows where passes are best read as a whole.
        """

    def read(self, batch: tuple[str, ...], rows: slice | None = None) -> Mapping[str, PassImage]:
        """Read one of `batches`, or one of `bands` of it; called from several threads at once.

        Raises
        ------
        PassError
            When a pass cannot be read.
        """
