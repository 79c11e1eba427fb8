"""Pictures beside the passes: plates, overlays, masks and object numbers, in whatever file.

PNG, JPEG, TIFF, WebP and BMP hold display-encoded codes, and an embedded profile, if any, says
which; HDR, PFM, EXR and TIFF of floats hold scene-linear values. Masks and object numbers are taken
as they are stored.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from evenfall.errors import Fault, PassError, PixelSourceError
from evenfall.light.primaries import BT709
from evenfall.light.transfer import decode_srgb
from evenfall.passes.encoding import refuse_encoded
from evenfall.passes.files import open_pass
from evenfall.passes.header import PassHeader, Selector
from evenfall.passes.kinds import EXR_MAGIC, encoded_kind
from evenfall.passes.openexr.channels import Choice, find_channels, read_channels
from evenfall.passes.openexr.parts import ExrPart
from evenfall.passes.reading import inspect, read
from evenfall.passes.selection import select
from evenfall.passes.side.codes import check_size
from evenfall.passes.side.decoding import Decoding, Encoding, decode_codes
from evenfall.passes.side.stored import CODE_PICTURES, is_code_picture, open_codes, read_codes
from evenfall.system.opened import Opened, Stamp, note_opened
from evenfall.system.regular import open_regular

__all__ = [
    "Encoding",
    "Picture",
    "look_at",
    "read_by_rows",
    "read_object_ids",
    "read_picture",
    "read_weights",
]

Floats = npt.NDArray[np.float32]

_ID_BYTES = 8
_LARGEST_ID = 2.0**53  # up to which every whole number is a 64-bit float
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
            return Picture(*decode_codes(path, stored, encoding), premultiplied=False)
    return _from_floats(path, encoding)


def read_by_rows(path: Path) -> Decoding | None:
    """Read a picture whose light is worked out some rows at a time; None where it holds floats.

    Otherwise as `read_picture`.
    """
    data = _read_bytes(path)
    stored = None if data is None else read_codes(path, data)
    return None if stored is None else Decoding(path, stored, "auto")


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
        shares: Floats = np.minimum(plane.astype(np.float32) / np.float32(top), np.float32(1))
        return shares
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
    if plane.dtype.kind == "u" and plane.dtype.itemsize < _ID_BYTES:
        return plane.astype(np.int64)
    # NaN and Inf are no whole numbers: NaN equals nothing, and no number is greater than Inf.
    whole = (plane == np.trunc(plane)) & (np.abs(plane.astype(np.float64)) < _LARGEST_ID)
    if not whole.all():
        row, column = (int(index) for index in np.argwhere(~whole)[0])
        raise PixelSourceError(
            Fault(
                str(path),
                f"pixel {column}, {row}",
                f"value {float(plane[row, column]):g}",
                f"expected whole object numbers below {_LARGEST_ID:g}",
                "render the pass of object numbers without anti-aliasing",
            )
        )
    return plane.astype(np.int64)


def look_at(path: Path, channel: str | None = None, *, as_picture: bool = False) -> None:
    """Look at the header of a side picture, as far as can be done without decoding it.

    Parameters
    ----------
    path : Path
        The file.
    channel : str, optional
        The channel that a mask or object numbers are taken from.
    as_picture : bool
        Whether it has to be a picture of light, as a plate is, and not one channel of anything.

    Raises
    ------
    PixelSourceError
        When reading it would raise, and its header tells so.
    """
    data = _read_bytes(path)
    picture = None if data is None else open_codes(path, data)
    if picture is not None:
        _channel_index(path, picture.channels, channel)
        return
    try:
        if _is_exr(path) and not as_picture:
            with open_pass(path) as file:
                find_channels(file, partial(_chosen, path, channel))
            return
        header = _only_header(path)
    except PassError as error:
        raise PixelSourceError(error.faults) from error
    check_size(path, header.width, header.height)
    if not as_picture:
        names = ("R", "G", "B", "A") if header.has_alpha else ("R", "G", "B")
        _channel_index(path, names, channel)


def _only_header(path: Path) -> PassHeader:
    """Header of the only picture of light in a file."""
    headers = inspect(path)
    header = headers[select(path, headers, Selector())]
    refuse_encoded(header)
    return header


def _read_bytes(path: Path) -> bytes | None:
    """Contents of a picture of codes; None if the file begins otherwise."""
    try:
        with open_regular(path) as stream:
            stamp = Stamp.of(os.fstat(stream.fileno()))
            head = stream.read(16)
            if is_code_picture(head):
                data = head + stream.read()
                note_opened(Opened(path, stamp, hashlib.sha256(data).hexdigest()))
                return data
    except FileNotFoundError:
        raise PixelSourceError(Fault(str(path), "", "there is no such file")) from None
    except OSError as error:
        raise PixelSourceError(_unreadable(path, error)) from error
    kind = encoded_kind(head)
    if kind is not None:
        raise PixelSourceError(
            Fault(str(path), "", f"is {kind}", f"expected {CODE_PICTURES}, or EXR, HDR or PFM",
                  "save it as one of these")
        )  # fmt: skip
    return None


def _unreadable(path: Path, error: OSError) -> Fault:
    said = error.strerror or str(error)
    if said.startswith("is "):  # a folder, a pipe or a device
        return Fault(str(path), "", said, "expected a picture file")
    return Fault(str(path), "", f"cannot be read: {said}")


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
    with open_pass(path) as file:
        return file.at(0, 4) == EXR_MAGIC


def _channel_index(path: Path, names: tuple[str, ...], channel: str | None) -> int:
    if channel is None:
        return 0
    if channel not in names:
        raise PixelSourceError(
            Fault(
                str(path), "", f"no channel {channel!r}", f"expected one of {', '.join(names[:20])}"
            )
        )
    return names.index(channel)


def _exr_plane(path: Path, channel: str | None) -> npt.NDArray[Any]:
    """One channel of an EXR file, light or not, placed in the display window."""
    with open_pass(path) as file:
        planes = read_channels(file, partial(_chosen, path, channel))
    assert planes is not None  # one is always chosen
    return planes[0]


def _chosen(path: Path, channel: str | None, parts: Sequence[ExrPart]) -> Choice:
    """Choose a channel of flat parts by its name, or R, or the first."""
    names = tuple(found.name for part in parts for found in part.channels)
    if not names:
        raise PixelSourceError(Fault(str(path), "", "no flat channels in it", "a flat picture"))
    wanted = "R" if channel is None and "R" in names else channel
    name = names[_channel_index(path, names, wanted)]
    part = next(part for part in parts if name in {found.name for found in part.channels})
    return part, (name,)
