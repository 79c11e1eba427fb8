"""A pass in memory: three planes of light, alpha, and a count of what was wrong with it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from evenfall.passes.faults import refused
from evenfall.passes.header import PassHeader
from evenfall.system.opened import Opened

__all__ = [
    "HUGE",
    "Array",
    "Brightest",
    "PassImage",
    "PixelCensus",
    "StoredPicture",
    "added_up",
    "join_rows",
]

Array = npt.NDArray[Any]

HUGE = 1e12
"""No light is so bright in any usual unit: the sun's disc has 1.6e9 cd/m2."""


@dataclass(frozen=True)
class Brightest:
    """A pixel whose value cannot be light: its column and row in the picture, and the value."""

    column: int
    row: int
    value: float

    def __str__(self) -> str:
        return f"{self.value:.3g} at {self.column}, {self.row}"


@dataclass(frozen=True)
class PixelCensus:
    """How many pixels of a pass were out of order.

    Parameters
    ----------
    nan, infinite : int
        Pixels with a NaN or an infinity in R, G or B as stored.
    negative : int
        Pixels with a value below 0; kept as they are.
    overflow : int
        Pixels of half floats at the largest value (65,504 or beyond): probably clipped when stored.
    replaced : int
        Pixels that were mended because they held NaN or Inf.
    alpha : int
        Pixels whose alpha was NaN or infinite; it was mended, and their colour kept.
    huge : int
        Pixels with a finite value beyond `HUGE`, or below its negative; kept as they are.
    brightest : Brightest or None
        The farthest of those from 0.
    """

    nan: int = 0
    infinite: int = 0
    negative: int = 0
    overflow: int = 0
    replaced: int = 0
    alpha: int = 0
    huge: int = 0
    brightest: Brightest | None = None

    def __add__(self, other: PixelCensus) -> PixelCensus:
        """Count of two parts of a picture together."""
        counts = {
            name: getattr(self, name) + getattr(other, name)
            for name in ("nan", "infinite", "negative", "overflow", "replaced", "alpha", "huge")
        }
        brightest = [each.brightest for each in (self, other) if each.brightest]
        farthest = max(brightest, key=lambda each: abs(each.value), default=None)
        return PixelCensus(**counts, brightest=farthest)

    def lowered(self, rows: int) -> PixelCensus:
        """Say the same of a part of a picture that begins so many rows below its top."""
        if self.brightest is None:
            return self
        return replace(self, brightest=replace(self.brightest, row=self.brightest.row + rows))

    @classmethod
    def of(cls, facts: Mapping[str, Any]) -> PixelCensus:
        """Make a census of what `dataclasses.asdict` made of one."""
        brightest = facts["brightest"]
        return cls(**{**facts, "brightest": brightest and Brightest(**brightest)})


@dataclass(frozen=True, eq=False)
class StoredPicture:
    """Planes as a file holds them, placed, before they are counted and mended.

    Parameters
    ----------
    header : PassHeader
    planes : tuple of 3 ndarray
        R, G, B, each of shape (H, W), C-contiguous, all float16 or all float32; grey is one array
        three times.
    alpha : ndarray or None
        Shape (H, W), float16 or float32.
    """

    header: PassHeader
    planes: tuple[Array, Array, Array]
    alpha: Array | None


@dataclass(frozen=True, eq=False)
class PassImage:
    """Scene-linear pixels of one pass, placed in its display window.

    Parameters
    ----------
    header : PassHeader
        What the file said.
    planes : tuple of 3 ndarray
        R, G, B, each of shape (H, W), C-contiguous, float16 or float32, finite. Grey passes
        have the same array three times. Outside the data window they are 0.
    alpha : ndarray or None
        Shape (H, W), float16 or float32, finite; 0 outside the data window.
    census : PixelCensus
        Counted before anything was replaced.
    opened : tuple of Opened
        Files that were read for it.
    """

    header: PassHeader
    planes: tuple[Array, Array, Array]
    alpha: Array | None
    census: PixelCensus
    opened: tuple[Opened, ...] = ()

    def rgb(self) -> npt.NDArray[np.float32]:
        """Return scene-linear RGB as float32 of shape (H, W, 3)."""
        return np.stack([plane.astype(np.float32) for plane in self.planes], axis=-1)

    def without_huge(self) -> PassImage:
        """Return the picture with pixels beyond `HUGE` black; one would outweigh all others."""
        if not self.census.huge:
            return self
        is_huge = np.logical_or.reduce([np.abs(plane) > HUGE for plane in self.planes])
        red, green, blue = (np.where(is_huge, plane.dtype.type(0), plane) for plane in self.planes)
        return replace(self, planes=(red, green, blue))


def join_rows(bands: Sequence[PassImage]) -> PassImage:
    """Put a pass together from bands of rows, from the top down."""
    planes = [np.concatenate(some) for some in zip(*(band.planes for band in bands), strict=True)]
    alphas = [band.alpha for band in bands if band.alpha is not None]
    return PassImage(
        bands[0].header,
        (planes[0], planes[1], planes[2]),
        np.concatenate(alphas) if alphas else None,
        sum((band.census for band in bands), PixelCensus()),
        tuple(dict.fromkeys(opened for band in bands for opened in band.opened)),
    )


def added_up(images: Sequence[PassImage], weights: Sequence[float] = ()) -> PassImage:
    """Put a light together from pictures that add up to it, such as direct and indirect light.

    Parameters
    ----------
    images : sequence of PassImage
        The pictures.
    weights : sequence of float
        How much of each counts; all of it where none are given.

    Returns
    -------
    PassImage
        float32 where there are several, with the header of the first, the alpha of the first that
        has one, and the census of all.

    Raises
    ------
    PassError
        When a sum leaves the range of float32.
    """
    first, *others = images
    if not others:
        return first
    planes = [plane.astype(np.float32) for plane in first.planes]
    factors = np.asarray(weights or [1.0] * len(images), np.float32)
    try:
        with np.errstate(over="raise"):
            if factors[0] != 1:
                planes = [plane * factors[0] for plane in planes]
            for other, factor in zip(others, factors[1:], strict=True):
                for total, plane in zip(planes, other.planes, strict=True):
                    np.add(total, plane if factor == 1 else plane * factor, out=total)
    except FloatingPointError:
        raise refused(
            first.header.path,
            "the pictures of this light add up to more than single precision holds (3.4e38)",
            hint="look for absurd pixel values in them",
        ) from None
    return PassImage(
        first.header,
        (planes[0], planes[1], planes[2]),
        next((image.alpha for image in images if image.alpha is not None), None),
        sum((image.census for image in images), PixelCensus()),
    )
