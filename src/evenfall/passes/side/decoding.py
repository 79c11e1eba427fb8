"""From a picture's codes to scene-linear light."""

from __future__ import annotations

from collections.abc import Callable
from copy import copy
from pathlib import Path
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from evenfall.errors import Fault, PixelSourceError
from evenfall.light.primaries import BT709, RGB_SPACES
from evenfall.light.transfer import decode_srgb
from evenfall.passes.side.codes import StoredCodes
from evenfall.passes.side.profiles import EmbeddedProfile, parse_profile

__all__ = ["Decoding", "Encoding", "decode_codes"]

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
    decoding = Decoding(path, stored, encoding)
    height, width = stored.codes.shape[:2]
    rgb = np.empty((height, width, 3), np.float32)
    alpha = np.empty((height, width), np.float32) if stored.has_alpha else None
    for top in range(0, height, _STRIP_ROWS):
        rows = slice(top, top + _STRIP_ROWS)
        rgb[rows] = decoding.rows(rows)
        if alpha is not None:
            alpha[rows] = stored.codes[rows, :, -1].astype(np.float64) / stored.top
    return rgb, alpha, decoding.space


class Decoding:
    """Scene-linear light of codes, some rows at a time; parameters and errors as `decode_codes`.

    Attributes
    ----------
    size : tuple of int
        Width and height.
    space : tuple of 8 floats
        xy of red, green, blue and white.
    """

    def __init__(self, path: Path, stored: StoredCodes, encoding: Encoding) -> None:
        curves, self.space = _curves(path, stored, encoding)
        self._stored = stored
        height, width, channels = stored.codes.shape
        self.size = width, height
        self._colours = channels - stored.has_alpha
        self._curves = curves
        self._decoders = [_decoder(curve, stored) for curve in curves]

    def followed_by(self, step: Callable[[Floats], Floats]) -> Decoding:
        """Give the same with a step behind it that works value by value.

        Where there are few codes, it is worked out once for each.
        """
        followed = copy(self)
        followed._decoders = [_decoder(curve, self._stored, step) for curve in self._curves]
        return followed

    def rows(self, rows: slice) -> Floats:
        """Give some rows, shape (h, W, 3), straight."""
        stored, decoders, colours = self._stored, self._decoders, self._colours
        codes = stored.codes[rows]
        if stored.premultiplied:
            codes = _divided_by_alpha(codes, stored)
        if len(decoders) == 1 and colours == codes.shape[2] == 3:
            return decoders[0](codes)
        strip = np.empty((*codes.shape[:2], 3), np.float32)
        for channel in range(3):
            decoder = decoders[min(channel, len(decoders) - 1)]
            strip[..., channel] = decoder(codes[..., min(channel, colours - 1)])
        return strip


def _decoder(
    curve: _Curve, stored: StoredCodes, step: Callable[[Floats], Floats] = lambda light: light
) -> Callable[[npt.NDArray[Any]], Floats]:
    """Make a table of all codes, or decode deeper ones one by one."""
    if stored.codes.dtype.itemsize > _TABLE_BYTES:
        return lambda strip: step(curve(strip.astype(np.float64) / stored.top).astype(np.float32))
    codes = np.arange(np.iinfo(stored.codes.dtype).max + 1)
    table = step(curve(codes / stored.top).astype(np.float32))
    return lambda strip: np.take(table, strip, mode="clip")


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
