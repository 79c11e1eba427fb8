"""Plates behind the view and cut-outs in front of it, in exposed scene-linear working values.

A plate or cut-out is not exposed by the camera: a value of 0.18 in it is middle grey, and its own
stops and tint are all that changes it. Resampling is in linear light, on colours premultiplied by
alpha, with Lanczos' kernel of three lobes, held within half a stop of what a kernel without
negative lobes gives: edges stay crisp, and a sun in the sky gets no dark ring.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from evenfall.light.primaries import ACESCG, conversion_matrix, space_from_chromaticities
from evenfall.look.arrays import Plane, Planes, apply_matrix
from evenfall.look.cells import cell_means, from_cells
from evenfall.look.over import over
from evenfall.passes.side.pictures import Picture
from evenfall.recipe.moods import Overlay, Plate

__all__ = ["PlacedCutout", "add_light_wrap", "place_overlay", "place_plate", "put_overlay"]

_RINGING = np.float32(2.0**0.5)
_CELLS_PER_REACH = 4.0
_SPARE = 4  # times as high as it is shown, a cut-out is brought down before it is resampled
_WRAP_REACH = 0.008  # of the width: how far the plate's light comes around an edge (Gaussian)

Box = tuple[float, float, float, float]


@dataclass(frozen=True, eq=False)
class PlacedCutout:
    """A premultiplied cut-out where it lies in the view.

    Attributes
    ----------
    planes, alpha : ndarray of float32, shapes (3, h, w) and (h, w)
    top, left : int
        Row and column of the view where it starts.
    """

    planes: Planes
    alpha: Plane
    top: int
    left: int


def place_plate(picture: Picture, plate: Plate, size: tuple[int, int], workers: int = 1) -> Planes:
    """Fit a plate to the view.

    Parameters
    ----------
    picture : Picture
        Scene-linear; where it has alpha, what it does not cover is black.
    plate : Plate
        Fit, position, exposure and tint.
    size : tuple of int
        Width and height of the view in pixels.
    workers : int
        Threads; the result does not depend on them.

    Returns
    -------
    ndarray of float32, shape (3, H, W)
        Exposed working values; black where a plate that is contained does not reach.

    Examples
    --------
    >>> grey = Picture(np.full((2, 4, 3), 0.18, np.float32), None, (0.64, 0.33, 0.3, 0.6, 0.15,
    ...                0.06, 0.3127, 0.329), premultiplied=False)
    >>> placed = place_plate(grey, Plate(file="sky.jpg", stops=1), (6, 2))
    >>> placed[:, 0, 0].astype(float).round(3).tolist()
    [0.36, 0.36, 0.36]
    """
    width, height = size
    planes, _ = _premultiplied(picture, plate.stops, plate.rgb, picture.premultiplied)
    rows, columns = planes.shape[1:]
    scale = {"cover": max, "contain": min}
    if plate.fit == "stretch":
        return _resize(planes, (width, height), (0, 0, columns, rows), workers)
    factor = scale[plate.fit](width / columns, height / rows)
    if plate.fit == "cover":
        spare_x, spare_y = columns - width / factor, rows - height / factor
        left, top = plate.position[0] * spare_x, plate.position[1] * spare_y
        box = (left, top, left + width / factor, top + height / factor)
        return _resize(planes, (width, height), _inside(box, columns, rows), workers)
    fitted_width = min(width, max(1, round(columns * factor)))
    fitted_height = min(height, max(1, round(rows * factor)))
    fitted = _resize(planes, (fitted_width, fitted_height), (0, 0, columns, rows), workers)
    placed = np.zeros((3, height, width), np.float32)
    left = round(plate.position[0] * (width - fitted_width))
    top = round(plate.position[1] * (height - fitted_height))
    placed[:, top : top + fitted_height, left : left + fitted_width] = fitted
    return placed


def place_overlay(picture: Picture, overlay: Overlay, size: tuple[int, int]) -> PlacedCutout | None:
    """Scale a cut-out and find where it lies; None when it lies outside the view.

    Parameters
    ----------
    picture : Picture
        Scene-linear, with alpha or without (then it is solid).
    overlay : Overlay
        Position of its bottom middle, height as a share of the view's, exposure, tint, opacity.
    size : tuple of int
        Width and height of the view in pixels.
    """
    width, height = size
    premultiplied = {
        "auto": picture.premultiplied, "straight": False, "premultiplied": True
    }[overlay.alpha]  # fmt: skip
    planes, alpha = _premultiplied(picture, overlay.stops, overlay.rgb, premultiplied)
    stacked = _halved(np.concatenate([planes, alpha[None]]), overlay.height * height)
    rows, columns = stacked.shape[1:]
    scale = overlay.height * height / rows
    left = overlay.position[0] * width - columns * scale / 2
    top = (overlay.position[1] - overlay.height) * height
    first_x, first_y = max(0, int(np.floor(left))), max(0, int(np.floor(top)))
    last_x = min(width, int(np.ceil(left + columns * scale)))
    last_y = min(height, int(np.ceil(top + rows * scale)))
    if first_x >= last_x or first_y >= last_y:
        return None
    margin = 1 + int(np.ceil(1 / scale))
    box = tuple(
        (edge - start) / scale + margin
        for edge, start in ((first_x, left), (first_y, top), (last_x, left), (last_y, top))
    )
    stacked = np.pad(stacked, ((0, 0), (margin, margin), (margin, margin)), mode="edge")
    padded = _inside(box, stacked.shape[2], stacked.shape[1])
    stacked = _resize(stacked, (last_x - first_x, last_y - first_y), padded)
    stacked /= np.maximum(stacked[3], np.float32(1))  # what the kernel pushed beyond solid
    covered_x = _covered(first_x, last_x, left, left + columns * scale)
    covered_y = _covered(first_y, last_y, top, top + rows * scale)
    stacked *= np.float32(overlay.opacity) * covered_y[:, None] * covered_x
    return PlacedCutout(stacked[:3], stacked[3], first_y, first_x)


def _halved(stacked: Planes, height: float) -> Planes:
    """Bring a large cut-out down by whole blocks, to no less than `_SPARE` times its last height.

    What is resampled afterwards needs a border of a pixel of the view, which is thousands of pixels
    of a large picture that is shown small.
    """
    rows, columns = stacked.shape[1:]
    block = min(int(rows / (_SPARE * max(height, 1.0))), rows, columns)
    if block < 2:
        return stacked
    pieces: Planes = np.stack([cell_means(plane, block) for plane in stacked])
    return pieces


def _covered(first: int, last: int, start: float, end: float) -> Plane:
    """Share of each pixel from first to last that lies between start and end."""
    edges = np.clip(np.arange(first, last + 1), start, end)
    shares: Plane = np.diff(edges).astype(np.float32)
    return shares


def put_overlay(planes: Planes, cutout: PlacedCutout) -> None:
    """Put a cut-out over exposed working values, in place."""
    height, width = cutout.alpha.shape
    rows = slice(cutout.top, cutout.top + height)
    columns = slice(cutout.left, cutout.left + width)
    planes[:, rows, columns] = over(cutout.planes, cutout.alpha, planes[:, rows, columns])


def add_light_wrap(planes: Planes, alpha: Plane, plate: Planes, strength: float) -> None:
    """Let the plate's light spill over the edges in front of it, in place.

    The visible part of the plate is blurred over 0.8 % of the width, and what of it falls on the
    view in front is added, times `strength`.

    Parameters
    ----------
    planes, plate : ndarray of float32, shape (3, H, W)
    alpha : ndarray of float32, shape (H, W)
        Coverage of the view.
    strength : float
        0 to 1.
    """
    from scipy.ndimage import gaussian_filter

    reach = _WRAP_REACH * alpha.shape[1]
    cell = max(1, int(reach / _CELLS_PER_REACH))
    seen = 1 - alpha
    for channel in range(3):
        cells = cell_means(plate[channel] * seen, cell)
        cells = gaussian_filter(cells, reach / cell, mode="nearest", truncate=3.0)
        spill = np.maximum(from_cells(cells, cell, alpha.shape), np.float32(0))
        spill *= alpha
        spill *= np.float32(strength)
        planes[channel] += spill


def _premultiplied(
    picture: Picture, stops: float, rgb: tuple[float, float, float], premultiplied: bool
) -> tuple[Planes, Plane]:
    """Working planes multiplied by alpha, and alpha."""
    planes = np.ascontiguousarray(np.moveaxis(picture.rgb, -1, 0), np.float32)
    factors = 2.0**stops * np.diag(rgb)
    to_working = conversion_matrix(space_from_chromaticities(picture.space), ACESCG)
    planes = apply_matrix(to_working @ factors, planes)
    if picture.alpha is None:
        return planes, np.ones(planes.shape[1:], np.float32)
    alpha = np.clip(picture.alpha.astype(np.float32), 0, 1)
    if not premultiplied:
        planes *= alpha
    return planes, alpha


def _inside(box: tuple[float, ...], columns: int, rows: int) -> Box:
    left, top, right, bottom = box
    return (max(0.0, left), max(0.0, top), min(float(columns), right), min(float(rows), bottom))


def _resize(planes: Planes, size: tuple[int, int], box: Box, workers: int = 1) -> Planes:
    from PIL import Image

    resized: Planes = np.empty((len(planes), size[1], size[0]), np.float32)

    def work(channel: int) -> None:
        image = Image.fromarray(planes[channel])
        crisp = np.asarray(image.resize(size, Image.Resampling.LANCZOS, box))
        calm = np.asarray(image.resize(size, Image.Resampling.HAMMING, box))
        np.clip(crisp, calm / _RINGING, calm * _RINGING, out=resized[channel])

    with ThreadPoolExecutor(workers) as pool:
        list(pool.map(work, range(len(planes))))
    return resized
