"""Metadata items in AVIF files: the boxes of ISO/IEC 14496-12 and 23008-12 that they need.

An encoder wrote the file; here its `meta` box gets an XMP item (item type `mime`, linked to the
picture by a `cdsc` reference), whose bytes go to the end of the file, and a content light level
(`clli`) among the picture's properties.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass

__all__ = ["add_metadata", "xmp_in_avif"]

_XMP_TYPE = b"application/rdf+xml"
_FULL_BOX = 4  # bytes of version and flags


@dataclass(frozen=True)
class _Location:
    item: int
    offset: int
    length: int


def add_metadata(
    data: bytes, *, xmp: bytes | None = None, light_level: tuple[int, int] | None = None
) -> bytes:
    """AVIF file with XMP and with its largest and mean luminance.

    Parameters
    ----------
    data : bytes
        An AVIF file of one picture.
    xmp : bytes, optional
        The packet.
    light_level : tuple of int, optional
        Largest luminance of a pixel and largest mean of a picture, cd/m2 (CTA-861.3 annex P).

    Raises
    ------
    ValueError
        If the file is laid out otherwise than encoders do.
    """
    top = dict(_boxes(data))
    meta = top[b"meta"]
    parts = dict(_boxes(meta[_FULL_BOX:]))
    (picture,) = struct.unpack_from(">H", parts[b"pitm"], _FULL_BOX)
    locations = _locations(parts[b"iloc"])
    if light_level is not None:
        parts[b"iprp"] = _with_property(parts[b"iprp"], picture, _light_level(light_level))
    if xmp is not None:
        added = max(location.item for location in locations) + 1
        parts[b"iinf"] = _with_item(parts[b"iinf"], added)
        parts[b"iref"] = bytes(4) + _box(b"cdsc", struct.pack(">HHH", added, 1, picture))
        locations = [*locations, _Location(added, len(data) + 8, len(xmp))]
    parts[b"iloc"] = _packed_locations(locations)
    shift = len(_meta(meta, parts)) - len(meta)
    moved = [_Location(at.item, at.offset + shift, at.length) for at in locations]
    parts[b"iloc"] = _packed_locations(moved)
    boxes = [_box(kind, _meta(meta, parts) if kind == b"meta" else body)
             for kind, body in _boxes(data)]  # fmt: skip
    if xmp is not None:
        boxes.append(_box(b"mdat", xmp))
    return b"".join(boxes)


def xmp_in_avif(data: bytes) -> bytes | None:
    """XMP packet of an AVIF file, or None.

    Raises
    ------
    ValueError
        If the boxes of the file do not read.
    """
    meta = dict(_boxes(data)).get(b"meta", b"")
    parts = dict(_boxes(meta[_FULL_BOX:]))
    items = parts.get(b"iinf", b"")
    for kind, body in _boxes(items[_FULL_BOX + 2 :]):
        if kind == b"infe" and body[8:12] == b"mime" and _XMP_TYPE in body:
            (item,) = struct.unpack_from(">H", body, _FULL_BOX)
            for location in _locations(parts[b"iloc"]):
                if location.item == item:
                    return data[location.offset : location.offset + location.length]
    return None


def _boxes(data: bytes) -> Iterator[tuple[bytes, bytes]]:
    place = 0
    while place + 8 <= len(data):
        size, kind = struct.unpack_from(">I4s", data, place)
        if size < 8 or place + size > len(data):
            raise ValueError(f"box {kind!r} has an impossible size")
        yield kind, data[place + 8 : place + size]
        place += size


def _box(kind: bytes, body: bytes) -> bytes:
    return struct.pack(">I4s", 8 + len(body), kind) + body


def _meta(meta: bytes, parts: dict[bytes, bytes]) -> bytes:
    return meta[:_FULL_BOX] + b"".join(_box(kind, body) for kind, body in parts.items())


def _locations(iloc: bytes) -> list[_Location]:
    """Places of items with one extent each; versions 0 and 1 with 4-byte fields, as written."""
    version, sizes, base = iloc[0], iloc[4], iloc[5] >> 4
    if version > 1 or sizes != 0x44 or base not in (0, 4):
        raise ValueError("the item locations have an unknown layout")
    (count,) = struct.unpack_from(">H", iloc, 6)
    place, found = 8, []
    for _ in range(count):
        (item,) = struct.unpack_from(">H", iloc, place)
        place += 2 + (2 if version == 1 else 0) + 2
        (start,) = struct.unpack_from(">I", iloc, place) if base else (0,)
        extents, offset, length = struct.unpack_from(">HII", iloc, place + base)
        if extents != 1:
            raise ValueError("an item is in several pieces")
        found.append(_Location(item, start + offset, length))
        place += base + 10
    return found


def _packed_locations(locations: list[_Location]) -> bytes:
    packed = bytes(4) + struct.pack(">BBH", 0x44, 0, len(locations))
    for location in locations:
        packed += struct.pack(">HHHII", location.item, 0, 1, location.offset, location.length)
    return packed


def _with_item(iinf: bytes, item: int) -> bytes:
    (count,) = struct.unpack_from(">H", iinf, _FULL_BOX)
    entry = struct.pack(">IHH4s", 2 << 24, item, 0, b"mime") + b"XMP\0" + _XMP_TYPE + b"\0"
    return iinf[:4] + struct.pack(">H", count + 1) + iinf[6:] + _box(b"infe", entry)


def _light_level(light_level: tuple[int, int]) -> bytes:
    return _box(b"clli", struct.pack(">HH", *(min(max(level, 0), 65535) for level in light_level)))


def _with_property(iprp: bytes, picture: int, added: bytes) -> bytes:
    """Put a property into the container and tie the picture to it, as not essential."""
    parts = dict(_boxes(iprp))
    number = sum(1 for _ in _boxes(parts[b"ipco"])) + 1
    parts[b"ipco"] += added
    ipma = parts[b"ipma"]
    (count,) = struct.unpack_from(">I", ipma, 4)
    if ipma[0] != 0 or ipma[3] & 1 or count != 1 or number > 127:
        raise ValueError("the picture's properties have an unknown layout")
    item, ties = struct.unpack_from(">HB", ipma, 8)
    if item != picture:
        raise ValueError("the properties belong to another item")
    parts[b"ipma"] = ipma[:10] + bytes((ties + 1,)) + ipma[11:] + bytes((number,))
    return b"".join(_box(kind, body) for kind, body in parts.items())
