"""OpenEXR files byte by byte: writing what no library writes, and breaking what one has written.

Source: "OpenEXR File Layout", openexr.com.
"""

from __future__ import annotations

import struct
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

MAGIC = b"\x76\x2f\x31\x01"
TILED, MULTIPART = 0x200, 0x1000  # flags of the version field
Array = npt.NDArray[Any]
Attributes = dict[str, tuple[str, bytes]]
Window = tuple[int, int, int, int]

_TYPES = {"uint32": 0, "float16": 1, "float32": 2}


@dataclass
class ExrBytes:
    """A single-part file taken apart: version field, attributes, chunks with their leaders."""

    version: int
    attributes: Attributes
    chunks: list[bytes]

    @classmethod
    def of(cls, data: bytes) -> ExrBytes:
        """Take a sound single-part file apart."""
        (version,) = struct.unpack_from("<I", data, 4)
        attributes, place = _attributes(data, 8)
        (first,) = struct.unpack_from("<Q", data, place)
        count = (first - place) // 8
        offsets = sorted(struct.unpack_from(f"<{count}Q", data, place))
        chunks = [
            data[start:stop] for start, stop in zip(offsets, [*offsets[1:], len(data)], strict=True)
        ]
        return cls(version, attributes, chunks)

    def join(self, offsets: Sequence[int] | None = None) -> bytes:
        """Put the file together again, with a right table unless one is given."""
        head = MAGIC + struct.pack("<I", self.version) + header_bytes(self.attributes)
        place = len(head) + 8 * len(self.chunks)
        table = []
        for chunk in self.chunks:
            table.append(place)
            place += len(chunk)
        table = table if offsets is None else list(offsets)
        return head + struct.pack(f"<{len(table)}Q", *table) + b"".join(self.chunks)


def header_bytes(attributes: Attributes) -> bytes:
    """Bytes of one header, its end included."""
    pieces = [
        name.encode() + b"\0" + kind.encode() + b"\0" + struct.pack("<i", len(value)) + value
        for name, (kind, value) in attributes.items()
    ]
    return b"".join(pieces) + b"\0"


def window(left: int, top: int, right: int, bottom: int) -> tuple[str, bytes]:
    """Attribute value of a window."""
    return "box2i", struct.pack("<4i", left, top, right, bottom)


def plain_exr(
    channels: Mapping[str, tuple[Array, int, int]], data_window: Window, **extra: tuple[str, bytes]
) -> bytes:
    """Write an uncompressed scan-line file; a channel is its samples and its two samplings."""
    _, top, _, bottom = data_window
    names = sorted(channels)
    listed = b"".join(
        name.encode()
        + b"\0"
        + struct.pack(
            "<iIii", _TYPES[channels[name][0].dtype.name], 0, channels[name][1], channels[name][2]
        )
        for name in names
    )
    attributes: Attributes = {
        "channels": ("chlist", listed + b"\0"),
        "compression": ("compression", b"\0"),
        "dataWindow": window(*data_window),
        "displayWindow": window(*data_window),
        "lineOrder": ("lineOrder", b"\0"),
        "pixelAspectRatio": ("float", struct.pack("<f", 1)),
        "screenWindowCenter": ("v2f", struct.pack("<2f", 0, 0)),
        "screenWindowWidth": ("float", struct.pack("<f", 1)),
        **extra,
    }
    chunks = []
    for row in range(top, bottom + 1):
        line = b"".join(
            np.ascontiguousarray(samples[(row - top) // y_step]).tobytes()
            for samples, _, y_step in (channels[name] for name in names)
            if row % y_step == 0
        )
        chunks.append(struct.pack("<ii", row, len(line)) + line)
    return ExrBytes(2, attributes, chunks).join()


def table_place(data: bytes) -> int:
    """Where the tables of chunks of a file begin: behind its last header."""
    (version,) = struct.unpack_from("<I", data, 4)
    _, place = _attributes(data, 8)
    while version & MULTIPART and data[place] != 0:
        _, place = _attributes(data, place)
    return place + 1 if version & MULTIPART else place


def with_table(data: bytes, change: Callable[[list[int]], object], count: int) -> bytes:
    """Return a file with its table of `count` offsets changed."""
    place = table_place(data)
    table = list(struct.unpack_from(f"<{count}Q", data, place))
    change(table)
    return data[:place] + struct.pack(f"<{count}Q", *table) + data[place + 8 * count :]


def rip_mapped_exr(rgb: Array, tile: int) -> bytes:
    """Write uncompressed tiles of all levels of a rip map, after "OpenEXR File Layout".

    Levels other than 0 are zeros; sizes are rounded down.
    """
    height, width = rgb.shape[:2]
    levels = [(x, y) for y in range(height.bit_length()) for x in range(width.bit_length())]
    chunks = []
    for x, y in levels:
        level = np.zeros((max(1, height >> y), max(1, width >> x), 3), np.float16)
        if (x, y) == (0, 0):
            level[:] = rgb
        for top in range(0, level.shape[0], tile):
            for left in range(0, level.shape[1], tile):
                piece = level[top : top + tile, left : left + tile]
                payload = b"".join(
                    np.ascontiguousarray(row[:, channel]).tobytes()
                    for row in piece
                    for channel in (2, 1, 0)
                )
                leader = struct.pack("<5i", left // tile, top // tile, x, y, len(payload))
                chunks.append(leader + payload)
    listed = b"".join(
        name + b"\0" + struct.pack("<iIii", 1, 0, 1, 1) for name in (b"B", b"G", b"R")
    )
    attributes: Attributes = {
        "channels": ("chlist", listed + b"\0"),
        "compression": ("compression", b"\0"),
        "dataWindow": window(0, 0, width - 1, height - 1),
        "displayWindow": window(0, 0, width - 1, height - 1),
        "lineOrder": ("lineOrder", b"\0"),
        "pixelAspectRatio": ("float", struct.pack("<f", 1)),
        "screenWindowCenter": ("v2f", struct.pack("<2f", 0, 0)),
        "screenWindowWidth": ("float", struct.pack("<f", 1)),
        "tiles": ("tiledesc", struct.pack("<IIB", tile, tile, 2)),
    }
    return ExrBytes(2 | TILED, attributes, chunks).join()


def _attributes(data: bytes, place: int) -> tuple[Attributes, int]:
    found: Attributes = {}
    while data[place] != 0:
        name_end = data.index(b"\0", place)
        kind_end = data.index(b"\0", name_end + 1)
        (size,) = struct.unpack_from("<i", data, kind_end + 1)
        start = kind_end + 5
        found[data[place:name_end].decode()] = (
            data[name_end + 1 : kind_end].decode(),
            data[start : start + size],
        )
        place = start + size
    return found, place + 1
