"""Decoding one part of an OpenEXR file that has passed the scan.

The library is not given the file but a view of it: a header of our own writing that holds only
what decoding needs, a table of the checked offsets, and behind them the file's own chunks. So no
attribute of an unknown file reaches the library, a part of many is decoded alone, and of a
mip-mapped part only level 0. Codecs whose decoders have been crashed are decoded in a process of
their own.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from evenfall.passes.faults import absurd_claim, damaged, refused
from evenfall.passes.files import FileView, PassFile
from evenfall.passes.image import Array
from evenfall.passes.openexr.bare_header import bare_header
from evenfall.passes.openexr.chunks import ChunkTable
from evenfall.passes.openexr.parts import ExrPart, samples
from evenfall.passes.openexr.payloads import check_payloads
from evenfall.passes.openexr.quiet import decoder_silenced

__all__ = ["decode_part"]

_DTYPES: dict[str, np.dtype[Any]] = {
    "half": np.dtype(np.float16),
    "float": np.dtype(np.float32),
    "uint": np.dtype(np.uint32),
}


def decode_part(
    file: PassFile, part: ExrPart, chunks: ChunkTable, *, threads: int = 1
) -> dict[str, Array]:
    """Decode all channels of level 0 of a part.

    Returns
    -------
    dict of str to ndarray
        By channel name; float16, float32 or uint32, shape of the data window divided by the
        channel's sampling.

    Raises
    ------
    PassError
        When the part is too large to decode or its pixels are damaged.
    """
    allowed = absurd_claim(part.decoded_bytes, int(chunks.sizes.sum()))
    if allowed is not None:
        raise refused(
            file.path,
            f"{len(part.channels)} channels of {part.width:,} x {part.height:,} pixels, "
            f"{part.decoded_bytes:,} bytes",
            allowed,
            "write one light per file, or one per part",
            place=part.place,
        )
    check_payloads(file, part, chunks)
    view = _PartView(file, part, chunks)
    if part.codec.isolated:
        from evenfall.passes.openexr.apart import decode_apart

        pixels = decode_apart(view.read(), _shapes(part), threads=threads)
    else:
        pixels = _decode_here(view, threads)
    file.check_unchanged()
    if {name: (plane.dtype, plane.shape) for name, plane in pixels.items()} != _shapes(part):
        raise damaged(
            file.path,
            f"its pixels cannot be decoded ({part.codec.name})",
            place=part.place,
        )
    return pixels


def _decode_here(view: _PartView, threads: int) -> dict[str, Array]:
    """Decode in this process; channels are missing where they cannot be decoded."""
    import OpenEXR

    with decoder_silenced():
        try:
            decoded = OpenEXR.File(view, separate_channels=True, num_threads=threads)
            return {
                name: channel.pixels
                for found in decoded.parts
                for name, channel in found.channels.items()
            }
        except (RuntimeError, ValueError, MemoryError, OSError):
            return {}


def _shapes(part: ExrPart) -> dict[str, tuple[np.dtype[Any], tuple[int, ...]]]:
    left, top, right, bottom = part.data_window
    return {
        channel.name: (
            _DTYPES[channel.pixel_type],
            (
                samples(top, bottom, channel.y_sampling),
                samples(left, right, channel.x_sampling),
            ),
        )
        for channel in part.channels
    }


class _PartView(FileView):
    """A single-part file made of a new header and the chunks of an existing file."""

    def __init__(self, file: PassFile, part: ExrPart, chunks: ChunkTable) -> None:
        header = bare_header(
            part.attributes["channels"][1],
            part.codec_number,
            part.data_window,
            line_order=part.line_order,
            tile_size=part.tile_size,
            long_names=any(len(channel.name.encode()) > 31 for channel in part.channels),
        )
        self._file = file
        self._base = int(chunks.offsets.min())
        shift = len(header) + 8 * len(chunks.offsets) - self._base
        self._head = header + (chunks.offsets + shift).astype("<u8").tobytes()
        super().__init__(int((chunks.offsets + chunks.sizes).max()) + shift)

    def read(self, count: int = -1) -> bytes:
        count = self._within(count)
        in_head = self._head[self._place : self._place + count]
        rest = count - len(in_head)
        body = b""
        if rest:
            place = self._place + len(in_head) - len(self._head) + self._base
            body = self._file.at(place, rest)
        self._place += len(in_head) + len(body)
        return in_head + body if in_head else body
