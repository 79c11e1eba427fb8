"""Pictures of any kind that is delivered, read for comparing: linear light, averaged down."""

from __future__ import annotations

import struct
from collections.abc import Callable
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
from evenfall.mix.averaging import area_mean_of_pixels, area_mean_of_rows
from evenfall.passes.side.codes import StoredCodes
from evenfall.passes.side.decoding import Decoding
from evenfall.passes.side.pictures import read_by_rows, read_picture
from evenfall.passes.side.whole import picture_bytes

__all__ = ["LightByRows", "Reduced", "is_picture", "open_light", "read_reduced", "reduce_codes"]

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


@dataclass(frozen=True, eq=False)
class LightByRows:
    """A picture that has been read.

    Parameters
    ----------
    size : tuple of int
        Width and height.
    space : RgbSpace
        Its primaries and white.
    light : ndarray of float32, shape (H, W, 3), or Decoding
        Its linear light, or codes that it is worked out from.
    """

    size: tuple[int, int]
    space: RgbSpace
    light: Floats | Decoding

    def rows(self, rows: slice) -> Floats:
        """Give linear light, shape (h, W, 3); 1 is diffuse white."""
        light = self.light
        return light[rows] if isinstance(light, np.ndarray) else light.rows(rows)

    def followed_by(self, step: Callable[[Floats], Floats]) -> Callable[[slice], Floats]:
        """Give what makes rows, with a step behind it that works value by value."""
        light = self.light
        if isinstance(light, np.ndarray):
            return lambda rows: step(light[rows])
        return light.followed_by(step).rows


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
    opened = open_light(path)
    size, space, light = opened.size, opened.space, opened.light
    small = _lowered(size, width)
    if not isinstance(light, np.ndarray):
        return Reduced(area_mean_of_rows(light.rows, size, small), space, size)
    if small == size:
        return Reduced(np.ascontiguousarray(np.moveaxis(light, -1, 0)), space, size)
    return Reduced(area_mean_of_pixels(np.ascontiguousarray(light), small), space, size)


def reduce_codes(codes: npt.NDArray[np.uint8 | np.uint16], space: str, width: int) -> Reduced:
    """Average codes down in linear light, as `read_reduced` does with a file that holds them.

    Parameters
    ----------
    codes : ndarray, shape (H, W, 3)
    space : str
        Output space, "sRGB" or "Display P3".
    width : int
        As for `read_reduced`.
    """
    rgb = output_space(space).rgb
    stored = StoredCodes(codes, np.iinfo(codes.dtype).max, transfer="sRGB", primaries=rgb.name)
    coded = Decoding(Path(), stored, "auto")
    planes = area_mean_of_rows(coded.rows, coded.size, _lowered(coded.size, width))
    return Reduced(planes, space_from_chromaticities(coded.space), coded.size)


def open_light(path: Path) -> LightByRows:
    """Read a picture whose light is worked out some rows at a time; otherwise as `read_reduced`."""
    is_avif = _is_avif(path)
    coded = None if is_avif else read_by_rows(path)
    if coded is not None:
        return LightByRows(coded.size, space_from_chromaticities(coded.space), coded)
    rgb, space = _read_avif(path) if is_avif else _read_floats(path)
    return LightByRows((rgb.shape[1], rgb.shape[0]), space, rgb)


def _lowered(size: tuple[int, int], width: int | None) -> tuple[int, int]:
    if width is None or size[0] <= width:
        return size
    return width, max(1, round(size[1] * width / size[0]))


def _is_avif(path: Path) -> bool:
    try:
        with path.open("rb") as stream:
            return stream.read(12)[4:] == _AVIF
    except OSError:  # which reading says better
        return False


def _read_floats(path: Path) -> tuple[Floats, RgbSpace]:
    picture = read_picture(path)
    return picture.rgb, space_from_chromaticities(picture.space)


def _read_avif(path: Path) -> tuple[Floats, RgbSpace]:
    import imagecodecs

    data = picture_bytes(path)
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
    except ImportError:
        raise
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
