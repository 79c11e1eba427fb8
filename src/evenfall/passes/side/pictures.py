"""Pictures beside the passes: plates, overlays, masks and object numbers, in whatever file.

PNG, JPEG, TIFF, WebP and BMP hold display-encoded codes, and an embedded profile, if any, says
which; HDR, PFM, EXR and TIFF of floats hold scene-linear values. Masks and object numbers are taken
as they are stored.
"""

from __future__ import annotations

import hashlib
import os
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from evenfall.errors import Fault, PassError, PixelSourceError
from evenfall.light.primaries import BT709, RGB_SPACES
from evenfall.light.transfer import decode_srgb
from evenfall.passes.files import open_pass
from evenfall.passes.header import Selector
from evenfall.passes.kinds import EXR_MAGIC, encoded_kind
from evenfall.passes.openexr.chunks import scan_chunks
from evenfall.passes.openexr.decode import decode_part
from evenfall.passes.openexr.scan import scan_headers
from evenfall.passes.placement import place
from evenfall.passes.reading import read
from evenfall.passes.side.profiles import EmbeddedProfile, parse_profile
from evenfall.passes.side.stored import (
    CODE_PICTURES,
    StoredCodes,
    check_size,
    is_code_picture,
    read_codes,
)
from evenfall.system.opened import Opened, Stamp, note_opened

__all__ = ["Encoding", "Picture", "read_object_ids", "read_picture", "read_weights"]

Encoding = Literal["auto", "linear", "sRGB"]
Floats = npt.NDArray[np.float32]

_CODE_CHANNELS = {1: ("Y",), 2: ("Y", "A"), 3: ("R", "G", "B"), 4: ("R", "G", "B", "A")}


@dataclass(frozen=True, eq=False)
class Picture:
    """A picture in scene-linear light.

    Parameters
    ----------
    rgb : ndarray
        Shape (H, W, 3), float32, finite.
    alpha : ndarray or None
        Shape (H, W), float32, 0 to 1 unless a float file says otherwise.
    space : tuple of 8 floats
        xy of red, green, blue and white of `rgb`.
    premultiplied : bool
        Whether `rgb` is already multiplied by alpha, as far as the file's kind says: EXR is,
        PNG is not.
    """

    rgb: Floats
    alpha: Floats | None
    space: tuple[float, ...]
    premultiplied: bool


def read_picture(path: Path, encoding: Encoding = "auto") -> Picture:
    """Read a plate or an overlay as scene-linear light.

    Parameters
    ----------
    path : Path
        PNG, JPEG, TIFF, WebP, BMP, HDR, EXR or PFM.
    encoding : {"auto", "linear", "sRGB"}
        How the values are stored. "auto": codes by the embedded profile, as sRGB without one;
        floats as linear. "linear": codes and floats are linear. "sRGB": both are sRGB-encoded.

    Raises
    ------
    PixelSourceError
        If the file is missing, damaged, too large, or of a kind or colour that cannot be used.

    Notes
    -----
    NaN and Inf in float files become 0. Pictures that a camera turned are turned upright.
    """
    data = _read_bytes(path)
    if data is not None:
        stored = read_codes(path, data)
        if stored is not None:
            return _decoded(path, stored, encoding)
    return _from_floats(path, encoding)


def read_weights(path: Path, channel: str | None = None) -> Floats:
    """Read a mask: its values as they are stored, 0 to 1.

    Parameters
    ----------
    path : Path
        PNG, JPEG, TIFF, WebP, BMP, HDR, EXR or PFM.
    channel : str, optional
        Which channel: R, G, B, A, or a name in an EXR file; the first (R or grey) otherwise.

    Returns
    -------
    ndarray
        Shape (H, W), float32, clipped to 0 to 1, NaN as 0. Codes are divided by the largest code
        and not decoded: a mask is a weight and not light.

    Raises
    ------
    PixelSourceError
        As `read_picture`; and if there is no such channel.
    """
    plane, top = _read_plane(path, channel)
    if plane.dtype.kind == "u":
        return plane.astype(np.float32) / np.float32(top)
    weights = np.nan_to_num(plane.astype(np.float32), nan=0.0, posinf=1.0, neginf=0.0)
    return np.clip(weights, 0.0, 1.0)


