"""Embedded ICC profiles of pictures that are read: matrix and curves (ICC.1:2022, 8.3 and 10)."""

from __future__ import annotations

import struct
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np
import numpy.typing as npt

from evenfall.light.primaries import ICC_WHITE_XY, RGB_SPACES, colorants

__all__ = ["EmbeddedProfile", "parse_profile"]

_SAME_COLORANTS = 2e-3  # shipped profiles of one space differ by up to 1e-3 (older white points)
_LARGEST_DECODED = 100.0  # profiles decode 0 to 1 into 0 to 1, or a little beyond
_PARAMETER_COUNTS = {0: 1, 1: 3, 2: 4, 3: 5, 4: 7}

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class EmbeddedProfile:
    """What an embedded profile says.

    Parameters
    ----------
    chromaticities : tuple of 8 floats or None
        xy of red, green, blue and white; None for a grey profile.
    curves : tuple of bytes
        Tone curve tags: three for RGB, one for grey.
    """

    chromaticities: tuple[float, ...] | None
    curves: tuple[bytes, ...]

    @property
    def tone_curves(self) -> tuple[Callable[[Floats], Floats], ...]:
        """What gives linear values of encoded ones (0 to 1), one a channel or one for all."""
        curves = self.curves[:1] if len(set(self.curves)) == 1 else self.curves
        return tuple(partial(_evaluate, curve) for curve in curves)


def parse_profile(data: bytes) -> EmbeddedProfile:
    """Read a matrix/TRC or grey profile.

    Raises
    ------
    ValueError
        If it is damaged, or of a kind that needs a colour-management engine (tables, CMYK).
    """
    try:
        profile = _parse(data)
        encoded = np.linspace(0, 1, 1024)
        decoded = [decode(encoded) for decode in profile.tone_curves]
    except (struct.error, KeyError, IndexError, OverflowError, FloatingPointError) as error:
        raise ValueError("the profile is damaged") from error
    if not all(np.all(np.abs(curve) <= _LARGEST_DECODED) for curve in decoded):
        raise ValueError("the profile has an impossible tone curve")
    return profile


def _parse(data: bytes) -> EmbeddedProfile:
    if data[36:40] != b"acsp":
        raise ValueError("the profile is damaged")
    space = data[16:20]
    tags = _tags(data)
    if space == b"GRAY":
        return EmbeddedProfile(None, (tags[b"kTRC"],))
    if space != b"RGB ":
        raise ValueError(f"the profile is for {space.decode('latin-1').strip()} colour")
    if b"rXYZ" not in tags or b"A2B0" in tags:
        raise ValueError("the profile works by tables, not by a matrix")
    said = np.array([_xyz(tags[name]) for name in (b"rXYZ", b"gXYZ", b"bXYZ")]).T
    curves = tuple(tags[name] for name in (b"rTRC", b"gTRC", b"bTRC"))
    return EmbeddedProfile(_chromaticities(said), curves)


def _tags(data: bytes) -> dict[bytes, bytes]:
    (count,) = struct.unpack_from(">I", data, 128)
    if count > 200:
        raise ValueError("the profile is damaged")
    tags = {}
    for number in range(count):
        name, offset, size = struct.unpack_from(">4sII", data, 132 + 12 * number)
        tags[name] = data[offset : offset + size]
    return tags


def _xyz(tag: bytes) -> tuple[float, ...]:
    return tuple(value / 65536 for value in struct.unpack_from(">3i", tag, 8))


def _chromaticities(said: Floats) -> tuple[float, ...]:
    """Of a space that we know by name, or relative to the D50 of the profile connection space."""
    for known in RGB_SPACES.values():
        if np.abs(colorants(known) - said).max() < _SAME_COLORANTS:
            return known.chromaticities
    found: list[float] = []
    for x, y, z in said.T:
        total = x + y + z
        if total <= 0:
            raise ValueError("the profile's colorants are impossible")
        found += [x / total, y / total]
    return (*found, *ICC_WHITE_XY)


def _evaluate(tag: bytes, encoded: Floats) -> Floats:
    kind = tag[:4]
    with np.errstate(all="ignore"):  # of impossible curves, which `parse_profile` refuses
        if kind == b"curv":
            return _sampled(tag, encoded)
        if kind == b"para":
            return _parametric(tag, encoded)
    raise ValueError("the profile has a tone curve of an unknown kind")


def _sampled(tag: bytes, encoded: Floats) -> Floats:
    """Identity, one exponent (u8Fixed8), or samples, by their count; 10.6."""
    (count,) = struct.unpack_from(">I", tag, 8)
    if count == 0:
        return encoded
    if len(tag) < 12 + 2 * count:
        raise ValueError("the profile is damaged")
    samples = np.frombuffer(tag, ">u2", count, 12)
    if count == 1:
        raised: Floats = np.power(encoded, float(samples[0]) / 256)
        return raised
    at = np.linspace(0, 1, count)
    interpolated: Floats = np.interp(encoded, at, samples / 65535)
    return interpolated


def _parametric(tag: bytes, encoded: Floats) -> Floats:
    """Evaluate function types 0 to 4 of table 68; 10.18."""
    (kind,) = struct.unpack_from(">H", tag, 8)
    count = _PARAMETER_COUNTS[kind]
    values = [value / 65536 for value in struct.unpack_from(f">{count}i", tag, 12)]
    g = values[0]
    a, b = (values[1], values[2]) if kind else (1.0, 0.0)
    c = values[3] if kind in (2, 3, 4) else 0.0
    slope, start, lift, floor = 0.0, -np.inf, 0.0, 0.0
    if kind in (1, 2):
        start = -b / a if a else -np.inf
        lift = floor = c if kind == 2 else 0.0
    elif kind >= 3:
        slope, start = c, values[4]
        lift, floor = (values[5], values[6]) if kind == 4 else (0.0, 0.0)
    curve = np.power(np.maximum(a * encoded + b, 0.0), g) + lift
    found: Floats = np.where(encoded >= start, curve, slope * encoded + floor)
    return found
