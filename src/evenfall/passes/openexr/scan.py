"""What an OpenEXR file claims, read by ourselves and held against the bytes that are there.

The OpenEXR library invents defaults for attributes that are missing, believes a data window that
is too short, and leaves a part out when its pixels cannot be decoded. So the header, the table of
chunk offsets and the leader of every chunk are read here first; only a file in which all of them
agree reaches the decoder. Layout: "OpenEXR File Layout", openexr.com, version 2 of the format.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from typing import NoReturn

from evenfall.passes.faults import damaged
from evenfall.passes.files import PassFile
from evenfall.passes.kinds import EXR_MAGIC
from evenfall.passes.openexr.parts import Attributes, ExrPart, part_of

__all__ = ["ExrScan", "scan_headers"]

MAX_PARTS = 1024
MAX_ATTRIBUTES = 4096
MAX_HEADER_BYTES = 1 << 26

_SINGLE_TILED, _LONG_NAMES, _NON_IMAGE, _MULTIPART = 0x200, 0x400, 0x800, 0x1000
_KNOWN_FLAGS = _SINGLE_TILED | _LONG_NAMES | _NON_IMAGE | _MULTIPART


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


class _HeaderScanner:
    """Walks the headers of a file from its magic number to the end of the last header."""

    def __init__(self, file: PassFile) -> None:
        self.file = file
        self.block = file.at(0, 1 << 16)
        self.place = 8
        self.part_index: int | None = None

    def fail(self, found: str, allowed: str = "") -> NoReturn:
        place = "header" if self.part_index is None else f"header of part {self.part_index}"
        raise damaged(self.file.path, found, allowed, place=place)

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
            storage = _storage(version)
            parts.append(part_of(index, attributes, storage, multipart, self.fail))
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

    def _attributes(self, longest: int) -> Attributes:
        found: Attributes = {}
        while self._need(self.place, 1) != b"\0":
            name, kind = self._text(longest), self._text(longest)
            (size,) = struct.unpack("<i", self._need(self.place, 4))
            if size < 0 or self.place + 4 + size > self.file.size:
                self.fail(
                    f"attribute {name!r} claims {size:,} bytes", "no more than the file holds"
                )
            if name in found:
                self.fail(f"attribute {name!r} comes twice")
            if len(found) == MAX_ATTRIBUTES:
                self.fail(f"more than {MAX_ATTRIBUTES:,} attributes")
            found[name] = (kind, self._need(self.place + 4, size))
            self.place += 4 + size
        self.place += 1
        return found


def _storage(version: int) -> str | None:
    """How a single part is stored by the flags, which outweigh its `type`; else None."""
    if version & (_MULTIPART | _NON_IMAGE):
        return None
    return "tiledimage" if version & _SINGLE_TILED else "scanlineimage"
