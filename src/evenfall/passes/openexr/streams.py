"""Whether bytes that count as pixels are a compressed stream after all.

A chunk that its codec could not make smaller is stored as it is, and nothing says so but its size,
which is just that of its pixels. A compressed chunk has that size too where a data window was
changed to fit by chance, and the library would give its bytes as pixels. Most streams say how long
they are, or end in a checksum, so that bare pixels cannot be taken for one; and no sound encoder
leaves a stream of that size.

Layouts: RFC 1950 (zlib: two check bits and Adler-32); "Technical Introduction to OpenEXR", Data
Compression, and the library's ImfPizCompressor and ImfDwaCompressor for the sizes that begin a PIZ
and a DWA chunk; a ZSTD chunk of the library begins with eight letters.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Callable

from evenfall.passes.openexr.codestream import is_codestream

__all__ = ["STREAM_CODECS", "is_stream"]

_INFLATED_AT_ONCE = 1 << 20
_PIZ_SIZES = struct.Struct("<6I")
_DWA_SIZES = struct.Struct("<11Q")
_DWA_CODINGS = (0, 1)  # Huffman, deflate
_DWA_WITH_RULES = 2  # the version from which rules for channels follow the sizes
_ZSTD_BEGIN = b"zstd-exr"


def is_stream(codec: str, payload: bytes) -> bool:
    """Whether a payload is a whole stream of a codec.

    Parameters
    ----------
    codec : str
        Name of the codec, one of `STREAM_CODECS`: in RLE, B44 and B44A nothing tells a stream.
    payload : bytes
        A chunk without its leader.

    Examples
    --------
    >>> is_stream("zip", zlib.compress(bytes(1000))), is_stream("zip", bytes(1000))
    (True, False)
    """
    return _CHECKS[codec](payload)


def _is_deflated(payload: bytes) -> bool:
    """Whether a zlib stream of a right checksum ends where the payload does."""
    stream = zlib.decompressobj()
    try:
        piece = stream.decompress(payload, _INFLATED_AT_ONCE)
        while piece and not stream.eof:
            piece = stream.decompress(stream.unconsumed_tail, _INFLATED_AT_ONCE)
    except zlib.error:
        return False
    return stream.eof and not stream.unused_data


def _is_piz(payload: bytes) -> bool:
    """Whether both sizes, of the coded symbols and of their table, are those of the payload."""
    try:
        least, greatest = struct.unpack_from("<HH", payload)
        place = 4 + max(0, greatest - least + 1)
        coded, _, _, table_bytes, bits, _ = _PIZ_SIZES.unpack_from(payload, place)
    except struct.error:
        return False
    return bool(place + 4 + coded == len(payload)) and 20 + table_bytes + -(-bits // 8) == coded


def _is_dwa(payload: bytes) -> bool:
    """Whether the sizes of its four streams add up to the payload."""
    if len(payload) < _DWA_SIZES.size + 2:
        return False
    version, _, unknown, ac, dc, runs, *_, coding = _DWA_SIZES.unpack_from(payload)
    streams = unknown + ac + dc + runs
    rules = 0
    if version >= _DWA_WITH_RULES:
        (rules,) = struct.unpack_from("<H", payload, _DWA_SIZES.size)
    is_known = version <= _DWA_WITH_RULES and coding in _DWA_CODINGS and streams > 0
    return bool(is_known and _DWA_SIZES.size + rules + streams == len(payload))


def _is_zstd(payload: bytes) -> bool:
    return payload.startswith(_ZSTD_BEGIN)


_CHECKS: dict[str, Callable[[bytes], bool]] = {
    "zips": _is_deflated,
    "zip": _is_deflated,
    "pxr24": _is_deflated,
    "piz": _is_piz,
    "dwaa": _is_dwa,
    "dwab": _is_dwa,
    "zstd": _is_zstd,
    "htj2k256": is_codestream,
    "htj2k32": is_codestream,
    "lj2k": is_codestream,
}

STREAM_CODECS = frozenset(_CHECKS)
"""Codecs whose streams can be told from bare pixels."""