def read_object_ids(path: Path, channel: str | None = None) -> npt.NDArray[np.int64]:
    """Read an object-id pass: whole numbers as they are stored.

    Parameters
    ----------
    path : Path
        EXR (half, float or uint), PNG, TIFF or BMP, not anti-aliased.
    channel : str, optional
        As for `read_weights`.

    Returns
    -------
    ndarray
        Shape (H, W), int64.

    Raises
    ------
    PixelSourceError
        As `read_weights`; and if values are no whole numbers.
    """
    plane, _ = _read_plane(path, channel)
    if plane.dtype.kind == "u":
        return plane.astype(np.int64)
    whole = np.isfinite(plane) & (plane == np.trunc(plane))
    if not whole.all():
        row, column = (int(index) for index in np.argwhere(~whole)[0])
        raise PixelSourceError(
            Fault(str(path), f"pixel {column}, {row}", f"value {float(plane[row, column]):g}",
                  "whole object numbers", "render the pass of object numbers without anti-aliasing")
        )  # fmt: skip
    return plane.astype(np.int64)


def _read_bytes(path: Path) -> bytes | None:
    """Contents of a picture of codes; None if the file begins otherwise."""
    try:
        if not path.exists():
            raise PixelSourceError(Fault(str(path), "", "there is no such file"))
        if not path.is_file():
            raise PixelSourceError(Fault(str(path), "", "not a file", "a picture file"))
        with path.open("rb") as stream:
            stamp = Stamp.of(os.fstat(stream.fileno()))
            head = stream.read(16)
            if is_code_picture(head):
                data = head + stream.read()
                note_opened(Opened(path, stamp, hashlib.sha256(data).hexdigest()))
                return data
    except OSError as error:
        said = error.strerror or str(error)
        raise PixelSourceError(Fault(str(path), "", f"cannot be read: {said}")) from error
    kind = encoded_kind(head)
    if kind is not None:
        raise PixelSourceError(
            Fault(str(path), "", f"is {kind}", f"expected {CODE_PICTURES}, or EXR, HDR or PFM",
                  "save it as one of these")
        )  # fmt: skip
    return None


def _decoded(path: Path, stored: StoredCodes, encoding: Encoding) -> Picture:
    colours = stored.codes.shape[2] - stored.has_alpha
    alpha = None
    if stored.has_alpha:
        alpha = stored.codes[..., -1].astype(np.float32) / np.float32(stored.top)
    tables, space = _decoding_tables(path, stored, encoding)
    codes = stored.codes[..., :colours]
    if stored.premultiplied:
        codes = _divided_by_alpha(codes, stored)
    rgb = np.empty((*codes.shape[:2], 3), np.float32)
    for channel in range(3):
        source = codes[..., min(channel, colours - 1)]
        rgb[..., channel] = tables[min(channel, len(tables) - 1)][source]
    return Picture(rgb, alpha, space, premultiplied=False)


def _divided_by_alpha(codes: npt.NDArray[Any], stored: StoredCodes) -> npt.NDArray[Any]:
    """Straight codes of premultiplied ones; display-encoded colour has to be divided first."""
    alpha = stored.codes[..., -1:].astype(np.float64)
    straight = codes * (stored.top / np.maximum(alpha, 1))
    return np.minimum(np.rint(straight), stored.top).astype(stored.codes.dtype)


