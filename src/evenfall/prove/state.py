"""A beauty and its passes while faults are undone, as blocks, and the faults themselves."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import cache, cached_property
from typing import Literal

import numpy as np
import numpy.typing as npt

from evenfall.light.primaries import RgbSpace
from evenfall.prove.blocks import BlockPicture, Float
from evenfall.prove.fit import BlockSet, Judge, saturated_residual
from evenfall.prove.measure import Measured
from evenfall.prove.shift import Slopes

__all__ = ["Fault", "Kind", "Mask", "Picture", "Scene", "Seen", "State", "Subject", "Trial", "What"]

Mask = npt.NDArray[np.bool_]
Subject = Literal["pass", "passes", "beauty"]
Kind = Literal[
    "gain", "off", "twin", "colour", "primaries", "curve", "some curve", "clamp", "shift",
    "alpha twice", "alpha never", "vignette", "glare", "background missing", "background repeated",
]  # fmt: skip

What = tuple[Kind, Subject, int | None, str]
"""Kind, subject, light and name of a fault."""

_CHECKER, _STRIPES, _ACROSS, _DOWN = 0, slice(1, 3), 3, 4


@dataclass(frozen=True)
class Fault:
    """One thing that may be wrong, and that was undone.

    Parameters
    ----------
    kind : str
        What.
    subject : str
        A pass, all passes, or the beauty.
    light : int or None
        Which pass.
    numbers : tuple of float
        Factor, factors a channel, pixels right and down.
    name : str
        Of a curve or a colour space.
    twin : int or None
        The pass that shows the same light.
    """

    kind: Kind
    subject: Subject
    light: int | None = None
    numbers: tuple[float, ...] = ()
    name: str = ""
    twin: int | None = None

    @property
    def place(self) -> tuple[Subject, int | None]:
        """The picture it speaks of."""
        return self.subject, self.light

    @property
    def what(self) -> What:
        """What it is, whatever its numbers."""
        return self.kind, self.subject, self.light, self.name


class Picture:
    """Means of blocks, and the differences within them, worked out when they are asked for.

    Parameters
    ----------
    means : ndarray
        Shape (3, rows, columns).
    details : callable
        Gives checker and stripes and the slopes across and down, shape (5, 3, rows, columns).
    undone : tuple of str or None
        What was undone on the pixels that the blocks were made of; None if the blocks were
        changed since.
    """

    def __init__(
        self, means: Float, details: Callable[[], Float], undone: tuple[str, ...] | None = None
    ) -> None:
        self.means = means
        self.undone = undone
        self.lazy_details = cache(details)
        self._known: dict[str, Picture] = {}

    @classmethod
    def of(cls, blocks: BlockPicture, slopes: Slopes, undone: tuple[str, ...] = ()) -> Picture:
        """Take blocks and slopes as they were measured."""
        stripes = np.zeros((2, *blocks.means.shape)) if blocks.stripes is None else blocks.stripes
        details = np.stack([blocks.checker, *stripes, slopes.across, slopes.down])
        return cls(blocks.means, lambda: details, undone)

    @property
    def details(self) -> Float:
        """Differences within blocks, shape (5, 3, rows, columns)."""
        return self.lazy_details()

    def known(self, name: str, make: Callable[[], Picture]) -> Picture:
        """Give what was made of it before, by name; it must not hold this picture itself."""
        if name not in self._known:
            self._known[name] = make()
        return self._known[name]

    @property
    def blocks(self) -> BlockPicture:
        """Means and the differences that tell grain."""
        return BlockPicture(self.means, self.details[_CHECKER], self.details[_STRIPES])

    @property
    def slopes(self) -> Slopes:
        """Mean change a pixel across and down."""
        return Slopes(self.details[_ACROSS], self.details[_DOWN])

    def scaled(self, factors: float | Float) -> Picture:
        """Multiply by a factor, one a channel (3, 1, 1), or one a block (rows, columns)."""
        return Picture(factors * self.means, lambda: factors * self.details)

    def mixed(self, matrix: Float) -> Picture:
        """Mix the channels by a matrix of shape (3, 3)."""
        return Picture(
            np.tensordot(matrix, self.means, 1),
            lambda: np.asarray(np.einsum("ij,kjrc->kirc", matrix, self.details)),
        )

    def with_means(self, means: Float) -> Picture:
        """Other means, and the differences as they are."""
        return Picture(means, lambda: self.details)


Seen = tuple[int | None, tuple[str, ...]]
"""A pass, or None for the beauty, and what was undone on its pixels, in this order."""


@dataclass(frozen=True, eq=False)
class Scene:
    """What trials need to know of a set besides its blocks.

    Parameters
    ----------
    space : RgbSpace
        Primaries of the pictures.
    topped : tuple of ndarray
        Blocks at a flat top, one mask (3, rows, columns) a pass; the beauty's last.
    background_missing, background_repeated : ndarray
        Masks of shape (rows, columns).
    twins : mapping of int to int
        Passes that show the same light as an earlier one.
    seams : set of int
        Passes whose alpha has half covered places.
    looked_at : mapping
        Pictures by pass and by what was undone on their pixels.
    """

    space: RgbSpace
    topped: tuple[Mask, ...]
    background_missing: Mask
    background_repeated: Mask
    twins: Mapping[int, int]
    seams: frozenset[int]
    looked_at: Mapping[Seen, Picture]


@dataclass(frozen=True, eq=False)
class State:
    """A beauty and its passes, with some faults undone; `keep` has shape (3, rows, columns)."""

    beauty: Picture
    passes: tuple[Picture, ...]
    keep: Mask

    @classmethod
    def of(cls, beauty: Measured, passes: tuple[Measured, ...]) -> State:
        """Take pictures as they were measured."""
        return cls(
            Picture.of(beauty.blocks, beauty.slopes),
            tuple(Picture.of(each.blocks, each.slopes) for each in passes),
            np.ones(beauty.topped.shape, dtype=bool),
        )

    @cached_property
    def residual(self) -> Float:
        """Beauty less the sum of the passes."""
        left = self.beauty.means.copy()
        for each in self.passes:
            left -= each.means
        return left

    def with_pass(self, index: int, picture: Picture) -> State:
        """Exchange one pass."""
        return replace(self, passes=(*self.passes[:index], picture, *self.passes[index + 1 :]))

    def with_beauty(self, picture: Picture) -> State:
        """Exchange the beauty."""
        return replace(self, beauty=picture)

    def without(self, mask: Mask) -> State:
        """Leave blocks out."""
        return replace(self, keep=self.keep & ~mask)

    def block_set(self, names: tuple[str, ...]) -> BlockSet:
        """As a judge takes it."""
        return BlockSet(
            names, self.beauty.blocks, tuple(each.blocks for each in self.passes), self.keep
        )

    @cached_property
    def judge(self) -> Judge:
        """Noise of this state by itself."""
        blocks = self.block_set(tuple(str(i) for i in range(len(self.passes))))
        return Judge(blocks, saturated_residual(blocks, ()))


@dataclass(frozen=True, eq=False)
class Trial:
    """Faults that go together, and what is left when they are undone."""

    faults: tuple[Fault, ...]
    state: State
