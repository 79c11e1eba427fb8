"""Passes kept in memory: for a page that answers at once, and for programs that hold arrays."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path
from typing import Any, Self

import numpy as np
import numpy.typing as npt

from evenfall.develop.grid import Grid
from evenfall.develop.reduced import averaged, reduced_size
from evenfall.develop.sums import Sums
from evenfall.errors import PassError
from evenfall.light.primaries import BT709, RgbSpace
from evenfall.passes.header import PassHeader
from evenfall.passes.image import PassImage, PixelCensus
from evenfall.passes.source import PassSource
from evenfall.system.opened import Opened, Stamp
from evenfall.system.overtaken import going_on
from evenfall.system.processors import passes_at_once, workers_of

__all__ = ["KeptPasses", "grid_of"]


class KeptPasses:
    """Passes of one view, decoded and kept in memory; otherwise as `PassLibrary`.

    Parameters
    ----------
    images : mapping of str to PassImage
        Finite pixels by light, all of one size, in the recipe's order.
    space : RgbSpace
        Their primaries.
    luminance_scale : float or None
        cd/m2 of a pixel of luminance 1, when it is known.
    together : sequence of tuple of str
        Lights that are summed one behind the other, as they are when read from files; each by
        itself otherwise.
    is_quick : bool
        Whether a mix may be made of the one before and the light that changed; see `Sums`.

    Examples
    --------
    >>> from evenfall.develop.example import example_recipe
    >>> from evenfall.develop.opening import open_passes
    >>> kept = KeptPasses.of(open_passes(example_recipe()))
    >>> kept.size, list(kept.headers)
    ((48, 32), ['sun', 'sky', 'lamp'])
    """

    def __init__(
        self,
        images: Mapping[str, PassImage],
        space: RgbSpace = BT709,
        luminance_scale: float | None = None,
        together: Sequence[tuple[str, ...]] = (),
        *,
        is_quick: bool = False,
    ) -> None:
        headers = [image.header for image in images.values()]
        sizes = {(header.width, header.height) for header in headers}
        if len(sizes) != 1:
            raise PassError(f"passes of one size are needed, found {sorted(sizes) or 'none'}")
        (self.size,) = sizes
        self.pixel_aspect = headers[0].pixel_aspect
        self.space, self.luminance_scale = space, luminance_scale
        self.headers: Mapping[str, PassHeader] = {
            light: image.header for light, image in images.items()
        }
        self.sources = {light: (header,) for light, header in self.headers.items()}
        self._images = _sharing_alphas(images)
        self._together = together or [(light,) for light in images]
        self.grid = Grid(self.size)  # what was measured stays
        self.sums = Sums(by_difference=is_quick)

    @classmethod
    def of(
        cls, source: PassSource, *, workers: int | None = None, width: int | None = None
    ) -> Self:
        """Read all passes of another source, and keep them.

        Parameters
        ----------
        source : PassSource
            Files at full size, or reduced ones.
        workers : int, optional
            Threads; one per processor otherwise.
        width : int, optional
            They are averaged down to so many pixels, never enlarged, for pictures that must be
            quick: their mixes are made of the ones before and the light that changed.

        Raises
        ------
        PassError
            When a pass cannot be read.
        """
        small = source.size if width is None else reduced_size(source.size, width)

        go_on = going_on()

        def read_batch(batch: tuple[str, ...]) -> dict[str, PassImage]:
            go_on()
            images = source.read(batch)
            return {light: _at_size(image, small) for light, image in images.items()}

        batches = source.batches(source.headers)
        threads = passes_at_once(source.size, workers_of(workers))
        read: dict[str, PassImage] = {}
        with ThreadPoolExecutor(threads, "keep") as pool:
            for images in pool.map(read_batch, batches):
                read |= images
        in_order = {light: read[light] for light in source.headers}
        is_quick = width is not None
        return cls(in_order, source.space, source.luminance_scale, batches, is_quick=is_quick)

    @classmethod
    def of_arrays(
        cls,
        arrays: Mapping[str, npt.NDArray[np.floating[Any]]],
        *,
        space: RgbSpace = BT709,
        luminance_scale: float | None = None,
    ) -> Self:
        """Keep pictures that a program holds.

        Parameters
        ----------
        arrays : mapping of str to ndarray
            By light: scene-linear R, G, B, or R, G, B and alpha, shape (H, W, 3 or 4), float16 or
            float32, finite.
        space : RgbSpace
            Their primaries.
        luminance_scale : float or None
            cd/m2 of a pixel of luminance 1, when it is known.

        Raises
        ------
        PassError
            When an array has another shape or type, or holds NaN or infinity.

        Examples
        --------
        >>> grey = np.full((2, 3, 3), 0.18, np.float32)
        >>> KeptPasses.of_arrays({"lamp": grey}).size
        (3, 2)
        """
        images = {light: _image_of(light, pixels) for light, pixels in arrays.items()}
        return cls(images, space, luminance_scale)

    @property
    def images(self) -> Mapping[str, PassImage]:
        """The passes by light."""
        return self._images

    def batches(self, lights: Iterable[str]) -> list[tuple[str, ...]]:
        """Group lights that are summed one behind the other."""
        asked = dict.fromkeys(lights)
        strangers = [(light,) for light in asked if light not in self._images]
        known = [tuple(light for light in some if light in asked) for some in self._together]
        return [some for some in (*known, *strangers) if some]

    def bands(self, lights: Iterable[str], *, multiple: int = 1) -> list[slice]:
        """Give one band: all rows are there."""
        return [slice(0, self.size[1])]

    def read(self, batch: tuple[str, ...], rows: slice | None = None) -> dict[str, PassImage]:
        """Give the passes of a batch.

        Raises
        ------
        PassError
            When there is no pass of a light.
        """
        missing = [light for light in batch if light not in self._images]
        if missing:
            raise PassError(f"no pass is kept of {', '.join(missing)}")
        return {light: self._images[light] for light in batch}


def grid_of(source: PassSource) -> Grid:
    """Give a grid for what is measured of a source: of kept passes what was measured stays."""
    return source.grid.sharing() if isinstance(source, KeptPasses) else Grid(source.size)


def _sharing_alphas(images: Mapping[str, PassImage]) -> dict[str, PassImage]:
    """Let alphas that are alike be one array: it is kept once, and no mix compares them again."""
    shared: dict[str, PassImage] = {}
    alphas: list[npt.NDArray[Any]] = []
    for light, image in images.items():
        alpha = image.alpha
        if alpha is not None:
            alike = (a for a in alphas if a.dtype == alpha.dtype and np.array_equal(a, alpha))
            alpha = next(alike, alpha)
            alphas.append(alpha)
        shared[light] = replace(image, alpha=alpha)
    return shared


def _at_size(image: PassImage, size: tuple[int, int]) -> PassImage:
    header = image.header
    if (header.width, header.height) == size:
        return image
    header = replace(header, width=size[0], height=size[1])
    return replace(averaged(image, size), header=header)


def _image_of(light: str, pixels: npt.NDArray[np.floating[Any]]) -> PassImage:
    if pixels.ndim != 3 or pixels.shape[2] not in (3, 4):
        raise PassError(f"{light}: expected an array (H, W, 3 or 4), found {pixels.shape}")
    if pixels.dtype not in (np.float16, np.float32):
        raise PassError(f"{light}: expected float16 or float32, found {pixels.dtype}")
    if not np.isfinite(pixels).all():
        raise PassError(f"{light}: the array holds NaN or infinity")
    height, width, channels = pixels.shape
    window = (0, 0, width - 1, height - 1)
    planes = [np.ascontiguousarray(pixels[..., channel]) for channel in range(channels)]
    header = PassHeader(
        path=Path(light),
        layer="",
        part="",
        view="",
        width=width,
        height=height,
        display_window=window,
        data_window=window,
        channels=tuple("RGBA"[:channels]),
        pixel_type="half" if pixels.dtype == np.float16 else "float",
        compression="none",
        has_alpha=channels == 4,
        chromaticities=None,
        white_luminance=None,
        colour_interop_id=None,
        pixel_aspect=1.0,
        kind="array",
    )
    alpha = planes[3] if channels == 4 else None
    colour = planes[0], planes[1], planes[2]
    return PassImage(header, colour, alpha, PixelCensus(), (_opened(light, pixels),))


def _opened(light: str, pixels: npt.NDArray[np.floating[Any]]) -> Opened:
    """Say what an array is, in place of a file: whatever is made of it follows from its values."""
    head = f"{pixels.dtype.name} {pixels.shape}".encode()
    sha256 = hashlib.sha256(head + np.ascontiguousarray(pixels).tobytes()).hexdigest()
    no_file = Stamp(device=0, inode=0, size=pixels.nbytes, modified_ns=0, changed_ns=0)
    return Opened(Path(light), no_file, sha256, light)
