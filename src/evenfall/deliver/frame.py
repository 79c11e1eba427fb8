"""The frame of a deliverable: which part of the view, how many pixels, how large on paper."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from evenfall.errors import OutputError
from evenfall.recipe.deliverables import aspect_ratio

if TYPE_CHECKING:
    from evenfall.recipe import Recipe
    from evenfall.recipe.deliverables import Deliverable

__all__ = [
    "MAX_PIXELS",
    "Frame",
    "check_frames",
    "crop_box",
    "frame_of",
    "print_pixels",
    "square_size",
]

MAX_PIXELS = 400_000_000
"""Most pixels of a deliverable: three times 15360 x 8640, about 5 GB of float planes."""

_MM_PER_INCH = 25.4


@dataclass(frozen=True)
class Frame:
    """A rectangle of the view and the size that it is delivered in.

    Parameters
    ----------
    left, top, right, bottom : int
        The part of the view in pixels, right and bottom exclusive.
    width, height : int
        Size of the deliverable in pixels.
    dpi : float or None
        Pixels per inch on paper, if a print size was asked for.
    pixel_aspect : float
        Width over height of a pixel of the deliverable.
    """

    left: int
    top: int
    right: int
    bottom: int
    width: int
    height: int
    dpi: float | None = None
    pixel_aspect: float = 1.0

    @property
    def is_resized(self) -> bool:
        """Whether pixels have to be interpolated."""
        return (self.right - self.left, self.bottom - self.top) != (self.width, self.height)


def frame_of(deliverable: Deliverable, width: int, height: int, pixel_aspect: float = 1.0) -> Frame:
    """Frame of a deliverable of a view.

    A width alone or a height alone keeps the proportions; both together crop to their ratio, so
    that nothing is ever squeezed. Pictures for displays have square pixels, whatever the passes
    have: they are stretched where pixels are narrower than they look. Scene-linear files keep them.

    Parameters
    ----------
    deliverable : Deliverable
        Crop, size or print size asked for.
    width, height : int
        Size of the view in pixels.
    pixel_aspect : float
        Width over height of a pixel of the view.

    Raises
    ------
    OutputError
        If the deliverable would be larger than files hold or memory does.

    Examples
    --------
    >>> from evenfall.recipe.deliverables import Deliverable
    >>> frame_of(Deliverable(crop="1:1", width=540), 1920, 1080)
    Frame(left=420, top=0, right=1500, bottom=1080, width=540, height=540, dpi=None,
        pixel_aspect=1.0)
    """
    kept = pixel_aspect if deliverable.row.is_scene_linear else 1.0
    stretch = pixel_aspect / kept
    aspect = aspect_ratio(deliverable.crop) / pixel_aspect if deliverable.crop else None
    if aspect is None and deliverable.width and deliverable.height:
        aspect = deliverable.width / deliverable.height / stretch
    left, top, right, bottom = crop_box(width, height, aspect, deliverable.crop_position)
    part_width, part_height = right - left, bottom - top
    shown_aspect = part_width * stretch / part_height
    out_width = round(part_width * max(1.0, stretch))
    out_height, dpi = round(part_height / min(1.0, stretch)), None
    if deliverable.print is not None:
        dpi = deliverable.print.dpi
        out_width = print_pixels(deliverable.print.width_mm, dpi)
        out_height = max(1, round(out_width / shown_aspect))
    elif deliverable.width and deliverable.height:
        out_width, out_height = deliverable.width, deliverable.height
    elif deliverable.width:
        out_width = deliverable.width
        out_height = max(1, round(out_width / shown_aspect))
    elif deliverable.height:
        out_height = deliverable.height
        out_width = max(1, round(out_height * shown_aspect))
    _check_size(deliverable, out_width, out_height)
    return Frame(left, top, right, bottom, out_width, out_height, dpi, kept)


def square_size(width: int, height: int, pixel_aspect: float) -> tuple[int, int]:
    """Size with square pixels of a picture that is not to grow.

    Examples
    --------
    >>> square_size(2000, 1000, 2.0), square_size(2000, 1000, 0.5)
    ((2000, 500), (1000, 1000))
    """
    wide = max(1, round(width * min(1.0, pixel_aspect)))
    return wide, max(1, round(height / max(1.0, pixel_aspect)))


def check_frames(recipe: Recipe, size: tuple[int, int], pixel_aspect: float = 1.0) -> None:
    """Check that every deliverable of a recipe has a size that its file and memory hold.

    Parameters
    ----------
    recipe : Recipe
        Its deliverables.
    size : tuple of int
        Width and height of the view in pixels.
    pixel_aspect : float
        Width over height of the view's pixels.

    Raises
    ------
    OutputError
        Naming every one that is too large, with its place.
    """
    faults = []
    for number, deliverable in enumerate(recipe.model.deliverables):
        try:
            frame_of(deliverable, *size, pixel_aspect)
        except OutputError as error:
            faults.append(recipe.fault(("deliverables", number), str(error)))
    if faults:
        raise OutputError(faults)


def _check_size(deliverable: Deliverable, width: int, height: int) -> None:
    longest = deliverable.row.longest_side
    if max(width, height) > longest or width * height > MAX_PIXELS:
        raise OutputError(
            f"a deliverable of {width:,} x {height:,} pixels; {deliverable.format} holds "
            f"{longest:,} on a side, and allowed are {MAX_PIXELS:,} in all; ask for less width "
            "or fewer dpi"
        )


def crop_box(
    width: int, height: int, aspect: float | None, position: tuple[float, float] = (0.5, 0.5)
) -> tuple[int, int, int, int]:
    """Largest part of a picture with an aspect ratio: left, top, right, bottom.

    Parameters
    ----------
    width, height : int
        Size of the picture in pixels.
    aspect : float or None
        Width over height; None is the whole picture.
    position : tuple of float
        Where the part lies in the room that is left: 0 left or top, 1 right or bottom.

    Examples
    --------
    >>> crop_box(1920, 1080, 4 / 5, (1.0, 0.5))
    (1056, 0, 1920, 1080)
    """
    if aspect is None:
        return 0, 0, width, height
    if width / height > aspect:
        part_width, part_height = max(1, round(height * aspect)), height
    else:
        part_width, part_height = width, max(1, round(width / aspect))
    across, down = (min(max(share, 0.0), 1.0) for share in position)
    left, top = round((width - part_width) * across), round((height - part_height) * down)
    return left, top, left + part_width, top + part_height


def print_pixels(millimetres: float, dpi: float) -> int:
    """Pixels of a length on paper, at least 1; an inch is 25.4 mm (ISO 80000-3).

    Examples
    --------
    >>> print_pixels(420, 300)  # the long side of A3
    4961
    """
    return max(1, round(millimetres / _MM_PER_INCH * dpi))
