"""A largest value that many pixels share: light that was cut off before it was written."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

__all__ = ["flat_top"]

Plane = npt.NDArray[np.float32] | npt.NDArray[np.float16]

_TOP_BAND = 0.005  # lossy codecs blur a ceiling this much
_LEAST_PIXELS = 16
_LEAST_SHARE = 1e-4
_STEEP = 5.0  # times as many pixels in the top band as in the next ones


def flat_top(plane: Plane) -> float | None:
    """Largest value of a plane if suspiciously many pixels share it, or None.

    At least 16 pixels and 0.01 % of the picture lie within 0.5 % of the largest value, and they
    are five times as many as in the average of the ten bands of that width below.

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> light = rng.gamma(2, 1, (64, 64)).astype(np.float32)
    >>> flat_top(light) is None, flat_top(np.minimum(light, 2))
    (True, 2.0)
    """
    top = float(plane.max())
    if not top > 0:
        return None
    upper = int(np.count_nonzero(plane >= top * (1 - _TOP_BAND)))
    if upper < max(_LEAST_PIXELS, _LEAST_SHARE * plane.size):
        return None
    below = int(np.count_nonzero(plane >= top * (1 - 11 * _TOP_BAND))) - upper
    return top if upper > _STEEP * below / 10 else None
