"""TIFF files (TIFF 6.0; big files as BigTIFF) through tifffile."""

from __future__ import annotations

import contextlib
from importlib import import_module
from io import BytesIO
from typing import Any

import numpy as np
import numpy.typing as npt

from evenfall.deliver.finished import Encoded, Finished
from evenfall.deliver.icc import icc_profile
from evenfall.deliver.provenance import Provenance, record_from_xmp, xmp_packet
from evenfall.passes.formats.tiff import open_tiff

__all__ = ["encode", "encode_tiff", "find_record"]

_XMP_TAG, _ARTIST, _COPYRIGHT = 700, 315, 33432
_BYTE, _ASCII = 1, 2
_ROWS_PER_STRIP = 64
_DEFLATE_LEVEL = 1
_BIG = 3 << 30

Codes = npt.NDArray[np.uint8] | npt.NDArray[np.uint16]


def encode_tiff(
    codes: Codes,
    *,
    space: str = "sRGB",
    provenance: Provenance | None = None,
    dpi: float | None = None,
) -> bytes:
    r"""TIFF file of display-encoded codes, deflated with the horizontal predictor.

    Parameters
    ----------
    codes : ndarray
        uint8 or uint16, shape (H, W, 3), or (H, W, 4) with straight alpha.
    space : str
        Output space; its profile goes into the file.
    provenance : Provenance, optional
        Record, title, author and copyright to embed.
    dpi : float, optional
        Pixels per inch.

    Examples
    --------
    >>> encode_tiff(np.zeros((4, 6, 3), np.uint16), dpi=300)[:4]
    b'II*\x00'
    """
    import tifffile

    _load_deflate()
    options: dict[str, Any] = {
        "photometric": "rgb",
        "compression": "zlib",
        "compressionargs": {"level": _DEFLATE_LEVEL},
        "predictor": True,
        "rowsperstrip": _ROWS_PER_STRIP,
        "iccprofile": icc_profile(space),
        "metadata": None,
        "software": provenance.software if provenance else "evenfall",
        "maxworkers": 1,
    }
    if codes.shape[-1] == 4:
        options["extrasamples"] = ("unassalpha",)
    if dpi is not None:
        options |= {"resolution": (dpi, dpi), "resolutionunit": "inch"}
    if provenance is not None:
        options |= _origin(provenance)
    stream = BytesIO()
    tifffile.imwrite(
        stream, np.ascontiguousarray(codes), bigtiff=codes.nbytes > _BIG, byteorder="<", **options
    )
    return stream.getvalue()


def _load_deflate() -> None:
    """Load what tifffile compresses with; else it takes another, which makes other bytes.

    Raises
    ------
    ImportError
        When it is there and cannot be loaded.
    """
    with contextlib.suppress(ModuleNotFoundError):  # a build without it
        import_module("imagecodecs._deflate")


def _origin(provenance: Provenance) -> dict[str, Any]:
    packet = xmp_packet(provenance)
    tags: list[tuple[int, int, int, bytes, bool]] = [(_XMP_TAG, _BYTE, len(packet), packet, True)]
    for tag, text in ((_ARTIST, provenance.author), (_COPYRIGHT, provenance.copyright)):
        if text:
            value = text.replace("\0", "").encode() + b"\0"
            tags.append((tag, _ASCII, len(value), value, True))
    description = (provenance.description or provenance.title).replace("\0", "")
    return {"extratags": tags, "description": description.encode() or None}


def encode(finished: Finished) -> Encoded:
    """TIFF file of a finished picture."""
    data = encode_tiff(
        finished.codes(),
        space=finished.deliverable.space,
        provenance=finished.provenance,
        dpi=finished.dpi,
    )
    return Encoded(data)


def find_record(data: bytes) -> Provenance | None:
    """Record in a TIFF file, or None."""
    with open_tiff(BytesIO(data)) as file:
        tag = file.pages.first.tags.get(_XMP_TAG)
        return record_from_xmp(bytes(tag.value)) if tag is not None else None
