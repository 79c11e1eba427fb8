"""What an OpenEXR file claims, read by ourselves and held against the bytes that are there.

The OpenEXR library invents defaults for attributes that are missing, believes a data window that
is too short, and leaves a part out when its pixels cannot be decoded. So the header, the table of
chunk offsets and the leader of every chunk are read here first; only a file in which all of them
agree reaches the decoder. Layout: "OpenEXR File Layout", openexr.com, version 2 of the format.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from typing import NoReturn, Protocol

from evenfall.errors import Fault, PassError
from evenfall.passes.files import PassFile
from evenfall.passes.header import Window

__all__ = [
    "CODECS",
    "EXR_MAGIC",
    "MAX_PIXELS",
    "MAX_SIDE",
    "Codec",
    "ExrChannel",
    "ExrPart",
    "ExrScan",
    "samples",
    "scan_headers",
    "text_of",
]

EXR_MAGIC = b"\x76\x2f\x31\x01"

MAX_SIDE = 65_536
"""Longest side of a window in pixels; beyond it a header is not believed."""

MAX_PIXELS = 1 << 28
"""Most pixels of one window (16,384 squared); beyond it a header is not believed."""

MAX_CHANNELS = 1024
MAX_PARTS = 1024
MAX_ATTRIBUTES = 4096
MAX_HEADER_BYTES = 1 << 26

_SINGLE_TILED, _LONG_NAMES, _NON_IMAGE, _MULTIPART = 0x200, 0x400, 0x800, 0x1000
_KNOWN_FLAGS = _SINGLE_TILED | _LONG_NAMES | _NON_IMAGE | _MULTIPART


@dataclass(frozen=True)
class Codec:
    """A compression method: rows in a scan-line chunk, and its greatest possible ratio."""

    name: str
    rows: int
    greatest_ratio: float | None = None


# Codes and rows: "OpenEXR File Layout" and the library's header ImfCompression.h (3.5). Ratios:
# deflate cannot exceed 1032:1 (zlib's technical details page); a run of 128 takes 2 bytes.
CODECS = {
    0: Codec("none", 1, 1.0),
    1: Codec("rle", 1, 64.0),
    2: Codec("zips", 1, 1040.0),
    3: Codec("zip", 16, 1040.0),
    4: Codec("piz", 32),
    5: Codec("pxr24", 16, 1600.0),
    6: Codec("b44", 32),
    7: Codec("b44a", 32),
    8: Codec("dwaa", 32),
    9: Codec("dwab", 256),
    10: Codec("htj2k256", 256),
    11: Codec("htj2k32", 32),
    12: Codec("lj2k", 256),
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

    def __call__(self, found: str, allowed: str = "") -> NoReturn: ...


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
    tile_mode: int
    chunk_count: int
    first_level_chunks: int
    attributes: dict[str, tuple[str, bytes]]

    @property
    def width(self) -> int:
        """Width of the data window in pixels."""
        return self.data_window[2] - self.data_window[0] + 1

    @property
    def height(self) -> int:
        """Height of the data window in pixels."""
        return self.data_window[3] - self.data_window[1] + 1

    @property
    def decoded_bytes(self) -> int:
        """Bytes of all channels of the part, decoded (level 0)."""
        return sum(
            samples(self.data_window[0], self.data_window[2], channel.x_sampling)
            * samples(self.data_window[1], self.data_window[3], channel.y_sampling)
            * channel.sample_bytes
            for channel in self.channels
        )


@dataclass(frozen=True)
class ExrScan:
    """The headers of a file.

    Parameters
    ----------
    parts : tuple of ExrPart
    multipart : bool
        Whether the version field says multi-part; chunks then carry a part number.
    table_offset : int
        Where the tables of chunk offsets begin.
    """

    parts: tuple[ExrPart, ...]
    multipart: bool
    table_offset: int


def scan_headers(file: PassFile) -> ExrScan:
    """Read and check the headers of all parts.

    Raises
    ------
    PassError
        When an attribute is missing or wrong, or a window is absurd.
    """
    return _HeaderScanner(file).run()


def samples(first: int, last: int, sampling: int) -> int:
    """Count the multiples of `sampling` from first to last, both inside.

    Examples
    --------
    >>> samples(-2, 3, 2)
    3
    """
    return last // sampling - (first - 1) // sampling


class _HeaderScanner:
    """Walks the headers of a file from its magic number to the end of the last header."""

    def __init__(self, file: PassFile) -> None:
        self.file = file
        self.block = file.at(0, 1 << 16)
        self.place = 8
        self.part_index: int | None = None

    def fail(self, found: str, allowed: str = "") -> NoReturn:
        place = "header" if self.part_index is None else f"header of part {self.part_index}"
        raise PassError(
            Fault(
                str(self.file.path),
                place,
                found,
                allowed,
                "the file is damaged or incomplete: render or copy it again",
            )
        )

    def run(self) -> ExrScan:
        if self.block[:4] != EXR_MAGIC:
            self.fail("no OpenEXR file: the first four bytes are wrong", "76 2f 31 01")
        (version,) = struct.unpack("<I", self._need(4, 4))
        if version & 0xFF != 2 or version & ~(0xFF | _KNOWN_FLAGS):
            self.fail(f"unknown version field 0x{version:x}", "version 2 of the format")
        multipart = bool(version & _MULTIPART)
        if multipart and version & _SINGLE_TILED:
            self.fail("the version field says both single tiled and multi-part")
        parts = []
        for index in range(MAX_PARTS + 1):
            self.part_index = index
            attributes = self._attributes(255 if version & _LONG_NAMES else 31)
            if multipart and not attributes:
                break
            parts.append(_part(index, attributes, version, self.fail))
            if not multipart:
                break
        else:
            self.fail(f"more than {MAX_PARTS} parts")
        self.part_index = None
        if not parts:
            self.fail("no part at all", "at least one header")
        names = [part.name for part in parts]
        if len(set(names)) != len(names):
            self.fail("two parts have the same name", "a name of its own for each part")
        return ExrScan(tuple(parts), multipart, self.place)

    def _need(self, offset: int, count: int) -> bytes:
        while offset + count > len(self.block):
            if offset + count > MAX_HEADER_BYTES:
                self.fail(f"the header is longer than {MAX_HEADER_BYTES:,} bytes")
            more = self.file.at(len(self.block), max(1 << 16, len(self.block)))
            if not more:
                self.fail("the file ends inside the header")
            self.block += more
        return self.block[offset : offset + count]

    def _text(self, longest: int) -> str:
        end = self.block.find(b"\0", self.place, self.place + longest + 1)
        if end < 0:
            self._need(self.place, longest + 1)
            end = self.block.find(b"\0", self.place, self.place + longest + 1)
        if end < 0:
            self.fail(f"a name of more than {longest} bytes")
        raw = self.block[self.place : end]
        self.place = end + 1
        return raw.decode("utf-8", "backslashreplace")

    def _attributes(self, longest: int) -> dict[str, tuple[str, bytes]]:
        found: dict[str, tuple[str, bytes]] = {}
        while self._need(self.place, 1) != b"\0":
            name, kind = self._text(longest), self._text(longest)
            (size,) = struct.unpack("<i", self._need(self.place, 4))
            if size < 0 or self.place + 4 + size > self.file.size:
                self.fail(f"attribute {name!r} claims {size:,} bytes", "what the file holds")
            if name in found or len(found) >= MAX_ATTRIBUTES:
                self.fail(f"attribute {name!r} comes twice or too many attributes")
            found[name] = (kind, self._need(self.place + 4, size))
            self.place += 4 + size
        self.place += 1
        return found


def _part(
    index: int, attributes: dict[str, tuple[str, bytes]], version: int, fail: Complain
) -> ExrPart:
    multipart = bool(version & _MULTIPART)
    _check_required(attributes, multipart, fail)
    storage = _storage(attributes, version, fail)
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
    levels = _chunks_by_level(data_window, CODECS[number], tile_size, mode, rounding)
    count = sum(levels)
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
        tile_mode=mode,
        chunk_count=count,
        first_level_chunks=levels[0],
        attributes=attributes,
    )


def _check_required(
    attributes: dict[str, tuple[str, bytes]], multipart: bool, fail: Complain
) -> None:
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


def _storage(attributes: dict[str, tuple[str, bytes]], version: int, fail: Complain) -> str:
    kind = text_of(attributes, "type")
    if not version & _MULTIPART and not version & _NON_IMAGE:
        # The flags of the version field decide for a single part; `type` may be left out.
        return "tiledimage" if version & _SINGLE_TILED else "scanlineimage"
    if kind not in ("scanlineimage", "tiledimage", "deepscanline", "deeptile"):
        fail(f"part of unknown type {kind!r}", "scanlineimage or tiledimage")
    return kind


def text_of(attributes: dict[str, tuple[str, bytes]], name: str) -> str:
    """Text of a string attribute; empty if there is none."""
    kind, value = attributes.get(name, ("", b""))
    return value.decode("utf-8", "backslashreplace") if kind == "string" else ""


def _window(name: str, attributes: dict[str, tuple[str, bytes]], fail: Complain) -> Window:
    left, top, right, bottom = struct.unpack("<4i", attributes[name][1])
    width, height = right - left + 1, bottom - top + 1
    if width < 1 or height < 1:
        fail(f"{name} from ({left}, {top}) to ({right}, {bottom}) is empty")
    if max(width, height) > MAX_SIDE or width * height > MAX_PIXELS:
        fail(
            f"{name} of {width:,} x {height:,} pixels",
            f"sides up to {MAX_SIDE:,} and {MAX_PIXELS:,} pixels in all",
        )
    if max(abs(left), abs(top)) > 1 << 30:
        fail(f"{name} begins at ({left}, {top})", "places within 2^30 of the origin")
    return left, top, right, bottom


def _channels(value: bytes, data_window: Window, fail: Complain) -> Iterator[ExrChannel]:
    place, seen = 0, set[str]()
    while place < len(value) and value[place] != 0:
        end = value.find(b"\0", place)
        if end < 0 or end + 17 > len(value):
            fail("the list of channels is cut")
        name = _channel_name(value[place:end], fail)
        kind, _, x_sampling, y_sampling = struct.unpack_from("<iIii", value, end + 1)
        if kind not in _PIXEL_TYPES:
            fail(f"channel {name!r} has unknown pixel type {kind}", "uint, half or float")
        if name in seen or len(seen) >= MAX_CHANNELS:
            fail(f"channel {name!r} comes twice or too many channels")
        _check_sampling(name, x_sampling, y_sampling, data_window, fail)
        seen.add(name)
        yield ExrChannel(name, _PIXEL_TYPES[kind], x_sampling, y_sampling)
        place = end + 17
    if place != len(value) - 1 or not seen:
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


def _tiles(
    attributes: dict[str, tuple[str, bytes]], fail: Complain
) -> tuple[tuple[int, int], int, int]:
    kind, value = attributes.get("tiles", ("", b""))
    if kind != "tiledesc" or len(value) != 9:
        fail("a tiled part without a description of its tiles")
    across, down, mode = struct.unpack("<IIB", value)
    if not (1 <= across <= MAX_SIDE and 1 <= down <= MAX_SIDE and across * down <= MAX_PIXELS):
        fail(f"tiles of {across:,} x {down:,} pixels", f"1 to {MAX_SIDE:,}")
    if mode & 0xF > 2 or mode >> 4 > 1:
        fail(f"unknown level mode {mode}", "0 to 2, rounded down or up")
    return (across, down), mode & 0xF, mode >> 4


def _chunks_by_level(
    window: Window, codec: Codec, tile_size: tuple[int, int] | None, mode: int, rounding: int
) -> list[int]:
    """Chunks of each level, level 0 first; one entry for scan lines."""
    width, height = window[2] - window[0] + 1, window[3] - window[1] + 1
    if tile_size is None:
        return [-(-height // codec.rows)]
    across, down = tile_size

    def tiles(level_x: int, level_y: int) -> int:
        level_width = _level_size(width, level_x, rounding)
        level_height = _level_size(height, level_y, rounding)
        return -(-level_width // across) * -(-level_height // down)

    if mode == 0:
        return [tiles(0, 0)]
    if mode == 1:
        return [tiles(n, n) for n in range(_level_count(max(width, height), rounding))]
    across_levels, down_levels = _level_count(width, rounding), _level_count(height, rounding)
    return [tiles(x, y) for y in range(down_levels) for x in range(across_levels)]


def _level_size(size: int, level: int, rounding: int) -> int:
    return max(1, -(-size >> level) if rounding else size >> level)


def _level_count(size: int, rounding: int) -> int:
    return (size - 1).bit_length() + 1 if rounding else size.bit_length()
