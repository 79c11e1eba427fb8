"""What differs between two pictures: how much, how much of it an eye would notice, and where."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import numpy.typing as npt

from evenfall.compare.reading import Reduced, read_reduced
from evenfall.errors import Fault, UsageError
from evenfall.light.ciede2000 import ciede2000
from evenfall.light.cielab import rgb_to_lab
from evenfall.mix.averaging import area_mean
from evenfall.system.processors import default_workers

__all__ = ["COMPARED_WIDTH", "SEEN", "PictureDifference", "compare_pictures"]

Floats = npt.NDArray[np.float32]

COMPARED_WIDTH = 1600
"""Pixels of width that pictures are averaged down to before they are compared."""

_BAND_PIXELS = 1 << 15
_ROUNDING = 0.01

SEEN = 2.0
"""CIEDE2000 from which an eye notices a difference side by side (common practice)."""


@dataclass(frozen=True, eq=False)
class PictureDifference:
    """How two pictures differ, in CIEDE2000.

    Parameters
    ----------
    mean, percentile_95, largest : float
        Over all pixels.
    seen_share : float
        Share of the pixels above `SEEN`.
    largest_at : tuple of float
        Where the largest is: shares of width and height from the top left.
    size : tuple of int
        Width and height at which they were compared.
    map : ndarray of float32, shape (h, w)
        The difference of each pixel.
    before, after : Reduced
        The pictures as they were compared.
    """

    mean: float
    percentile_95: float
    largest: float
    seen_share: float
    largest_at: tuple[float, float]
    size: tuple[int, int]
    map: Floats = field(repr=False)
    before: Reduced = field(repr=False)
    after: Reduced = field(repr=False)

    @property
    def figures(self) -> str:
        """What was measured, in one line.

        Examples
        --------
        >>> from evenfall.light.primaries import BT709
        >>> nothing = np.zeros((1, 1), np.float32)
        >>> picture = Reduced(np.zeros((3, 1, 1), np.float32), BT709, (1, 1))
        >>> PictureDifference(0.5, 1, 4.2, 0.02, (0.5, 0.1), (1, 1), nothing, picture,
        ...                   picture).figures
        'mean 0.50, 95 % below 1.0, largest 4.2, 2.0 % of the picture above 2'
        """
        from evenfall.recipe.words.wording import percent_words  # late: recipes take long to import

        return (
            f"mean {self.mean:.2f}, 95 % below {self.percentile_95:.1f}, largest "
            f"{self.largest:.1f}, {percent_words(self.seen_share)} of the picture above {SEEN:g}"
        )

    @property
    def is_equal(self) -> bool:
        """Whether no pixel differs by more than two ways of writing one profile do."""
        return self.largest < _ROUNDING


def compare_pictures(
    before: str | Path, after: str | Path, *, width: int | None = COMPARED_WIDTH
) -> PictureDifference:
    """Compare two pictures.

    They are averaged down in linear light first, so that grain and single pixels weigh as little as
    they do from the distance at which a whole picture is looked at.

    Parameters
    ----------
    before, after : str or Path
        PNG, JPEG, TIFF, WebP, AVIF, EXR and more, of any size, but of the same shape.
    width : int or None
        Width at which they are compared, where they are wider; None compares all pixels.

    Raises
    ------
    PixelSourceError
        When one of them cannot be read.
    UsageError
        When their shapes differ, so that they cannot be laid over each other.

    Examples
    --------
    >>> import tempfile
    >>> from evenfall.deliver.png import encode_png
    >>> folder = Path(tempfile.mkdtemp())
    >>> for name, code in (("a.png", 118), ("b.png", 121)):
    ...     _ = (folder / name).write_bytes(encode_png(np.full((8, 8, 3), code, np.uint8)))
    >>> found = compare_pictures(folder / "a.png", folder / "b.png")
    >>> round(found.mean, 2), found.seen_share
    (1.19, 0.0)
    """
    paths = Path(before), Path(after)
    with ThreadPoolExecutor(2, "picture") as pool:
        one, other = pool.map(lambda path: read_reduced(path, width), paths)
    one, other = _laid_over(one, other, paths)
    if one.space == other.space and np.array_equal(one.planes, other.planes):
        found = np.zeros(_sides(one)[::-1], np.float32)
    else:
        found = _differences(one, other)
    width, height = _sides(one)
    row, column = divmod(int(np.argmax(found)), width)
    return PictureDifference(
        mean=float(found.mean(dtype=np.float64)),
        percentile_95=float(np.percentile(found, 95)),
        largest=float(found.max()),
        seen_share=float((found > SEEN).mean(dtype=np.float64)),
        largest_at=((column + 0.5) / width, (row + 0.5) / height),
        size=(width, height),
        map=found,
        before=one,
        after=other,
    )


def _differences(one: Reduced, other: Reduced) -> Floats:
    """Difference of each pixel, in bands small enough for the processor's cache."""
    width, height = _sides(one)
    found = np.empty((height, width), np.float32)
    rows = max(1, _BAND_PIXELS // width)

    def band(row: int) -> None:
        labs = [rgb_to_lab(each.planes[:, row : row + rows], each.space) for each in (one, other)]
        found[row : row + rows] = ciede2000(*labs)

    with ThreadPoolExecutor(default_workers(), "difference") as pool:
        list(pool.map(band, range(0, height, rows)))
    return found


def _laid_over(one: Reduced, other: Reduced, paths: tuple[Path, Path]) -> tuple[Reduced, Reduced]:
    """Bring both to one size, the smaller; their shapes must be the same."""
    (width_1, height_1), (width_2, height_2) = one.size, other.size
    if abs(width_1 * height_2 - width_2 * height_1) > max(width_1, width_2):  # a pixel of height
        found = f"{width_1} x {height_1} pixels, and {paths[1]} has {width_2} x {height_2}"
        hint = "compare pictures of the same crop"
        raise UsageError(Fault(str(paths[0]), "", found, "pictures of one shape", hint))
    width, height = (min(sides) for sides in zip(_sides(one), _sides(other), strict=True))
    return _brought_to(one, (width, height)), _brought_to(other, (width, height))


def _sides(picture: Reduced) -> tuple[int, int]:
    return picture.planes.shape[2], picture.planes.shape[1]


def _brought_to(picture: Reduced, size: tuple[int, int]) -> Reduced:
    if _sides(picture) == size:
        return picture
    planes = np.stack([area_mean(plane, size) for plane in picture.planes])
    return replace(picture, planes=planes)
