"""Reduced passes for drafts, kept in the user's cache folder.

A draft reads every pass once at full size and reduces it by area averaging in scene-linear light,
which commutes with the mix. The reduced pass is kept, so that the next draft reads it instead. It
is found by the pass file's path, size, inode and times of change, the layer read, and how broken
pixels are mended; a file that changed in any of these, or a guide of the denoiser, is read anew.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, astuple, dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
from zlib_ng import zlib_ng

from evenfall.deliver.frame import square_size
from evenfall.light.primaries import RgbSpace
from evenfall.mix.averaging import area_mean
from evenfall.passes.files import stamp
from evenfall.passes.header import PassHeader
from evenfall.passes.image import PassImage, PixelCensus
from evenfall.passes.library import PassLibrary
from evenfall.recipe import Draft, Repair
from evenfall.system.cache import cache_folder, keep, note_use
from evenfall.system.opened import Opened, Stamp
from evenfall.system.regular import open_regular

__all__ = [
    "ReducedLibrary",
    "keep_for_drafts",
    "kept_name",
    "reduced_size",
]

Array = npt.NDArray[Any]
_FORMAT = 5
_LIMIT_BYTES = 2 << 30


def reduced_size(size: tuple[int, int], width: int, pixel_aspect: float = 1.0) -> tuple[int, int]:
    """Size of a picture brought down to a width; smaller pictures stay as they are.

    Examples
    --------
    >>> reduced_size((3840, 2160), 1280)
    (1280, 720)
    >>> reduced_size((800, 600), 1280)
    (800, 600)
    """
    wide, high = square_size(*size, pixel_aspect)
    if wide <= width:
        return wide, high
    return width, max(1, round(high * width / wide))


def averaged(image: PassImage, size: tuple[int, int]) -> PassImage:
    """Bring the planes and the alpha of a pass down by `area_mean`; the rest stays as it is."""
    red, green, blue = (area_mean(plane, size) for plane in image.planes)
    alpha = None if image.alpha is None else area_mean(image.alpha, size)
    return replace(image, planes=(red, green, blue), alpha=alpha)


@dataclass(frozen=True)
class _Key:
    """What a reduced pass depends on."""

    path: str
    stamp: tuple[int, int, int, int]
    layer: str
    part: str
    view: str
    weight: float
    made: str
    width: int
    height: int
    format: int = _FORMAT


class ReducedLibrary:
    """The passes of a recipe at draft size; otherwise as `PassLibrary`.

    Parameters
    ----------
    library : PassLibrary or ReducedLibrary
        The passes at full size, or reduced already.
    width : int
        Width of a draft.
    repair : Repair
        How broken pixels are mended.
    folder : Path, optional
        Where reduced passes are kept; the user's cache folder otherwise.
    """

    size: tuple[int, int]
    pixel_aspect: float
    space: RgbSpace
    luminance_scale: float | None
    sources: Mapping[str, tuple[PassHeader, ...]]

    def __init__(
        self,
        library: PassLibrary | ReducedLibrary,
        width: int,
        repair: Repair,
        folder: Path | None = None,
    ) -> None:
        self._library, self._repair = library, repair
        self._made = repair.model_dump_json()
        if isinstance(library, ReducedLibrary):
            self._made += f" {library.size}"
        self.space, self.luminance_scale = library.space, library.luminance_scale
        self._folder = folder or cache_folder() / "drafts"
        self.size = reduced_size(library.size, width, library.pixel_aspect)
        self.pixel_aspect = 1.0
        self.sources = library.sources
        self.headers: Mapping[str, PassHeader] = {
            light: replace(header, width=self.size[0], height=self.size[1], pixel_aspect=1.0)
            for light, header in library.headers.items()
        }

    def smaller(self, width: int) -> ReducedLibrary:
        """Give these passes reduced once more, for pictures that must be quick; kept like them."""
        return ReducedLibrary(self, width, self._repair, self._folder)

    def batches(self, lights: Iterable[str]) -> list[tuple[str, ...]]:
        """Lights that are read together."""
        return self._library.batches(lights)

    def bands(self, lights: Iterable[str], *, multiple: int = 1) -> list[slice]:
        """Give one band: reduced passes are read as a whole."""
        return [slice(0, self.size[1])]

    def read(self, batch: tuple[str, ...], rows: slice | None = None) -> dict[str, PassImage]:
        """Reduced passes of a batch, from the cache or anew; thread-safe."""
        if self.size == self._library.size or any(light not in self.headers for light in batch):
            return self._library.read(batch)  # which says what is wrong with a light without header
        files = {light: self._file(light) for light in batch}
        kept = {light: self._load(light, files[light]) for light in batch}
        found = {light: image for light, image in kept.items() if image is not None}
        if len(found) == len(batch):
            return found
        reduced = self._reduced(batch)
        for light, image in reduced.items():
            _store(files[light], image)
        return reduced

    def _reduced(self, batch: tuple[str, ...]) -> dict[str, PassImage]:
        """Read a batch and reduce it, a part of many layers in bands if rows divide evenly."""
        lines, odd = divmod(self._library.size[1], self.size[1])
        bands = [] if odd else self._library.bands(batch, multiple=lines)
        if len(bands) < 2 or isinstance(self._library, ReducedLibrary):
            images = dict(self._library.read(batch))
            return {light: _reduce(images.pop(light), self.size) for light in batch}
        from evenfall.develop.banded import read_in_bands

        def reduce(band: PassImage) -> PassImage:
            return _reduce(band, (self.size[0], len(band.planes[0]) // lines))

        joined = read_in_bands(self._library, batch, bands, reduce, self._library.decoder_threads)
        return {
            light: replace(image, header=self.headers[light]) for light, image in joined.items()
        }

    def _load(self, light: str, path: Path) -> PassImage | None:
        image = _load(path, self.headers[light])
        if image is None:
            return None
        own = {header.path for header in self.sources[light]}
        opened = (replace(one, light=light) if one.path in own else one for one in image.opened)
        return replace(image, opened=tuple(opened))

    def _file(self, light: str) -> Path:
        return self._folder / kept_name(self._library.sources[light], self._made, self.size)


def keep_for_drafts(image: PassImage, seen: Stamp) -> None:
    """Keep a pass that was read for something else, so that the first draft need not read it.

    It is kept at the usual width of drafts, for a recipe that mends nothing.

    Parameters
    ----------
    image : PassImage
        As it was read.
    seen : Stamp
        Of its file before it was read: a file that changed since is not kept.

    Raises
    ------
    PassError, OSError
        When the file is gone.
    """
    header = image.header
    full = header.width, header.height
    size = reduced_size(full, Draft().width, header.pixel_aspect)
    if size != full:
        name = kept_name([header], Repair().model_dump_json(), size)
        if stamp(header.path) == seen:
            reduced = replace(_reduce(image, size), opened=(Opened(header.path, seen),))
            _store(cache_folder() / "drafts" / name, reduced)


def kept_name(headers: Sequence[PassHeader], made: str, size: tuple[int, int]) -> str:
    """Name under which something of a pass is kept, by the pictures that add up to it.

    Parameters
    ----------
    headers : sequence of PassHeader
        The pictures.
    made : str
        How broken pixels are mended, and through what size it went.
    size : tuple of int
        Size of what is kept.

    Raises
    ------
    OSError
        When a file is gone.
    """
    keys = [asdict(_key(header, made, size)) for header in headers]
    text = json.dumps(keys, sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()[:40] + ".pass"


def _key(header: PassHeader, made: str, size: tuple[int, int]) -> _Key:
    return _Key(
        str(header.path.resolve()),
        Stamp.of(header.path.stat()).lasting,
        header.layer,
        header.part,
        header.view,
        header.weight,
        made,
        *size,
    )


def _reduce(image: PassImage, size: tuple[int, int]) -> PassImage:
    reduced = averaged(image, size)
    if all(plane.dtype == np.float16 for plane in image.planes):
        red, green, blue = (plane.astype(np.float16) for plane in reduced.planes)
        reduced = replace(reduced, planes=(red, green, blue))
    return replace(reduced, header=replace(image.header, width=size[0], height=size[1]))


def _load(path: Path, header: PassHeader) -> PassImage | None:
    """Read a kept pass; None when there is none, it is not whole, or what it is of has changed."""
    try:
        with open_regular(path) as stream:
            facts = json.loads(stream.readline())
            data = stream.read()
        if zlib_ng.adler32(data) != facts["checksum"]:
            return None
        shape = (header.height, header.width)
        planes = np.frombuffer(data, facts["dtype"], 3 * shape[0] * shape[1]).reshape(3, *shape)
        alpha = None
        if facts["alpha"]:
            alpha = np.frombuffer(data, np.float32, offset=planes.nbytes).reshape(shape)
        census = PixelCensus.of(facts["census"])
        opened = tuple(_unchanged(Path(name), seen) for name, *seen in facts["opened"])
    except (OSError, ValueError, KeyError, TypeError):
        return None
    note_use(path)
    return PassImage(header, (planes[0], planes[1], planes[2]), alpha, census, opened)


def _unchanged(path: Path, seen: list[int]) -> Opened:
    opened = Opened(path, Stamp(*seen))
    if Stamp.of(path.stat()) != opened.stamp:
        raise ValueError(f"{path} has changed")
    return opened


def _store(path: Path, image: PassImage) -> None:
    """Keep a pass; a cache that cannot be written is no fault."""
    body = b"".join(plane.tobytes() for plane in image.planes)
    if image.alpha is not None:
        body += image.alpha.tobytes()
    facts = {
        "dtype": image.planes[0].dtype.str,
        "alpha": image.alpha is not None,
        "census": asdict(image.census),
        "opened": [(str(each.path), *astuple(each.stamp)) for each in image.opened],
        "checksum": zlib_ng.adler32(body),
    }
    keep(path, json.dumps(facts).encode() + b"\n", body, limit_bytes=_LIMIT_BYTES)
