"""Reading back where a delivered picture came from."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from evenfall.deliver.exr import RECORD_ATTRIBUTE
from evenfall.deliver.isobmff import xmp_in_avif
from evenfall.deliver.jpeg import xmp_in_jpeg
from evenfall.deliver.png import xmp_in_png
from evenfall.deliver.provenance import Provenance, record_from_xmp
from evenfall.errors import Fault, PixelSourceError
from evenfall.system.regular import open_regular

__all__ = ["read_provenance"]

_KINDS = "a PNG, JPEG, TIFF, AVIF or EXR file that evenfall wrote"


def read_provenance(path: Path) -> Provenance | None:
    """Record inside a delivered file, or None if it carries none.

    Parameters
    ----------
    path : Path
        A PNG, JPEG, TIFF, AVIF or EXR file.

    Raises
    ------
    PixelSourceError
        If the file cannot be read, is of another kind, or its record is damaged.
    """
    try:
        with open_regular(path) as stream:
            data = stream.read()
    except OSError as error:
        found = f"cannot be read: {error.strerror or error}"
        raise PixelSourceError(Fault(str(path), "", found, _KINDS)) from error
    for place, signature, reader in _READERS:
        if data.startswith(signature, place):
            try:
                return reader(data)
            except Exception as error:  # readers of damaged files raise what they please
                raise PixelSourceError(
                    Fault(
                        str(path),
                        "",
                        f"its record is damaged: {error}",
                        "",
                        "ask for the file as it was delivered",
                    )
                ) from error
    raise PixelSourceError(Fault(str(path), "", "a file of another kind", _KINDS))


def _from_xmp(find: Callable[[bytes], bytes | None]) -> Callable[[bytes], Provenance | None]:
    def read(data: bytes) -> Provenance | None:
        packet = find(data)
        return record_from_xmp(packet) if packet else None

    return read


def _xmp_in_tiff(data: bytes) -> bytes | None:
    from io import BytesIO

    import tifffile

    with tifffile.TiffFile(BytesIO(data)) as file:
        tag = file.pages.first.tags.get(700)
        return bytes(tag.value) if tag is not None else None


def _from_exr(data: bytes) -> Provenance | None:
    """Find the attribute in the header without decoding: name, type, size, value."""
    head = RECORD_ATTRIBUTE.encode() + b"\0string\0"
    place = data.find(head)
    if place < 0:
        return None
    start = place + len(head) + 4
    size = int.from_bytes(data[start - 4 : start], "little")
    return Provenance.from_json(data[start : start + size].decode())


_READERS: tuple[tuple[int, bytes, Callable[[bytes], Provenance | None]], ...] = (
    (0, b"\x89PNG", _from_xmp(xmp_in_png)),
    (0, b"\xff\xd8", _from_xmp(xmp_in_jpeg)),
    (0, b"II*\0", _from_xmp(_xmp_in_tiff)),
    (0, b"II+\0", _from_xmp(_xmp_in_tiff)),
    (0, b"v/1\x01", _from_exr),
    (4, b"ftypavif", _from_xmp(xmp_in_avif)),
)
