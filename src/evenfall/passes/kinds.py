"""Which kind of file it is, by its first bytes and never by its name."""

from __future__ import annotations

from pathlib import Path

from evenfall.passes.faults import refused
from evenfall.passes.files import PassFile

__all__ = ["EXR_MAGIC", "encoded_kind", "kind_of"]

EXR_MAGIC = b"\x76\x2f\x31\x01"
_HDR_MAGIC = b"#?"
_TIFF_MAGICS = (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")
_PFM_MAGICS = (b"PF", b"Pf")

_ENCODED_MAGICS = {
    b"\x89PNG": "a PNG",
    b"\xff\xd8\xff": "a JPEG",
    b"GIF8": "a GIF",
    b"BM": "a BMP",
    b"8BPS": "a layered picture of a paint program",
    b"DDS ": "a DDS texture",
    b"\xff\x0a": "a JPEG XL",
    b"\0\0\0\x0cJXL ": "a JPEG XL",
    b"\0\0\0\x0cjP  ": "a JPEG 2000",
}
_BOXED = {b"avif": "an AVIF", b"heic": "a HEIC", b"mif1": "a HEIF"}


def kind_of(file: PassFile) -> str:
    """Return ``"exr"``, ``"hdr"``, ``"tiff"`` or ``"pfm"``.

    Raises
    ------
    PassError
        When the file is a picture of a display-encoded kind, or of no kind that is known.
    """
    head = file.at(0, 16)
    if head.startswith(EXR_MAGIC):
        return "exr"
    if head.startswith(_HDR_MAGIC):
        return "hdr"
    if head.startswith(_TIFF_MAGICS):
        return "tiff"
    if head.startswith(_PFM_MAGICS) and head[2:3].isspace():
        return "pfm"
    encoded = encoded_kind(head)
    if encoded is not None:
        raise refused(
            file.path,
            f"is {encoded}: display-encoded, not scene-linear",
            "EXR, Radiance HDR, float TIFF or PFM",
            "render the pass as EXR without a display transform",
        )
    raise refused(
        file.path,
        f"is not a picture of a known kind; it begins with {head[:8].hex(' ')}",
        "EXR, Radiance HDR, float TIFF or PFM",
        _renamed_hint(file.path),
    )


def encoded_kind(head: bytes) -> str | None:
    """Name a display-encoded kind of picture, with its article, by a file's first 16 bytes.

    Examples
    --------
    >>> encoded_kind(b"GIF89a"), encoded_kind(b"#?RADIANCE")
    ('a GIF', None)
    """
    if head[:4] == b"RIFF" and head[8:12] == b"WEBP":
        return "a WebP"
    if head[4:8] == b"ftyp":
        return _BOXED.get(head[8:12], "a HEIF or video file")
    return next((word for magic, word in _ENCODED_MAGICS.items() if head.startswith(magic)), None)


def _renamed_hint(path: Path) -> str:
    known = path.suffix.lower() in (".exr", ".hdr", ".tif", ".tiff", ".pfm")
    return "the file is damaged: render or copy it again" if known else ""