def _decoding_tables(
    path: Path, stored: StoredCodes, encoding: Encoding
) -> tuple[tuple[Floats, ...], tuple[float, ...]]:
    """Linear value of every code, by channel; and the chromaticities."""
    encoded = np.arange(np.iinfo(stored.codes.dtype).max + 1) / stored.top
    profile = _profile(path, stored, encoding)
    space = BT709.chromaticities
    if stored.primaries is not None and encoding != "sRGB":
        space = RGB_SPACES[stored.primaries].chromaticities
    if profile is not None and profile.chromaticities is not None:
        space = profile.chromaticities
    if encoding == "linear" or (encoding == "auto" and stored.transfer == "linear"):
        curves: tuple[npt.NDArray[np.float64], ...] = (encoded,)
    elif profile is not None:
        curves = profile.decode(encoded)
    elif stored.gamma is not None and encoding == "auto":
        curves = (np.power(encoded, stored.gamma),)
    else:
        curves = (decode_srgb(encoded),)
    return tuple(curve.astype(np.float32) for curve in curves), space


def _profile(path: Path, stored: StoredCodes, encoding: Encoding) -> EmbeddedProfile | None:
    if stored.icc is None or encoding == "sRGB":
        return None
    try:
        return parse_profile(stored.icc)
    except ValueError as error:
        raise PixelSourceError(
            Fault(str(path), "embedded profile", str(error), "an RGB or grey profile by curves",
                  "convert the picture to sRGB, or say encoding = 'sRGB'")
        ) from error  # fmt: skip


def _from_floats(path: Path, encoding: Encoding) -> Picture:
    try:
        (image,) = read(path, [Selector()])
    except PassError as error:
        raise PixelSourceError(error.faults) from error
    header = image.header
    check_size(path, header.width, header.height)
    rgb = image.rgb()
    if encoding == "sRGB":
        rgb = decode_srgb(rgb.astype(np.float64)).astype(np.float32)
    alpha = None if image.alpha is None else image.alpha.astype(np.float32)
    return Picture(rgb, alpha, header.chromaticities or BT709.chromaticities, premultiplied=True)


def _read_plane(path: Path, channel: str | None) -> tuple[npt.NDArray[Any], int]:
    """One channel as stored, and the code that stands for 1."""
    data = _read_bytes(path)
    stored = read_codes(path, data) if data is not None else None
    if stored is not None:
        names = _CODE_CHANNELS[stored.codes.shape[2]]
        plane = stored.codes[..., _channel_index(path, names, channel)]
        return np.ascontiguousarray(plane), stored.top
    try:
        if _is_exr(path):
            return _exr_plane(path, channel), 1
        (image,) = read(path, [Selector()])
    except PassError as error:
        raise PixelSourceError(error.faults) from error
    planes = {**dict(zip("RGB", image.planes, strict=True)), "A": image.alpha}
    names = tuple(name for name, plane in planes.items() if plane is not None)
    return np.asarray(planes[names[_channel_index(path, names, channel)]]), 1


def _is_exr(path: Path) -> bool:
    with path.open("rb") as stream:
        return stream.read(4) == EXR_MAGIC


def _channel_index(path: Path, names: tuple[str, ...], channel: str | None) -> int:
    if channel is None:
        return 0
    if channel not in names:
        raise PixelSourceError(
            Fault(str(path), "", f"no channel {channel!r}", f"one of {', '.join(names[:20])}")
        )
    return names.index(channel)


def _exr_plane(path: Path, channel: str | None) -> npt.NDArray[Any]:
    """One channel of an EXR file, light or not, placed in the display window."""
    with open_pass(path) as file:
        scan = scan_headers(file)
        flat = [part for part in scan.parts if not part.deep]
        names = tuple(found.name for part in flat for found in part.channels)
        if channel is None and "R" in names:
            channel = "R"
        if not names:
            raise PixelSourceError(Fault(str(path), "", "no flat channels in it", "a flat picture"))
        name = names[_channel_index(path, names, channel)]
        part = next(part for part in flat if name in {found.name for found in part.channels})
        tables = scan_chunks(file, scan, [part.index])
        plane = decode_part(file, part, tables[part.index])[name]
        if plane.shape != (part.height, part.width):
            raise PixelSourceError(Fault(str(path), name, "a subsampled channel", "a full one"))
        return place(plane, part.data_window, part.display_window)
