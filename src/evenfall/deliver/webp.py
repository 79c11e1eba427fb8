"""WebP files (RFC 9649) for web pages: 8 bits, lossy or lossless, by imageio.

Lossy WebP always halves the resolution of colour (RFC 6386, 2).
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from importlib import import_module
from typing import Any

import numpy as np
import numpy.typing as npt

from evenfall.deliver.exif import exif_block
from evenfall.deliver.finished import Encoded, Finished
from evenfall.deliver.icc import icc_profile
from evenfall.deliver.provenance import Provenance, record_from_xmp, xmp_packet

__all__ = ["encode", "encode_webp", "find_record"]

_SLOWNESS = 4  # of 0 to 6
_LOSSLESS_EFFORT = 75  # of 0 to 100; more gains a third of a percent
_FIRST_CHUNK = 12


def encode_webp(
    codes: npt.NDArray[np.uint8],
    *,
    space: str = "sRGB",
    quality: int = 92,
    lossless: bool = False,
    provenance: Provenance | None = None,
    dpi: float | None = None,
) -> bytes:
    """WebP file of display-encoded codes.

    Parameters
    ----------
    codes : ndarray
        uint8, shape (H, W, 3), up to 16,383 pixels a side.
    space : str
        Output space; its profile goes into the file.
    quality : int
        1 to 100, of a lossy picture.
    lossless : bool
        Keep every pixel as it is.
    provenance : Provenance, optional
        Record, title, author and copyright to embed.
    dpi : float, optional
        Pixels per inch.

    Examples
    --------
    >>> data = encode_webp(np.zeros((16, 16, 3), np.uint8), lossless=True)
    >>> data[:4], data[8:12]
    (b'RIFF', b'WEBP')
    """
    import imageio.v3 as iio

    import_module("PIL._webp")  # which imageio does without: it then knows no such format
    metadata: dict[str, Any] = {"icc_profile": icc_profile(space)}
    if provenance is not None or dpi is not None:
        metadata["exif"] = exif_block(provenance, space=space, dpi=dpi)
    if provenance is not None:
        metadata["xmp"] = xmp_packet(provenance)
    data: bytes = iio.imwrite(
        "<bytes>",
        np.ascontiguousarray(codes),
        extension=".webp",
        plugin="pillow",
        quality=_LOSSLESS_EFFORT if lossless else quality,
        lossless=lossless,
        method=_SLOWNESS,
        **metadata,
    )
    return data


def encode(finished: Finished) -> Encoded:
    """WebP file of a finished picture."""
    asked = finished.deliverable
    data = encode_webp(
        finished.codes().astype(np.uint8, copy=False),
        space=asked.space,
        quality=asked.quality,
        lossless=asked.lossless,
        provenance=finished.provenance,
        dpi=finished.dpi,
    )
    return Encoded(data)


def find_record(data: bytes) -> Provenance | None:
    """Record in a WebP file, or None."""
    for name, body in _chunks(data):
        if name == b"XMP ":
            return record_from_xmp(body)
    return None


def _chunks(data: bytes) -> Iterator[tuple[bytes, bytes]]:
    """Names and contents of the chunks of a RIFF file, each padded to an even length."""
    place = _FIRST_CHUNK
    while place + 8 <= len(data):
        name, length = struct.unpack_from("<4sI", data, place)
        yield name, data[place + 8 : place + 8 + length]
        place += 8 + length + length % 2
