"""What a format may ask of a finished picture, and what it gives back."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Protocol

import numpy as np
import numpy.typing as npt

from evenfall.deliver.png_pixels import Each
from evenfall.deliver.provenance import Provenance
from evenfall.recipe.deliverables import Deliverable

__all__ = ["Codec", "Codes", "Encoded", "Finished", "Layers", "SceneLinear"]

Planes = npt.NDArray[np.float32]
Codes = npt.NDArray[np.uint8] | npt.NDArray[np.uint16]


@dataclass(frozen=True)
class SceneLinear:
    """The mix of a deliverable's frame, before the look.

    Parameters
    ----------
    planes : ndarray
        Shape (3, H, W), float32, any value.
    alpha : ndarray or None
        Shape (H, W); colour is premultiplied by it.
    chromaticities : tuple of 8 floats
        xy of red, green, blue, white.
    white_luminance : float or None
        cd/m2 of (1, 1, 1), if known.
    pixel_aspect : float
        Width over height of a pixel.
    """

    planes: Planes
    alpha: Planes | None
    chromaticities: tuple[float, ...]
    white_luminance: float | None
    pixel_aspect: float = 1.0


@dataclass(frozen=True)
class Layers:
    """The lights of a mix apart, at the same size and state as the mix that they add up to.

    Parameters
    ----------
    lights : iterator of (str, ndarray)
        Name and planes of every light that is on, (3, H, W), float32; made one after the other,
        so that no more than one need be held.
    ids : ndarray or None
        Object numbers, shape (H, W), uint32.
    left_out : str
        What the mood's picture shows that is in no layer, in words; empty: nothing.
    """

    lights: Iterator[tuple[str, Planes]]
    ids: npt.NDArray[np.uint32] | None = None
    left_out: str = ""


class Finished(Protocol):
    """One mood, finished for one deliverable and brought to its size.

    A format asks for what its row in `recipe/formats.py` says that it shows, and for nothing else:
    nothing else is there.
    """

    @property
    def deliverable(self) -> Deliverable:
        """Bits, space, quality and what else was asked."""

    @property
    def provenance(self) -> Provenance:
        """Record, title, author and copyright to embed."""

    @property
    def dpi(self) -> float | None:
        """Pixels per inch, if a size on paper was asked for."""

    @property
    def each(self) -> Each:
        """Like `map`; may work on several parts at once. Bytes never depend on it."""

    def codes(self) -> Codes:
        """Display-encoded codes in the deliverable's space and bits, shape (H, W, 3)."""

    def hdr(self) -> Planes:
        """Display-linear planes up to the deliverable's peak, 1 is diffuse white; (3, H, W)."""

    def scene_linear(self) -> SceneLinear:
        """Return the mix before the look."""

    def layers(self) -> Layers:
        """Return the lights that the mix is the sum of."""


@dataclass(frozen=True)
class Encoded:
    """A file in memory.

    Parameters
    ----------
    data : bytes
        All of it.
    notes : tuple of str
        What a person should know of it, without the file's name.
    """

    data: bytes
    notes: tuple[str, ...] = ()


class Codec(Protocol):
    """The module of a format: what makes its bytes, and finds the record in them."""

    def encode(self, finished: Finished, /) -> Encoded:
        """Bytes of a finished picture.

        Raises
        ------
        OutputError
            If the picture cannot be held as asked.
        """

    def find_record(self, data: bytes, /) -> Provenance | None:
        """Record in a file of this format, or None; damaged files may raise anything."""
