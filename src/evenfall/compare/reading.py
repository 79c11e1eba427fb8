"""Pictures of any kind that is delivered, read for comparing: linear light, averaged down."""

from __future__ import annotations

import struct
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from evenfall.errors import Fault, PixelSourceError
from evenfall.light.code_points import PRIMARIES, TRANSFER_PQ, TRANSFER_SRGB
from evenfall.light.output_spaces import output_space
from evenfall.light.primaries import (
    BT709,
    RgbSpace,
    conversion_matrix,
    space_from_chromaticities,
)
from evenfall.light.transfer import decode_pq, decode_srgb
from evenfall.light.units import REFERENCE_WHITE_NITS
from evenfall.mix.averaging import area_mean_of_pixels
from evenfall.passes.side.pictures import read_picture

__all__ = ["Reduced", "is_picture", "read_reduced"]

Floats = npt.NDArray[np.float32]

_ENDINGS = frozenset(
    (".png", ".jpg", ".jpeg", ".tif", ".tiff", ".exr", ".avif", ".webp", ".bmp", ".hdr", ".pfm")
)
_AVIF = b"ftypavif"
_COLOUR_BOX = b"colrnclx"  # ISO/IEC 14496-12, 12.1.5
_SIGNALS = {TRANSFER_SRGB: decode_srgb, TRANSFER_PQ: decode_pq}


@dataclass(frozen=True, eq=False)
class Reduced:
    """A picture brought down.

    Parameters
    ----------
    planes : ndarray of float32, shape (3, h, w)
        Linear R, G, B; 1 is diffuse white.
    space : RgbSpace
        Their primaries and white.
    size : tuple of int
        Width and height of the picture as it was read.
    """

    planes: Floats
    space: RgbSpace
    size: tuple[int, int]

    def codes(self) -> npt.NDArray[np.uint8]:
        """Show it as sRGB codes, shape (h, w, 3); what sRGB cannot show is cut off.

        Examples
        --------
        >>> grey = Reduced(np.full((3, 1, 1), 0.18, np.float32), BT709, (1, 1))
        >>> grey.codes().tolist()
        [[[118, 118, 118]]]
        """
        linear = self.planes
        if self.space != BT709:
            matrix = conversion_matrix(self.space, BT709).astype(np.float32)
            linear = np.tensordot(matrix, linear, axes=1)
        linear = np.clip(linear, 0, 1)
        codes = np.rint(output_space("sRGB").encode(linear) * 255).astype(np.uint8)
        return np.ascontiguousarray(np.moveaxis(codes, 0, -1))


def is_picture(path: Path) -> bool:
    """Whether a file is called like a picture.

    Examples
    --------
    >>> is_picture(Path("view_dusk.JPG")), is_picture(Path("view.toml"))
    (True, False)
    """
    return path.suffix.lower() in _ENDINGS


def read_reduced(path: Path, width: int | None) -> Reduced:
    """Read a picture, averaged down in linear light.

    Parameters
    ----------
    path : Path
        PNG, JPEG, TIFF, WebP, BMP, AVIF, EXR, HDR or PFM. Codes are decoded by the profile in the
        file, PQ so that 203 cd/m2 are white; values of EXR, HDR and PFM are taken as they are.
    width : int or None
        Wider pictures are brought down to it; None leaves them as they are.

    Raises
    ------
    PixelSourceError
        When it is missing, damaged, or of a kind or colour that cannot be used.
    """
    rgb, space = _read(path)
    size = rgb.shape[1], rgb.shape[0]
    small = _lowered(size, width)
    if small == size:
        return Reduced(np.ascontiguousarray(np.moveaxis(rgb, -1, 0)), space, size)
    return Reduced(area_mean_of_pixels(np.ascontiguousarray(rgb), small), space, size)


def _lowered(size: tuple[int, int], width: int | None) -> tuple[int, int]:
    if width is None or size[0] <= width:
        return size
    return width, max(1, round(size[1] * width / size[0]))


def _read(path: Path) -> tuple[Floats, RgbSpace]:
    try:
        with path.open("rb") as stream:
            is_avif = stream.read(12)[4:] == _AVIF
    except OSError:  # which reading says better
        is_avif = False
    if is_avif:
        return _read_avif(path)
    picture = read_picture(path)
    return picture.rgb, space_from_chromaticities(picture.space)


def _read_avif(path: Path) -> tuple[Floats, RgbSpace]:
    import imagecodecs

    data = path.read_bytes()
    at = data.find(_COLOUR_BOX)
    if at < 0:
        raise PixelSourceError(
            Fault(str(path), "", "an AVIF file that does not say how its colours are encoded")
        )
    primaries, transfer = struct.unpack_from(">HH", data, at + len(_COLOUR_BOX))
    if primaries not in PRIMARIES or transfer not in _SIGNALS:
        found = f"colour codes {primaries}, {transfer} of ITU-T H.273"
        raise PixelSourceError(Fault(str(path), "", found, "PQ or sRGB"))
    try:
        codes = imagecodecs.avif_decode(data)[..., :3]
    except Exception as error:  # decoders raise whatever comes to their mind on damaged files
        raise PixelSourceError(Fault(str(path), "", "the file is damaged or cut short")) from error
    top = 255 if codes.dtype == np.uint8 else _top_code(data)
    table = _SIGNALS[transfer](np.arange(top + 1) / top)
    if transfer == TRANSFER_PQ:
        table = table / REFERENCE_WHITE_NITS
    return table.astype(np.float32)[np.minimum(codes, top)], PRIMARIES[primaries]


def _top_code(data: bytes) -> int:
    """Largest code of an AVIF file of more than 8 bits, which its configuration tells apart."""
    at = data.find(b"av1C")  # AV1 in ISOBMFF, 2.3.3
    return 4095 if at >= 0 and data[at + 6] & 0x20 else 1023
