"""The few Exif fields that clients' programs show (CIPA DC-008, Exif 2.32 tag numbers)."""

from __future__ import annotations

import struct

from evenfall.deliver.provenance import Provenance

__all__ = ["exif_block"]

_ASCII, _SHORT, _LONG, _RATIONAL, _UNDEFINED = 2, 3, 4, 5, 7
_EXIF_POINTER = 0x8769
_INCH = 2
_UNKNOWN_DPI = 72.0
_CENTRED = 1  # where chroma lies, as JFIF has it (ITU-T T.871)
_Y_CB_CR = bytes((1, 2, 3, 0))

Entry = tuple[int, int, int, bytes]  # tag, type, count, value


def exif_block(
    provenance: Provenance | None,
    *,
    space: str,
    dpi: float | None,
    jpeg_size: tuple[int, int] | None = None,
) -> bytes:
    r"""Exif block, big-endian, without the "Exif" identifier that JPEG puts before it.

    Text is UTF-8, as most readers expect, though Exif before 3.0 names 7-bit ASCII only.

    Parameters
    ----------
    provenance : Provenance or None
        Title or description, author, copyright and version are taken from it.
    space : str
        Output space; ColorSpace says 1 for sRGB and "uncalibrated" (65535) otherwise.
    dpi : float or None
        Pixels per inch.
    jpeg_size : tuple of 2 int, optional
        Width and height of the picture, where it is a JPEG: fields follow that are mandatory in
        compressed pictures only, and 72 pixels per inch, which stands for "not known" there
        (CIPA DC-008, 4.6.4 and 4.6.5).

    Examples
    --------
    >>> exif_block(None, space="sRGB", dpi=300.0)[:4]
    b'MM\x00*'
    """
    entries: list[Entry] = []
    if provenance is not None:
        for tag, text in (
            (0x010E, provenance.description or provenance.title),
            (0x0131, provenance.software),
            (0x013B, provenance.author),
            (0x8298, provenance.copyright),
        ):
            if text:
                value = text.replace("\0", "").encode() + b"\0"
                entries.append((tag, _ASCII, len(value), value))
    if dpi is None and jpeg_size is not None:
        dpi = _UNKNOWN_DPI
    if dpi is not None:
        ratio = struct.pack(">II", round(dpi * 1000), 1000)
        entries += [(0x011A, _RATIONAL, 1, ratio), (0x011B, _RATIONAL, 1, ratio)]
        entries.append((0x0128, _SHORT, 1, struct.pack(">H", _INCH)))
    colour_space = 1 if space == "sRGB" else 65535
    inner: list[Entry] = [
        (0x9000, _UNDEFINED, 4, b"0232"),
        (0xA001, _SHORT, 1, struct.pack(">H", colour_space)),
    ]
    if jpeg_size is not None:
        entries.append((0x0213, _SHORT, 1, struct.pack(">H", _CENTRED)))
        inner += [
            (0x9101, _UNDEFINED, 4, _Y_CB_CR),
            (0xA000, _UNDEFINED, 4, b"0100"),
            (0xA002, _LONG, 1, struct.pack(">I", jpeg_size[0])),
            (0xA003, _LONG, 1, struct.pack(">I", jpeg_size[1])),
        ]
    pointer = 8 + _directory_size([*entries, (_EXIF_POINTER, _LONG, 1, bytes(4))])
    entries.append((_EXIF_POINTER, _LONG, 1, struct.pack(">I", pointer)))
    return b"MM\0*" + struct.pack(">I", 8) + _directory(entries, 8) + _directory(inner, pointer)


def _directory_size(entries: list[Entry]) -> int:
    outside = sum(len(value) + len(value) % 2 for *_, value in entries if len(value) > 4)
    return 2 + 12 * len(entries) + 4 + outside


def _directory(entries: list[Entry], offset: int) -> bytes:
    table, outside = b"", b""
    place = offset + 2 + 12 * len(entries) + 4
    for tag, kind, count, value in sorted(entries):
        if len(value) <= 4:
            field = value.ljust(4, b"\0")
        else:
            field = struct.pack(">I", place + len(outside))
            outside += value + bytes(len(value) % 2)
        table += struct.pack(">HHI", tag, kind, count) + field
    return struct.pack(">H", len(entries)) + table + bytes(4) + outside
