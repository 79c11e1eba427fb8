"""A second look at the pixels of single pictures, with something undone on them."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence

import numpy as np
import numpy.typing as npt

from evenfall.prove.blocks import BlockGrid, Plane, reduce_picture
from evenfall.prove.curves import undo_plane
from evenfall.prove.measure import Pixels
from evenfall.prove.shift import slopes_of
from evenfall.prove.state import Picture, Seen

__all__ = ["look_at"]

Planes = Sequence[npt.NDArray[np.float32]]


def look_at(
    wanted: Iterable[Seen],
    names: Sequence[str],
    grid: BlockGrid,
    beauty: Pixels,
    read_passes: Callable[[], Iterable[tuple[str, Pixels]]],
    on_pass: Callable[[str], None] | None = None,
) -> Iterator[tuple[Seen, Picture]]:
    """Reduce pictures to blocks with something undone, reading each pass once."""
    by_name: dict[str, list[Seen]] = {}
    for seen in dict.fromkeys(wanted):
        index, operations = seen
        if index is None:
            yield seen, _picture(beauty, operations, grid)
        else:
            by_name.setdefault(names[index], []).append(seen)
    if not by_name:
        return
    for name, picture in read_passes():
        for seen in by_name.get(name, ()):
            yield seen, _picture(picture, seen[1], grid)
        if on_pass is not None:
            on_pass(name)


def _picture(picture: Pixels, operations: tuple[str, ...], grid: BlockGrid) -> Picture:
    planes: Sequence[Plane] = picture.planes
    for operation in operations:
        planes = _undone(operation, planes, picture.alpha)
    return Picture.of(reduce_picture(planes, grid), slopes_of(planes, grid), operations)


def _undone(operation: str, planes: Sequence[Plane], alpha: Plane | None) -> Planes:
    word, *numbers = operation.split() if operation.startswith("shift") else (operation,)
    if word == "shift":
        across, down = (float(number) for number in numbers)
        return [_moved(plane, across, down) for plane in planes]
    if not word.startswith("alpha"):
        return [undo_plane(word, plane) for plane in planes]
    assert alpha is not None
    cover: npt.NDArray[np.float32] = alpha.astype(np.float32)
    if word == "alpha never":
        return [plane.astype(np.float32) * cover for plane in planes]
    thick = np.where(cover > 1e-3, cover, 1).astype(np.float32)
    return [plane.astype(np.float32) / thick for plane in planes]


def _moved(plane: Plane, across: float, down: float) -> npt.NDArray[np.float32]:
    """Take a picture back that stands so many pixels right and down."""
    from scipy.ndimage import shift

    moved: npt.NDArray[np.float32] = shift(
        plane.astype(np.float32), (-down, -across), order=1, mode="nearest", prefilter=False
    )
    return moved
