"""Scene-linear OpenEXR files through the OpenEXR library."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from io import BytesIO
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from evenfall.deliver.finished import Encoded, Finished
from evenfall.deliver.provenance import Provenance

__all__ = ["EncodedExr", "encode", "encode_exr", "find_record", "noted", "to_half"]

_RECORD = "evenfallRecord"
_LARGEST = np.float32(65504.0)  # of half floats, IEEE 754 binary16

Planes = npt.NDArray[np.float32]


@dataclass(frozen=True)
class EncodedExr:
    """An EXR file in memory, and how many values were brought into half range for it."""

    data: bytes
    clamped: int


def encode_exr(
    scene_linear: Planes,
    alpha: Planes | None = None,
    *,
    bits: Literal[16, 32] = 16,
    chromaticities: tuple[float, ...] | None = None,
    white_luminance: float | None = None,
    pixel_aspect: float = 1.0,
    provenance: Provenance | None = None,
    attributes: dict[str, str | float] | None = None,
    layers: Iterable[tuple[str, Planes]] = (),
    ids: npt.NDArray[np.uint32] | None = None,
) -> EncodedExr:
    """EXR file of scene-linear planes, ZIP-compressed.

    Parameters
    ----------
    scene_linear : ndarray
        Shape (3, H, W), float32; any value. As half, values beyond +/-65504 are brought to that,
        infinities too, and counted; NaN is kept.
    alpha : ndarray, optional
        Shape (H, W); colour is premultiplied by it, as OpenEXR says.
    bits : {16, 32}
        Half or float.
    chromaticities : tuple of 8 floats, optional
        xy of red, green, blue, white; BT.709 is what readers assume without.
    white_luminance : float, optional
        cd/m2 of (1, 1, 1), if known.
    pixel_aspect : float
        Width over height of a pixel.
    provenance : Provenance, optional
        Record, title, author and copyright to embed.
    attributes : dict, optional
        Further attributes, text or numbers.
    layers : iterable of (str, ndarray), optional
        Names and planes, shape (3, H, W), of layers beside the picture; one at a time is asked for.
    ids : ndarray of uint32, optional
        Shape (H, W): whole numbers, stored as they are in a channel called id.

    Examples
    --------
    >>> encoded = encode_exr(np.full((3, 2, 2), 70000, np.float32))
    >>> encoded.data[:4].hex(), encoded.clamped
    ('762f3101', 12)
    """
    import OpenEXR

    clamped = 0
    channels: dict[str, npt.NDArray[Any]] = {}

    def store(name: str, plane: Planes) -> None:
        nonlocal clamped
        stored: npt.NDArray[Any] = plane
        if bits == 16:
            stored, count = to_half(plane)
            clamped += count
        channels[name] = np.ascontiguousarray(stored)

    for name, plane in zip("RGB", scene_linear, strict=True):
        store(name, plane)
    if alpha is not None:
        store("A", alpha)
    for layer, planes in layers:
        for name, plane in zip("RGB", planes, strict=True):
            store(f"{layer}.{name}", plane)
    if ids is not None:
        channels["id"] = np.ascontiguousarray(ids)
    header: dict[str, Any] = {
        "compression": OpenEXR.ZIP_COMPRESSION,
        "type": OpenEXR.scanlineimage,
        "pixelAspectRatio": float(pixel_aspect),
        **(attributes or {}),
    }
    if chromaticities is not None:
        header["chromaticities"] = tuple(float(value) for value in chromaticities)
    if white_luminance is not None:
        header["whiteLuminance"] = float(white_luminance)
    if provenance is not None:
        header |= _origin(provenance)
    stream = BytesIO()
    OpenEXR.File(header, channels).write(stream)
    return EncodedExr(stream.getvalue(), clamped)


def to_half(plane: npt.NDArray[np.floating[Any]]) -> tuple[npt.NDArray[np.float16], int]:
    """Half floats of a plane, and how many values were beyond +/-65504 and were brought there.

    Examples
    --------
    >>> half, clamped = to_half(np.array([0.5, -1e6], np.float32))
    >>> half.tolist(), clamped
    ([0.5, -65504.0], 1)
    """
    if plane.dtype == np.float16:
        return np.asarray(plane, np.float16), 0
    if not plane.size or max(np.fmax.reduce(plane, None), -np.fmin.reduce(plane, None)) <= _LARGEST:
        return plane.astype(np.float16), 0
    beyond = int(np.count_nonzero(np.abs(plane) > _LARGEST))
    return np.clip(plane, -_LARGEST, _LARGEST).astype(np.float16), beyond


def _origin(provenance: Provenance) -> dict[str, str]:
    found = {
        "owner": provenance.copyright or provenance.author,
        "comments": provenance.description or provenance.title,
        "software": provenance.software,
        _RECORD: provenance.to_json() if provenance.is_told else "",
    }
    # A file name that is no UTF-8 is escaped as JSON escapes it.
    return {
        name: text.encode(errors="backslashreplace").decode()
        for name, text in found.items()
        if text
    }


def encode(finished: Finished) -> Encoded:
    """EXR file of a mix: scene-linear in the passes' primaries, before the look."""
    mix = finished.scene_linear()
    encoded = encode_exr(
        mix.planes,
        mix.alpha,
        bits=16 if finished.deliverable.bit_depth == 16 else 32,
        chromaticities=mix.chromaticities,
        white_luminance=mix.white_luminance,
        pixel_aspect=mix.pixel_aspect,
        provenance=finished.provenance,
    )
    return noted(encoded)


def noted(encoded: EncodedExr, *notes: str) -> Encoded:
    """Give a file with what should be known of it, values out of half range first."""
    if not encoded.clamped:
        return Encoded(encoded.data, notes)
    clamped = (
        f"{encoded.clamped:,} values beyond half range were brought to 65,504; bits = 32 keeps them"
    )
    return Encoded(encoded.data, (clamped, *notes))


def find_record(data: bytes) -> Provenance | None:
    """Record in an EXR file, or None: read off the header, without decoding.

    An attribute is its name, its type, its size and its value.
    """
    head = _RECORD.encode() + b"\0string\0"
    place = data.find(head)
    if place < 0:
        return None
    start = place + len(head) + 4
    size = int.from_bytes(data[start - 4 : start], "little")
    return Provenance.from_json(data[start : start + size].decode())
