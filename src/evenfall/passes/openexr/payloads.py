"""What chunks hold, for the codecs whose decoders put up with too much or too little of it.

Sizes after the library's own descriptions of its codecs: "OpenEXR File Layout" and "Technical
Introduction to OpenEXR", Data Compression.
"""

from __future__ import annotations

import zlib

import numpy as np

from evenfall.passes.faults import damaged
from evenfall.passes.files import PassFile
from evenfall.passes.openexr.chunks import ChunkTable
from evenfall.passes.openexr.codestream import codestream_fault
from evenfall.passes.openexr.parts import ExrPart, samples

__all__ = ["check_payloads"]

_SCAN_LINE_LEADER, _TILE_LEADER = 8, 20
_B44_BLOCK_BYTES = 14
_PXR24_BYTES = {"half": 2, "float": 3, "uint": 4}


def check_payloads(file: PassFile, part: ExrPart, chunks: ChunkTable) -> None:
    """Hold payloads against the size of their chunks, as far as the codec needs it.

    JPEG 2000: a codestream that ends early is decoded at lower quality. PXR24 and B44: a window
    that is too narrow shifts the rows. A window of a wrong width makes all chunks wrong and one
    of a wrong height the last, so that the first and the last are enough for PXR24.

    Raises
    ------
    PassError
        When a payload is not that of its chunk.
    """
    check = {
        "htj2k256": _codestream,
        "htj2k32": _codestream,
        "lj2k": _codestream,
        "pxr24": _pxr24,
        "b44": _b44,
    }.get(part.codec.name)
    if check is None:
        return
    compressed = np.flatnonzero(~chunks.as_is).tolist()
    if part.codec.name == "pxr24":
        compressed = compressed[:1] + compressed[1:][-1:]
    leader = _SCAN_LINE_LEADER if part.tile_size is None else _TILE_LEADER
    for index in compressed:
        offset, size = int(chunks.offsets[index]), int(chunks.sizes[index])
        fault = check(part, index, file.at(offset + leader, size - leader))
        if fault is not None:
            raise damaged(file.path, f"chunk {index} {fault}", place=part.place)


def _codestream(part: ExrPart, index: int, payload: bytes) -> str | None:
    left, top, right, bottom = part.chunk_window(index)
    return codestream_fault(payload, right - left + 1, bottom - top + 1)


def _pxr24(part: ExrPart, index: int, payload: bytes) -> str | None:
    left, top, right, bottom = part.chunk_window(index)
    expected = sum(
        samples(left, right, channel.x_sampling)
        * samples(top, bottom, channel.y_sampling)
        * _PXR24_BYTES[channel.pixel_type]
        for channel in part.channels
    )
    try:
        inflated = len(zlib.decompressobj().decompress(payload, expected + 1))
    except zlib.error:
        return "is no deflate stream"
    return None if inflated == expected else f"holds other than {expected:,} bytes of pixels"


def _b44(part: ExrPart, index: int, payload: bytes) -> str | None:
    left, top, right, bottom = part.chunk_window(index)
    expected = 0
    for channel in part.channels:
        across = samples(left, right, channel.x_sampling)
        down = samples(top, bottom, channel.y_sampling)
        if channel.pixel_type == "half":
            expected += -(-across // 4) * -(-down // 4) * _B44_BLOCK_BYTES
        else:
            expected += across * down * channel.sample_bytes
    if len(payload) == expected:
        return None
    return f"has {len(payload):,} bytes instead of {expected:,}"
