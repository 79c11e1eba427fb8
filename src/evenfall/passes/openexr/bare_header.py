"""Headers of our own writing for the decoder: what decoding needs, and nothing else."""

from __future__ import annotations

import struct

from evenfall.passes.header import Window
from evenfall.passes.kinds import EXR_MAGIC

__all__ = ["bare_header"]

_VERSION, _SINGLE_TILED, _LONG_NAMES = 2, 0x200, 0x400


def bare_header(
    channels: bytes,
    codec_number: int,
    window: Window,
    *,
    line_order: int = 0,
    tile_size: tuple[int, int] | None = None,
    long_names: bool = False,
) -> bytes:
    """Header of a single-part file, from its magic number to where its table of chunks begins.

    Parameters
    ----------
    channels : bytes
        Value of the attribute.
    codec_number : int
    window : tuple of 4 int
        Data window, which is the display window too.
    line_order : int
    tile_size : tuple of 2 int, optional
        Of tiles of one level; scan lines otherwise.
    long_names : bool
        Whether a channel's name is longer than 31 bytes.

    Examples
    --------
    >>> channel = b"Y" + bytes([0, 1]) + bytes(7) + bytes([1, 0, 0, 0, 1, 0, 0, 0, 0])
    >>> bare_header(channel, 3, (0, 0, 63, 31))[:8].hex(" ")
    '76 2f 31 01 02 00 00 00'
    """
    corners = struct.pack("<4i", *window)
    attributes = {
        "channels": ("chlist", channels),
        "compression": ("compression", bytes([codec_number])),
        "dataWindow": ("box2i", corners),
        "displayWindow": ("box2i", corners),
        "lineOrder": ("lineOrder", bytes([line_order])),
        "pixelAspectRatio": ("float", struct.pack("<f", 1.0)),
        "screenWindowCenter": ("v2f", struct.pack("<2f", 0.0, 0.0)),
        "screenWindowWidth": ("float", struct.pack("<f", 1.0)),
    }
    flags = _LONG_NAMES if long_names else 0
    if tile_size is not None:
        flags |= _SINGLE_TILED
        attributes["tiles"] = ("tiledesc", struct.pack("<IIB", *tile_size, 0))
    pieces = [EXR_MAGIC, struct.pack("<I", _VERSION | flags)]
    for name, (kind, value) in attributes.items():
        pieces += [name.encode(), b"\0", kind.encode(), b"\0", struct.pack("<i", len(value)), value]
    pieces.append(b"\0")
    return b"".join(pieces)
