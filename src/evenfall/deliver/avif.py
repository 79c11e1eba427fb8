"""HDR stills as AVIF: BT.2100 PQ with BT.2020 primaries, 10 or 12 bits, full colour resolution."""

from __future__ import annotations

from typing import Literal

import numpy as np
import numpy.typing as npt

from evenfall.deliver.finished import Encoded, Finished
from evenfall.deliver.formats import displays
from evenfall.deliver.isobmff import add_metadata, xmp_in_avif
from evenfall.deliver.provenance import Provenance, record_from_xmp, xmp_packet
from evenfall.light.code_points import MATRIX_BT2020, TRANSFER_PQ, primaries_code
from evenfall.light.output_spaces import output_space
from evenfall.light.primaries import BT2020, RgbSpace, conversion_matrix
from evenfall.light.transfer import encode_pq
from evenfall.light.units import REFERENCE_WHITE_NITS

__all__ = ["encode", "encode_avif", "find_record"]

_SPEED = 8
_THREADS = 4  # always as many, as the bytes depend on it
_ROWS = 64

Planes = npt.NDArray[np.float32]


def encode_avif(
    display_linear: Planes,
    *,
    primaries: RgbSpace,
    bits: Literal[10, 12] = 10,
    quality: int = 92,
    peak_nits: float = 1000.0,
    provenance: Provenance | None = None,
) -> bytes:
    """AVIF file of display-linear light.

    Parameters
    ----------
    display_linear : ndarray
        Shape (3, H, W), float32; 1 is diffuse white, shown at 203 cd/m2, and highlights lie
        above. Values below 0 and NaN become 0; what lies above the peak is cut there.
    primaries : RgbSpace
        Of `display_linear`.
    bits : {10, 12}
        Bits per channel.
    quality : int
        1 to 100.
    peak_nits : float
        Luminance at which values are cut, cd/m2.
    provenance : Provenance, optional
        Record, title, author and copyright to embed.

    Examples
    --------
    >>> from evenfall.light.primaries import BT709
    >>> data = encode_avif(np.ones((3, 16, 16), np.float32), primaries=BT709)
    >>> data[4:12]
    b'ftypavif'
    """
    import imagecodecs

    codes, light_level = _pq_codes(display_linear, primaries, bits, peak_nits)
    encoded = imagecodecs.avif_encode(
        codes, quality, speed=_SPEED, bitspersample=bits, pixelformat="444",
        primaries=primaries_code(BT2020), transfer=TRANSFER_PQ, matrix=MATRIX_BT2020,
        numthreads=_THREADS,
    )  # fmt: skip
    packet = xmp_packet(provenance) if provenance is not None else None
    return add_metadata(bytes(encoded), xmp=packet, light_level=light_level)


def encode(finished: Finished) -> Encoded:
    """AVIF file of a finished picture."""
    asked = finished.deliverable
    data = encode_avif(
        finished.hdr(),
        primaries=output_space(displays(asked)["hdr"].space).rgb,
        bits=12 if asked.bit_depth == 12 else 10,
        quality=asked.quality,
        peak_nits=asked.peak_nits,
        provenance=finished.provenance,
    )
    return Encoded(data)


def find_record(data: bytes) -> Provenance | None:
    """Record in an AVIF file, or None."""
    packet = xmp_in_avif(data)
    return record_from_xmp(packet) if packet else None


def _pq_codes(
    display_linear: Planes, primaries: RgbSpace, bits: int, peak_nits: float
) -> tuple[npt.NDArray[np.uint16], tuple[int, int]]:
    """Codes, and the largest and the mean luminance of a pixel's brightest channel in cd/m2."""
    _, height, width = display_linear.shape
    matrix = (conversion_matrix(primaries, BT2020) * REFERENCE_WHITE_NITS).astype(np.float32)
    codes = np.empty((height, width, 3), np.uint16)
    top, largest, total = np.float32(2**bits - 1), 0.0, 0.0
    for row in range(0, height, _ROWS):
        strip = display_linear[:, row : row + _ROWS]
        nits = np.tensordot(matrix, strip, axes=1)
        np.fmin(np.fmax(nits, np.float32(0), out=nits), np.float32(peak_nits), out=nits)
        brightest = nits.max(axis=0)
        largest = max(largest, float(brightest.max()))
        total += float(brightest.sum(dtype=np.float64))
        signal = encode_pq(nits) * top + np.float32(0.5)
        codes[row : row + _ROWS] = np.moveaxis(signal, 0, -1)
    return codes, (round(largest), round(total / (height * width)))
