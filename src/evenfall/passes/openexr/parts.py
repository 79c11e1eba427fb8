"""One part of an OpenEXR file, from the attributes of its header: checked, or refused.

Layout and required attributes: "OpenEXR File Layout", openexr.com, version 2 of the format.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from typing import NoReturn, Protocol

from evenfall.passes.faults import absurd_size
from evenfall.passes.header import Window

__all__ = [
    "Attributes",
    "Codec",
    "Complain",
    "ExrChannel",
    "ExrPart",
    "TileGrid",
    "part_of",
    "samples",
    "text_of",
]

Attributes = dict[str, tuple[str, bytes]]
"""Kind and bytes of each attribute, by name."""

MAX_CHANNELS = 1024
MAX_CHUNKS = 1 << 21


@dataclass(frozen=True)
class Codec:
    """A compression method.

    Parameters
    ----------
    name : str
    rows : int
        Rows in a scan-line chunk.
    greatest_ratio : float or None
        Bytes decoded over bytes stored at most, where that is known.
    isolated : bool
        Whether damaged data can crash the decoder, so that it runs in a process of its own.
    """

    name: str
    rows: int
    greatest_ratio: float | None = None
    isolated: bool = False


# Codes and rows: "OpenEXR File Layout" and the library's header ImfCompression.h (3.5). Ratios:
# deflate cannot exceed 1032:1 (zlib's technical details page); a run of 128 takes 2 bytes; PIZ's
# Huffman code takes 10 bits or more for a run of 256 values of 2 bytes; a flat B44A block 3 bytes
# for 32.
CODECS = {
    0: Codec("none", 1, 1.0),
    1: Codec("rle", 1, 64.0),
    2: Codec("zips", 1, 1040.0),
    3: Codec("zip", 16, 1040.0),
    4: Codec("piz", 32, 512.0),
    5: Codec("pxr24", 16, 1600.0),
    6: Codec("b44", 32, 2.5),
    7: Codec("b44a", 32, 11.0),
    8: Codec("dwaa", 32),
    9: Codec("dwab", 256),
    10: Codec("htj2k256", 256, isolated=True),
    11: Codec("htj2k32", 32, isolated=True),
    12: Codec("lj2k", 256, isolated=True),
    13: Codec("zstd", 1),
}

_PIXEL_TYPES = {0: "uint", 1: "half", 2: "float"}
_PIXEL_BYTES = {"uint": 4, "half": 2, "float": 4}

_REQUIRED = {
    "channels": ("chlist", None),
    "compression": ("compression", 1),
    "dataWindow": ("box2i", 16),
    "displayWindow": ("box2i", 16),
    "lineOrder": ("lineOrder", 1),
    "pixelAspectRatio": ("float", 4),
    "screenWindowCenter": ("v2f", 8),
    "screenWindowWidth": ("float", 4),
}


class Complain(Protocol):
    """Raises PassError: what was found, and what is allowed."""

    def __call__(self, found: str, allowed: str = "") -> NoReturn:
        """Raise."""


@dataclass(frozen=True)
class ExrChannel:
    """A channel as the header lists it; sampling is in pixels of the data window."""

    name: str
    pixel_type: str
    x_sampling: int
    y_sampling: int

    @property
    def sample_bytes(self) -> int:
        """Bytes of one sample."""
        return _PIXEL_BYTES[self.pixel_type]


@dataclass(frozen=True)
class TileGrid:
    """The tiles of one level of a tiled part."""

    level_x: int
    level_y: int
    across: int
    down: int


@dataclass(frozen=True)
class ExrPart:
    """One part of a file, as its header describes it."""

    index: int
    name: str
    view: str
    storage: str
    deep: bool
    channels: tuple[ExrChannel, ...]
    codec: Codec
    codec_number: int
    line_order: int
    data_window: Window
    display_window: Window
    pixel_aspect: float
    tile_size: tuple[int, int] | None
    grids: tuple[TileGrid, ...]
    chunk_count: int
    first_level_chunks: int
    attributes: Attributes

    @property
    def width(self) -> int:
        """Width of the data window in pixels."""
        return self.data_window[2] - self.data_window[0] + 1

    @property
    def height(self) -> int:
        """Height of the data window in pixels."""
        return self.data_window[3] - self.data_window[1] + 1

    @property
    def whole_window(self) -> Window:
        """Data window as the file says it, also where this is only some rows of the part."""
        left, top, right, bottom = struct.unpack("<4i", self.attributes["dataWindow"][1])
        return left, top, right, bottom

    @property
    def place(self) -> str:
        """Name of the part for messages; empty for a part without a name."""
        return f"part {self.name}" if self.name else ""

    def chunk_window(self, index: int) -> Window:
        """Window of the pixels of a chunk of level 0."""
        left, top, right, bottom = self.data_window
        if self.tile_size is None:
            first = top + index * self.codec.rows
            return left, first, right, min(first + self.codec.rows - 1, bottom)
        across, down = self.tile_size
        row, column = divmod(index, -(-self.width // across))
        left, top = left + column * across, top + row * down
        return left, top, min(left + across - 1, right), min(top + down - 1, bottom)

    @property
    def decoded_bytes(self) -> int:
        """Bytes of all channels of the part, decoded (level 0)."""
        return sum(
            samples(self.data_window[0], self.data_window[2], channel.x_sampling)
            * samples(self.data_window[1], self.data_window[3], channel.y_sampling)
            * channel.sample_bytes
            for channel in self.channels
        )


def samples(first: int, last: int, sampling: int) -> int:
    """Count the multiples of `sampling` from first to last, both inside.

    Examples
    --------
    >>> samples(-2, 3, 2)
    3
    """
    return last // sampling - (first - 1) // sampling


def part_of(
    index: int, attributes: Attributes, storage: str | None, multipart: bool, fail: Complain
) -> ExrPart:
    """Make a part of a header's attributes.

    Parameters
    ----------
    index : int
        Number of the part in its file.
    attributes : dict
    storage : str or None
        How its pixels are stored, where the version field says so; else attribute `type` does.
    multipart : bool
        Whether the file has many parts, each with a name and a count of chunks.
    fail : callable
        Raises the error.
    """
    _check_required(attributes, multipart, fail)
    if storage is None:
        storage = text_of(attributes, "type")
    if storage not in ("scanlineimage", "tiledimage", "deepscanline", "deeptile"):
        fail(f"part of unknown type {storage!r}", "scanlineimage or tiledimage")
    number = attributes["compression"][1][0]
    if number not in CODECS:
        fail(f"unknown compression {number}", f"0 to {max(CODECS)}")
    line_order = attributes["lineOrder"][1][0]
    if line_order > 2:
        fail(f"unknown line order {line_order}", "0 to 2")
    data_window = _window("dataWindow", attributes, fail)
    channels = tuple(_channels(attributes["channels"][1], data_window, fail))
    (aspect,) = struct.unpack("<f", attributes["pixelAspectRatio"][1])
    if not 1e-6 < aspect < 1e6:
        fail(f"pixelAspectRatio {aspect:g}", "a number around 1")
    deep = storage.startswith("deep")
    tile_size, mode, rounding = _tiles(attributes, fail) if "tile" in storage else (None, 0, 0)
    if tile_size and any(channel.x_sampling * channel.y_sampling > 1 for channel in channels):
        fail("subsampled channels in tiles", "subsampling in scan lines only")
    grids: tuple[TileGrid, ...] = ()
    if tile_size is None:
        height = data_window[3] - data_window[1] + 1
        count = first_level = -(-height // CODECS[number].rows)
    else:
        grids = tuple(_grids(data_window, tile_size, mode, rounding))
        count = sum(grid.across * grid.down for grid in grids)
        first_level = grids[0].across * grids[0].down
    if count > MAX_CHUNKS:
        fail(f"{count:,} chunks", f"up to {MAX_CHUNKS:,} in one part")
    if multipart:
        (claimed,) = struct.unpack("<i", attributes["chunkCount"][1])
        if claimed != count and not deep:
            fail(f"chunkCount {claimed:,}", f"{count:,}, by its size and compression")
    return ExrPart(
        index=index,
        name=text_of(attributes, "name"),
        view=text_of(attributes, "view"),
        storage=storage,
        deep=deep,
        channels=channels,
        codec=CODECS[number],
        codec_number=number,
        line_order=line_order,
        data_window=data_window,
        display_window=_window("displayWindow", attributes, fail),
        pixel_aspect=aspect,
        tile_size=tile_size,
        grids=grids,
        chunk_count=count,
        first_level_chunks=first_level,
        attributes=attributes,
    )


def _check_required(attributes: Attributes, multipart: bool, fail: Complain) -> None:
    required: dict[str, tuple[str, int | None]] = dict(_REQUIRED)
    if multipart:
        required |= {"name": ("string", None), "type": ("string", None), "chunkCount": ("int", 4)}
    missing = sorted(set(required) - set(attributes))
    if missing:
        fail(f"required attribute {', '.join(missing)} is missing")
    for name, (kind, size) in required.items():
        found_kind, value = attributes[name]
        if found_kind != kind or (size is not None and len(value) != size):
            fail(f"attribute {name!r} is {found_kind!r} of {len(value)} bytes", f"a {kind}")


def text_of(attributes: Attributes, name: str) -> str:
    """Text of a string attribute; empty if there is none."""
    kind, value = attributes.get(name, ("", b""))
    return value.decode("utf-8", "backslashreplace") if kind == "string" else ""


def _window(name: str, attributes: Attributes, fail: Complain) -> Window:
    left, top, right, bottom = struct.unpack("<4i", attributes[name][1])
    width, height = right - left + 1, bottom - top + 1
    allowed = absurd_size(width, height)
    if allowed is not None:
        fail(f"{name} of {width:,} x {height:,} pixels", allowed)
    if max(abs(left), abs(top)) > 1 << 30:
        fail(f"{name} begins at ({left}, {top})", "places within 2^30 of the origin")
    return left, top, right, bottom


def _channels(value: bytes, data_window: Window, fail: Complain) -> Iterator[ExrChannel]:
    """Channels in the order of the file, which is that of their names, byte by byte.

    The library sorts them itself, and would give one channel the pixels of another where the file
    does not.
    """
    place, count, previous = 0, 0, b""
    while place < len(value) and value[place] != 0:
        end = value.find(b"\0", place)
        if end < 0 or end + 17 > len(value):
            fail("the list of channels is cut")
        raw = value[place:end]
        name = _channel_name(raw, fail)
        kind, _, x_sampling, y_sampling = struct.unpack_from("<iIii", value, end + 1)
        if kind not in _PIXEL_TYPES:
            fail(f"channel {name!r} has unknown pixel type {kind}", "uint, half or float")
        if raw <= previous:
            fail(f"channel {name!r} comes after {previous.decode()!r}", "channels sorted by name")
        if count == MAX_CHANNELS:
            fail(f"more than {MAX_CHANNELS:,} channels")
        _check_sampling(name, x_sampling, y_sampling, data_window, fail)
        yield ExrChannel(name, _PIXEL_TYPES[kind], x_sampling, y_sampling)
        place, count, previous = end + 17, count + 1, raw
    if place != len(value) - 1 or not count:
        fail("the list of channels is empty or has no end")


def _channel_name(raw: bytes, fail: Complain) -> str:
    try:
        return raw.decode("utf-8")
    except UnicodeDecodeError:
        fail(f"the name of a channel is no text: {raw!r}", "UTF-8")


def _check_sampling(
    name: str, x_sampling: int, y_sampling: int, window: Window, fail: Complain
) -> None:
    left, top, right, bottom = window
    for step, first, size in (
        (x_sampling, left, right - left + 1),
        (y_sampling, top, bottom - top + 1),
    ):
        if not 1 <= step <= 64 or first % step or size % step:
            fail(
                f"channel {name!r} is sampled every {x_sampling} x {y_sampling} pixels",
                "1 to 64, dividing the data window's place and size",
            )


def _tiles(attributes: Attributes, fail: Complain) -> tuple[tuple[int, int], int, int]:
    kind, value = attributes.get("tiles", ("", b""))
    if kind != "tiledesc" or len(value) != 9:
        fail("a tiled part without a description of its tiles")
    across, down, mode = struct.unpack("<IIB", value)
    allowed = absurd_size(across, down)
    if allowed is not None:
        fail(f"tiles of {across:,} x {down:,} pixels", allowed)
    if mode & 0xF > 2 or mode >> 4 > 1:
        fail(f"unknown level mode {mode}", "0 to 2, rounded down or up")
    return (across, down), mode & 0xF, mode >> 4


def _grids(
    window: Window, tile_size: tuple[int, int], mode: int, rounding: int
) -> Iterator[TileGrid]:
    """Tiles of each level, in the order of the table of chunks: level 0 first."""
    width, height = window[2] - window[0] + 1, window[3] - window[1] + 1
    if mode == 0:
        levels = [(0, 0)]
    elif mode == 1:
        levels = [(n, n) for n in range(_level_count(max(width, height), rounding))]
    else:
        across_levels, down_levels = _level_count(width, rounding), _level_count(height, rounding)
        levels = [(x, y) for y in range(down_levels) for x in range(across_levels)]
    for level_x, level_y in levels:
        yield TileGrid(
            level_x,
            level_y,
            -(-_level_size(width, level_x, rounding) // tile_size[0]),
            -(-_level_size(height, level_y, rounding) // tile_size[1]),
        )


def _level_size(size: int, level: int, rounding: int) -> int:
    return max(1, -(-size >> level) if rounding else size >> level)


def _level_count(size: int, rounding: int) -> int:
    return (size - 1).bit_length() + 1 if rounding else size.bit_length()
