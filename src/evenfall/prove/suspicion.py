"""Whether pixels look display-encoded, from the pixels alone.

Three marks, each with a reason of its own; a picture is suspected when they speak together:

- 8-bit levels: nearly all values are multiples of 1/255, or of 1/255 after the sRGB curve;
- a ceiling: the largest value is exactly 1 and many pixels share it;
- even shadows: scene-linear light is spread evenly over stops, so its mean lies well above its
  median; an encoding brings the two together.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt

from evenfall.light.transfer import decode_srgb, encode_srgb

__all__ = ["EncodingSuspicion", "suspect_encoding", "undo_srgb"]

Plane = npt.NDArray[np.float16] | npt.NDArray[np.float32]

_SAMPLE = 200_000
_LEVEL_SHARE = 0.98  # of sampled values that sit on 8-bit levels
_LEVEL_REACH = 0.07  # of a level: half float rounding; even values would hit 14 %
_CEILING_SHARE = 5e-4
_EVEN = 1.15  # mean over median; measured on room passes: linear 1.3 to 40, encoded 1.0 to 1.6


@dataclass(frozen=True)
class EncodingSuspicion:
    """Marks of a display encoding found in a picture.

    Parameters
    ----------
    levels : bool
        Values sit on 8-bit levels.
    ceiling : bool
        Many pixels at exactly 1, none above.
    even : bool
        Mean and median lie close together.
    """

    levels: bool
    ceiling: bool
    even: bool

    @property
    def suspected(self) -> bool:
        """Whether the marks suffice: 8-bit levels, or a ceiling and even shadows."""
        return self.levels or (self.ceiling and self.even)

    @property
    def reasons(self) -> tuple[str, ...]:
        """What was noticed, in words."""
        words = {
            "values sit on the 256 levels of an 8-bit picture": self.levels,
            "many pixels are exactly 1 and none is above": self.ceiling,
            "shadows and lights are spread as evenly as on a display": self.even,
        }
        return tuple(word for word, noticed in words.items() if noticed)


def suspect_encoding(planes: Sequence[Plane]) -> EncodingSuspicion:
    """Look for marks of a display encoding.

    Parameters
    ----------
    planes : sequence of 3 ndarray
        R, G, B of shape (H, W), finite.

    Examples
    --------
    >>> ramp = np.linspace(0, 1, 4096, dtype=np.float32).reshape(64, 64)
    >>> eight_bit = np.round(ramp * 255) / np.float32(255)
    >>> suspect_encoding([eight_bit] * 3).suspected
    True
    >>> suspect_encoding([ramp**4 * 7] * 3).suspected
    False
    """
    step = max(1, round((planes[0].size * 3 / _SAMPLE) ** 0.5))
    sample = np.stack([plane[::step, ::step].astype(np.float32) for plane in planes])
    top = max(float(plane.max()) for plane in planes)
    at_one = sum(int(np.count_nonzero(plane == 1)) for plane in planes)
    share_at_one = at_one / (3 * planes[0].size)
    middle = float(np.median(sample))
    even = 0 < middle < top and float(sample.mean()) < _EVEN * middle
    return EncodingSuspicion(
        levels=top <= 1 and _on_levels(sample),
        ceiling=top == 1 and share_at_one > _CEILING_SHARE,
        even=even,
    )


def _on_levels(sample: npt.NDArray[np.float32]) -> bool:
    between = sample[(sample > 0.1) & (sample < 1)]
    if between.size < 256:
        return False
    for values in (between, encode_srgb(between)):
        scaled = values * 255
        near = np.abs(scaled - np.round(scaled)) < _LEVEL_REACH
        if float(near.mean()) > _LEVEL_SHARE:
            return True
    return False


def undo_srgb(plane: Plane) -> npt.NDArray[np.float32]:
    """Decode the sRGB curve (IEC 61966-2-1); values below 0 become 0, those above 1 go on.

    Examples
    --------
    >>> np.round(undo_srgb(np.array([0.5, 1.0], np.float32)).astype(float), 4).tolist()
    [0.214, 1.0]
    """
    if plane.dtype == np.float16:
        return _half_table()[plane.view(np.uint16)]
    return decode_srgb(np.maximum(plane.astype(np.float32), 0))


@cache
def _half_table() -> npt.NDArray[np.float32]:
    every = np.arange(65536, dtype=np.uint16).view(np.float16).astype(np.float32)
    return decode_srgb(np.where(np.isfinite(every), np.maximum(every, 0), 0))
