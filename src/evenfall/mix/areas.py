"""Weights of an area: how much each pixel of the view belongs to it.

Places are shares of width and height, so an area means the same on a draft and at full size. Edges
are soft by at least one pixel. A feathered edge lies half inside and half outside the outline and
rises as s^2 (3 - 2 s) over its width.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from evenfall.recipe.areas import Area, Gradient

__all__ = ["ReadChannel", "area_weights"]

Floats = npt.NDArray[np.float32]
Vector = npt.NDArray[np.float64]

ReadChannel = Callable[[str, str | None], npt.NDArray[np.generic]]
"""Reads one channel of a picture file by its name in the recipe; raw values, shape (h, w)."""


def area_weights(
    area: Area, width: int, height: int, read_channel: ReadChannel | None = None
) -> Floats:
    """Weights of an area over the view.

    Parameters
    ----------
    area : Area
        One shape, feathered and inverted as asked.
    width, height : int
        Size of the view in pixels.
    read_channel : callable or None
        Called with the file and channel of a mask or object-id pass; needed for those only.
        Masks are clipped to 0 to 1 and scaled to the view with a filter, object ids are scaled
        without one.

    Returns
    -------
    ndarray of shape (H, W), float32
        0 outside, 1 inside.

    Raises
    ------
    ValueError
        When a mask or object ids are asked for and there is no reader.

    Examples
    --------
    >>> weights = area_weights(Area(rectangle=(0.25, 0.0, 0.75, 0.5)), 8, 4)
    >>> weights[:, 1:4].astype(int).tolist()
    [[0, 1, 1], [0, 1, 1], [0, 0, 0], [0, 0, 0]]
    """
    feather = area.feather * width
    if area.rectangle is not None:
        weights = _rectangle(area.rectangle, width, height, feather)
    elif area.ellipse is not None:
        weights = _ellipse(area.ellipse, width, height, feather)
    elif area.polygon is not None:
        weights = _polygon(area.polygon, width, height, feather)
    elif area.gradient is not None:
        weights = _gradient(area.gradient, width, height)
    else:
        weights = _blurred(_from_file(area, width, height, read_channel), feather)
    return np.subtract(1.0, weights, dtype=np.float32) if area.invert else weights


def _centres(count: int) -> Vector:
    return np.arange(count, dtype=np.float64) + 0.5


def _edge(inside: Vector, feather: float) -> Floats:
    """Weight of a signed distance in pixels from the outline, positive inside."""
    s = np.clip(inside / max(feather, 1.0) + 0.5, 0.0, 1.0)
    return (s * s * (3.0 - 2.0 * s)).astype(np.float32) if feather > 1 else s.astype(np.float32)


def _rectangle(
    edges: tuple[float, float, float, float], width: int, height: int, feather: float
) -> Floats:
    left, top, right, bottom = edges
    across, down = _centres(width), _centres(height)
    # an edge on the picture's border has nothing beyond it that it could fade towards
    inside_x = np.minimum(
        across - left * width if left > 0 else np.full(width, np.inf),
        right * width - across if right < 1 else np.full(width, np.inf),
    )
    inside_y = np.minimum(
        down - top * height if top > 0 else np.full(height, np.inf),
        bottom * height - down if bottom < 1 else np.full(height, np.inf),
    )
    return _edge(np.minimum(inside_y[:, None], inside_x[None, :]), feather)


def _ellipse(
    shape: tuple[float, float, float, float], width: int, height: int, feather: float
) -> Floats:
    centre_x, centre_y, half_x, half_y = shape
    radius_x, radius_y = max(half_x * width, 0.5), max(half_y * height, 0.5)
    x = (_centres(width) - centre_x * width)[None, :]
    y = (_centres(height) - centre_y * height)[:, None]
    # first-order distance to the outline: the implicit function over the length of its gradient
    level = np.hypot(x / radius_x, y / radius_y)
    steepness = np.hypot(x / radius_x**2, y / radius_y**2)
    steepest = 1.0 / min(radius_x, radius_y)
    slope = np.where(level > 0, steepness / np.maximum(level, 1e-12), steepest)
    return _edge((1.0 - level) / slope, feather)


def _polygon(
    corners: tuple[tuple[float, float], ...], width: int, height: int, feather: float
) -> Floats:
    """Weights by the distance to the nearest edge; inside by the even-odd rule."""
    at = np.array(corners) * (width, height)
    reach = max(feather, 1.0)
    left, top = np.maximum(np.floor(at.min(axis=0) - reach), 0).astype(int)
    right, bottom = np.ceil(at.max(axis=0) + reach).astype(int) + 1
    x = _centres(width)[None, left:right]
    y = _centres(height)[top:bottom, None]
    inside = np.zeros((y.size, x.size), bool)
    squared = np.full(inside.shape, np.inf)
    for (x0, y0), (x1, y1) in zip(at, np.roll(at, -1, axis=0), strict=True):
        if y0 != y1:
            crosses = (y0 > y) != (y1 > y)
            inside ^= crosses & (x < x0 + (y - y0) * (x1 - x0) / (y1 - y0))
        if _lies_on_border(x0, x1, width) or _lies_on_border(y0, y1, height):
            continue  # nothing lies beyond that it could fade towards
        length = max((x1 - x0) ** 2 + (y1 - y0) ** 2, 1e-12)
        along = np.clip(((x - x0) * (x1 - x0) + (y - y0) * (y1 - y0)) / length, 0, 1)
        away = (x - x0 - along * (x1 - x0)) ** 2 + (y - y0 - along * (y1 - y0)) ** 2
        np.minimum(squared, away, out=squared)
    weights = np.zeros((height, width), np.float32)
    distance = np.sqrt(squared)
    weights[top:bottom, left:right] = _edge(np.where(inside, distance, -distance), feather)
    return weights


def _lies_on_border(one: float, other: float, size: int) -> bool:
    return one == other and one in (0, size)


def _gradient(ramp: Gradient, width: int, height: int) -> Floats:
    start = np.array([ramp.start[0] * width, ramp.start[1] * height])
    along = np.array([ramp.end[0] * width, ramp.end[1] * height]) - start
    x = (_centres(width) - start[0])[None, :]
    y = (_centres(height) - start[1])[:, None]
    s = np.clip((x * along[0] + y * along[1]) / float(along @ along), 0.0, 1.0)
    return np.asarray(s, dtype=np.float32)


def _from_file(area: Area, width: int, height: int, read_channel: ReadChannel | None) -> Floats:
    file = area.mask or area.ids or ""
    if read_channel is None:
        raise ValueError(f"no reader was given for '{file}'")
    values = read_channel(file, area.channel)
    if area.ids is not None:
        rows = (_centres(height) * values.shape[0] / height).astype(int)
        columns = (_centres(width) * values.shape[1] / width).astype(int)
        return np.isin(values[np.ix_(rows, columns)], area.id).astype(np.float32)
    weights: Floats = np.clip(np.nan_to_num(values.astype(np.float32)), 0.0, 1.0)
    fits = weights.shape == (height, width)
    return weights if fits else _scaled(weights, width, height)


def _scaled(weights: Floats, width: int, height: int) -> Floats:
    from PIL import Image

    picture = Image.fromarray(weights).resize((width, height), Image.Resampling.BILINEAR)
    return np.asarray(picture, dtype=np.float32)


def _blurred(weights: Floats, feather: float) -> Floats:
    """Soften the edges of a mask over a width in pixels: two passes of a box of half of it."""
    if feather <= 1:
        return weights
    from scipy.ndimage import uniform_filter

    size = max(1, round(feather / 2))
    for origin in (0, size % 2 - 1):  # an even box lies half a pixel to one side, then to the other
        weights = uniform_filter(weights, size, mode="nearest", origin=origin)
    return np.asarray(np.clip(weights, 0.0, 1.0), dtype=np.float32)
