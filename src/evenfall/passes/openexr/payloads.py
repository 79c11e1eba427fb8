"""What chunks hold, for the codecs whose decoders put up with too much or too little of it.

Sizes after the library's own descriptions of its codecs: "OpenEXR File Layout" and "Technical
Introduction to OpenEXR", Data Compression.
"""

from __future__ import annotations

import zlib
from collections.abc import Callable, Iterator

import numpy as np
import numpy.typing as npt

from evenfall.passes.faults import damaged
from evenfall.passes.files import PassFile
from evenfall.passes.openexr.chunks import ChunkTable
from evenfall.passes.openexr.codestream import codestream_fault
from evenfall.passes.openexr.parts import ExrChannel, ExrPart, samples
from evenfall.passes.openexr.streams import STREAM_CODECS, is_stream
from evenfall.passes.openexr.symbols import is_too_short

__all__ = ["check_payloads"]

_SCAN_LINE_LEADER, _TILE_LEADER = 8, 20
_B44_BLOCK_BYTES, _FLAT_BLOCK_BYTES = 14, 3
_FLAT_BLOCK = bytes([13 << 2])  # the shift of a block is up to 12
_PXR24_BYTES = {"half": 2, "float": 3, "uint": 4}


def check_payloads(file: PassFile, part: ExrPart, chunks: ChunkTable) -> None:
    """Hold payloads against the size of their chunks, as far as the codec needs it.

    JPEG 2000: a codestream that ends early is decoded at lower quality. PIZ, PXR24, B44 and B44A: a
    window that is too wide or too narrow gives noise or shifted rows. A window of a wrong width
    makes all chunks wrong and one of a wrong height the last, so that for those that take long to
    look at the first and the last chunk of the part are enough. All codecs: a compressed chunk that
    happens to be as long as its pixels would be taken for them.

    Raises
    ------
    PassError
        When a payload is not that of its chunk.
    """
    check = _CHECKS.get(part.codec.name)
    indices = np.arange(len(chunks.offsets))
    looked_at = chunks.as_is & (part.codec.name in STREAM_CODECS)
    if check is not None:
        looked_at |= part.codec.name in _LOOK_AT_ALL or _at_an_edge(part, indices)
    leader = _SCAN_LINE_LEADER if part.tile_size is None else _TILE_LEADER
    for index in indices[looked_at].tolist():
        offset, size = int(chunks.offsets[index]), int(chunks.sizes[index])
        payload = file.at(offset + leader, size - leader)
        fault = None
        if not chunks.as_is[index]:
            fault = None if check is None else check(part, index, payload)
        elif part.codec.name in STREAM_CODECS and is_stream(part.codec.name, payload):
            fault = f"is as long as its pixels, but holds them compressed ({part.codec.name})"
        if fault is not None:
            raise damaged(file.path, f"chunk {index} {fault}", place=part.place)


def _at_an_edge(part: ExrPart, indices: npt.NDArray[np.intp]) -> npt.NDArray[np.bool_]:
    """Which chunks are the first or the last of the whole part, of which these may be some rows."""
    _, top, _, bottom = part.whole_window
    first = (indices == 0) & (part.data_window[1] == top)
    last = (indices == len(indices) - 1) & (part.data_window[3] == bottom)
    at_an_edge: npt.NDArray[np.bool_] = first | last
    return at_an_edge


def _codestream(part: ExrPart, index: int, payload: bytes) -> str | None:
    left, top, right, bottom = part.chunk_window(index)
    return codestream_fault(payload, right - left + 1, bottom - top + 1)


def _piz(part: ExrPart, index: int, payload: bytes) -> str | None:
    left, top, right, bottom = part.chunk_window(index)
    halves = sum(count * channel.sample_bytes // 2 for channel, count in _samples(part, index))
    fewest = halves // max(right - left + 1, bottom - top + 1)
    if is_too_short(payload, halves, max(1, fewest)):
        return f"holds fewer than {halves:,} samples of 16 bits"
    return None


def _pxr24(part: ExrPart, index: int, payload: bytes) -> str | None:
    expected = sum(
        count * _PXR24_BYTES[channel.pixel_type] for channel, count in _samples(part, index)
    )
    try:
        inflated = len(zlib.decompressobj().decompress(payload, expected + 1))
    except zlib.error:
        return "is not a deflate stream"
    return None if inflated == expected else f"holds other than {expected:,} bytes of pixels"


def _samples(part: ExrPart, index: int) -> Iterator[tuple[ExrChannel, int]]:
    """Channels of a chunk, and how many samples each has in it."""
    left, top, right, bottom = part.chunk_window(index)
    for channel in part.channels:
        yield (
            channel,
            samples(left, right, channel.x_sampling) * samples(top, bottom, channel.y_sampling),
        )


def _b44(part: ExrPart, index: int, payload: bytes) -> str | None:
    """Blocks of 4 x 4 halves take 14 bytes; in B44A those of one value 3, told by their third."""
    left, top, right, bottom = part.chunk_window(index)
    place, may_be_flat = 0, part.codec.name == "b44a"
    for channel in part.channels:
        across = samples(left, right, channel.x_sampling)
        down = samples(top, bottom, channel.y_sampling)
        blocks = -(-across // 4) * -(-down // 4)
        if channel.pixel_type != "half":
            place += across * down * channel.sample_bytes
        elif not may_be_flat:
            place += blocks * _B44_BLOCK_BYTES
        else:
            for _ in range(blocks):
                flat = payload[place + 2 : place + 3] >= _FLAT_BLOCK
                place += _FLAT_BLOCK_BYTES if flat else _B44_BLOCK_BYTES
    if len(payload) == place:
        return None
    return f"has {len(payload):,} bytes instead of {place:,}"


_Check = Callable[[ExrPart, int, bytes], str | None]
_CHECKS: dict[str, _Check] = {
    "htj2k256": _codestream,
    "htj2k32": _codestream,
    "lj2k": _codestream,
    "piz": _piz,
    "pxr24": _pxr24,
    "b44": _b44,
    "b44a": _b44,
}
_LOOK_AT_ALL = ("htj2k256", "htj2k32", "lj2k", "b44")
