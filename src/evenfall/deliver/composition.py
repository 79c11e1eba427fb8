"""Composition guides: thin double lines, light beside dark, that read on any picture."""

from __future__ import annotations

import math
from collections.abc import Iterable

import numpy as np
import numpy.typing as npt

__all__ = ["GUIDES", "draw_guides"]

_GOLDEN = (math.sqrt(5) - 1) / 2
_THIRDS = (1 / 3, 2 / 3)
_GOLDEN_CUTS = (1 - _GOLDEN, _GOLDEN)
_OPACITY = 0.72
_LIGHT, _DARK = 255.0, 24.0

Line = tuple[float, float, float, float]  # from x, y to x, y, as shares of width and height


def _cross(cuts: Iterable[float]) -> tuple[Line, ...]:
    lines: list[Line] = []
    for cut in cuts:
        lines += [(cut, 0.0, cut, 1.0), (0.0, cut, 1.0, cut)]
    return tuple(lines)


GUIDES: dict[str, tuple[Line, ...]] = {
    "thirds": _cross(_THIRDS),
    "golden": _cross(_GOLDEN_CUTS),
    "centre": _cross((0.5,)),
    "diagonals": ((0.0, 0.0, 1.0, 1.0), (0.0, 1.0, 1.0, 0.0)),
}


def draw_guides(codes: npt.NDArray[np.uint8], guides: Iterable[str]) -> npt.NDArray[np.uint8]:
    """Copy of a draft with composition guides.

    Parameters
    ----------
    codes : ndarray
        Display-encoded, uint8, shape (H, W, 3). Not changed.
    guides : iterable of str
        Names out of `GUIDES`: "thirds", "golden" (section), "centre", "diagonals".

    Raises
    ------
    KeyError
        If there is no such guide.

    Examples
    --------
    >>> draft = draw_guides(np.full((90, 160, 3), 118, np.uint8), ["thirds"])
    >>> draft[45, 51:55, 0].tolist()
    [118, 217, 50, 118]
    """
    height, width = codes.shape[:2]
    thickness = max(1.0, min(width, height) / 900)
    drawn = codes.astype(np.float32)
    for name in guides:
        for line in GUIDES[name]:
            _draw(drawn, line, thickness)
    return (drawn + 0.5).astype(np.uint8)


def _draw(drawn: npt.NDArray[np.float32], line: Line, thickness: float) -> None:
    """Blend one double line: light on its left or upper side, dark on the other."""
    height, width = drawn.shape[:2]
    x0, y0, x1, y1 = line[0] * width, line[1] * height, line[2] * width, line[3] * height
    if x0 == x1 or y0 == y1:  # upright and level lines lie between pixels, to be crisp
        x0, y0, x1, y1 = round(x0), round(y0), round(x1), round(y1)
    length = math.hypot(x1 - x0, y1 - y0)
    across, down = (y1 - y0) / length, -(x1 - x0) / length  # unit normal
    if across + down < 0:
        across, down = -across, -down
    columns = np.arange(width, dtype=np.float32)[None, :] + 0.5 - x0
    rows = np.arange(height, dtype=np.float32)[:, None] + 0.5 - y0
    distance = (columns * across + rows * down) / thickness
    for centre, value in ((-0.5, _LIGHT), (0.5, _DARK)):
        cover = np.clip(1.0 - np.abs(distance - centre), 0.0, 1.0)[..., None] * _OPACITY
        drawn += cover * (value - drawn)
