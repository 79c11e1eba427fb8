"""From a picture's codes to scene-linear light."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from evenfall.errors import Fault, PixelSourceError
from evenfall.light.primaries import BT709, RGB_SPACES
from evenfall.light.transfer import decode_srgb
from evenfall.passes.side.codes import StoredCodes
from evenfall.passes.side.profiles import EmbeddedProfile, parse_profile

__all__ = ["Encoding", "decode_codes"]

Encoding = Literal["auto", "linear", "sRGB"]
Floats = npt.NDArray[np.float32]
_Shares = npt.NDArray[np.float64]
_Curve = Callable[[_Shares], _Shares]

_TABLE_BYTES = 2  # deeper codes are decoded one by one, not by a table of all that there are
_STRIP_ROWS = 64


def decode_codes(
    path: Path, stored: StoredCodes, encoding: Encoding
) -> tuple[Floats, Floats | None, tuple[float, ...]]:
    """Scene-linear light of codes, straight (not multiplied by alpha).

    Parameters
    ----------
    path : Path
        The file, for errors.
    stored : StoredCodes
        Codes of any depth.
    encoding : {"auto", "linear", "sRGB"}
        As `read_picture` takes it.

    Returns
    -------
    rgb : ndarray of float32, shape (H, W, 3)
    alpha : ndarray of float32, shape (H, W), or None
    space : tuple of 8 floats
        xy of red, green, blue and white.

    Raises
    ------
    PixelSourceError
        If an embedded profile cannot be used.
    """
    curves, space = _curves(path, stored, encoding)
    height, width, channels = stored.codes.shape
    colours = channels - stored.has_alpha
    rgb = np.empty((height, width, 3), np.float32)
    alpha = np.empty((height, width), np.float32) if stored.has_alpha else None
    decode = _by_table if stored.codes.dtype.itemsize <= _TABLE_BYTES else _one_by_one
    decoders = [decode(curve, stored) for curve in curves]
    for top in range(0, height, _STRIP_ROWS):
        codes = stored.codes[top : top + _STRIP_ROWS]
        strip = rgb[top : top + _STRIP_ROWS]
        if alpha is not None:
            alpha[top : top + _STRIP_ROWS] = codes[..., -1].astype(np.float64) / stored.top
        if stored.premultiplied:
            codes = _divided_by_alpha(codes, stored)
        if len(decoders) == 1 and colours == codes.shape[2] == 3:
            strip[:] = decoders[0](codes)
            continue
        for channel in range(3):
            decoder = decoders[min(channel, len(decoders) - 1)]
            strip[..., channel] = decoder(codes[..., min(channel, colours - 1)])
    return rgb, alpha, space


def _by_table(curve: _Curve, stored: StoredCodes) -> Callable[[npt.NDArray[Any]], Floats]:
    codes = np.arange(np.iinfo(stored.codes.dtype).max + 1)
    table = curve(codes / stored.top).astype(np.float32)
    return lambda strip: np.take(table, strip, mode="clip")


def _one_by_one(curve: _Curve, stored: StoredCodes) -> Callable[[npt.NDArray[Any]], Floats]:
    return lambda strip: curve(strip.astype(np.float64) / stored.top).astype(np.float32)


def _divided_by_alpha(codes: npt.NDArray[Any], stored: StoredCodes) -> npt.NDArray[Any]:
    """Straight codes of premultiplied ones; display-encoded colour has to be divided first.

    Whole codes where a table is to be asked; numbers between them otherwise.
    """
    alpha = codes[..., -1:].astype(np.float64)
    straight = np.minimum(codes * (stored.top / np.maximum(alpha, 1)), stored.top)
    if codes.dtype.itemsize <= _TABLE_BYTES:
        return np.rint(straight).astype(codes.dtype)
    return straight


def _curves(
    path: Path, stored: StoredCodes, encoding: Encoding
) -> tuple[tuple[_Curve, ...], tuple[float, ...]]:
    """Linear values of codes from 0 to 1, one curve or one a channel; and the chromaticities."""
    profile = _profile(path, stored, encoding)
    space = BT709.chromaticities
    if stored.primaries is not None and encoding != "sRGB":
        space = RGB_SPACES[stored.primaries].chromaticities
    if profile is not None and profile.chromaticities is not None:
        space = profile.chromaticities
    gamma = stored.gamma
    if encoding == "linear" or (encoding == "auto" and stored.transfer == "linear"):
        return (lambda shares: shares,), space
    if profile is not None:
        return profile.tone_curves, space
    if gamma is not None and encoding == "auto":
        return (lambda shares: np.power(shares, gamma),), space
    return (decode_srgb,), space


def _profile(path: Path, stored: StoredCodes, encoding: Encoding) -> EmbeddedProfile | None:
    if stored.icc is None or encoding == "sRGB":
        return None
    try:
        return parse_profile(stored.icc)
    except ValueError as error:
        raise PixelSourceError(
            Fault(
                str(path),
                "embedded profile",
                str(error),
                "expected an RGB or grey profile by curves",
                "convert the picture to sRGB, or say encoding = 'sRGB'",
            )
        ) from error
