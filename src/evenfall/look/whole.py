"""Steps of the look that need the whole picture, in exposed scene-linear working values."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from evenfall.look.additions import Additions
from evenfall.look.arrays import Plane, Planes
from evenfall.look.fringe import add_fringe
from evenfall.look.glare import add_glare
from evenfall.look.layers import add_light_wrap, place_overlay, place_plate, put_overlay
from evenfall.look.over import over
from evenfall.look.regions import apply_region
from evenfall.look.sharpen import sharpen
from evenfall.passes.side.pictures import Picture
from evenfall.recipe.look import Look
from evenfall.recipe.moods import Plate
from evenfall.system.overtaken import going_on

__all__ = ["apply_whole"]

_STRIP_ROWS = 64


def apply_whole(
    planes: Planes, alpha: Plane | None, look: Look, additions: Additions, workers: int = 1
) -> Planes:
    """Apply all steps that need the whole picture.

    In this order: regions, plate with light wrap, cut-outs, chromatic fringing, glare, sharpening.

    Parameters
    ----------
    planes : ndarray of float32, shape (3, H, W)
        Exposed working values; overwritten.
    alpha : ndarray, shape (H, W), or None
        Coverage of the view; None is solid, and a plate is then hidden.
    look : Look
    additions : Additions
    workers : int
        Threads; the result does not depend on them.

    Returns
    -------
    ndarray of float32, shape (3, H, W)
    """
    height, width = planes.shape[1:]
    go_on = going_on()
    for change in additions.regions:
        go_on()
        apply_region(planes, change)
    if additions.plates and alpha is not None:
        planes = _behind(planes, alpha, additions, workers)
    for overlay, picture in additions.overlays:
        cutout = place_overlay(picture, overlay, (width, height))
        if cutout is not None:
            put_overlay(planes, cutout)
    if look.fringe.strength > 0:
        add_fringe(planes, look.fringe)
    if look.glare.strength > 0:
        add_glare(planes, look.glare, workers)
    if look.sharpen.strength > 0:
        go_on()
        sharpen(planes, look.sharpen, workers)
    return planes


def _strips(height: int) -> Iterator[slice]:
    """Cut a picture into strips of rows."""
    for top in range(0, height, _STRIP_ROWS):
        yield slice(top, top + _STRIP_ROWS)


@dataclass(frozen=True, eq=False)
class _Background:
    """A plate at the size of the view, and the picture that it was made of."""

    picture: Picture
    planes: Planes


def _behind(planes: Planes, alpha: Plane, additions: Additions, workers: int) -> Planes:
    height, width = planes.shape[1:]
    coverage = alpha.astype("float32").clip(0, 1)
    placed = [
        (_placed(plate, picture, (width, height), additions, workers), weight)
        for plate, picture, weight in additions.plates
    ]
    background = placed[0][0]
    if placed[0][1] != 1 or len(placed) > 1:
        background = np.sum([one * np.float32(weight) for one, weight in placed], axis=0)
    combined = np.empty_like(planes)

    def put_over(rows: slice) -> None:
        combined[:, rows] = over(planes[:, rows], coverage[rows], background[:, rows])

    with ThreadPoolExecutor(workers, "over") as pool:
        list(pool.map(put_over, _strips(height)))
    wrap = sum(plate.light_wrap * weight for plate, _, weight in additions.plates)
    if wrap > 0:
        add_light_wrap(combined, coverage, background, wrap)
    return combined


def _placed(
    plate: Plate, picture: Picture, size: tuple[int, int], additions: Additions, workers: int
) -> Planes:
    """Bring a plate to the size of the view, or take it from where it is kept."""

    def place() -> _Background:
        return _Background(picture, place_plate(picture, plate, size, workers))

    # The picture is held with what was made of it, so that no other has its number meanwhile.
    key = ("plate at the size of the view", id(picture), plate.model_dump_json(), *size)
    return additions.keep(key, place, lambda made: made.planes.nbytes).planes
