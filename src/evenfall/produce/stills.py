"""A developed mood as plain sRGB codes: of a width for pages and boards, or as a draft has them."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import numpy as np
import numpy.typing as npt

from evenfall.deliver.quantise import quantise
from evenfall.deliver.resize import resize_linear
from evenfall.develop.developed import DevelopedMood
from evenfall.light.output_spaces import output_space
from evenfall.produce.canvas import STRIP_ROWS, Canvas
from evenfall.recipe import Deliverable
from evenfall.system.overtaken import going_on

__all__ = ["draft_codes", "srgb_still"]

_DRAFT = Deliverable()
_STRIP_ROWS = 4 * STRIP_ROWS


def draft_codes(
    mood: DevelopedMood,
    *,
    workers: int = 1,
    rows: slice | None = None,
) -> npt.NDArray[np.uint8]:
    """Give the codes that a draft of a mood holds, before guides and crops.

    Parameters
    ----------
    mood : DevelopedMood
        What is shown, whole.
    workers : int
        Threads; the result does not depend on them.
    rows : slice, optional
        Only these rows.

    Returns
    -------
    ndarray, shape (H, W, 3), uint8
        sRGB codes, dithered as an 8-bit PNG of a run is.

    Raises
    ------
    PixelSourceError, RecipeError
        When a plate, mask, LUT or CDL cannot be used.

    Examples
    --------
    >>> from evenfall.develop.engine import develop_mood
    >>> from evenfall.develop.example import example_recipe
    >>> draft_codes(develop_mood(example_recipe(), "dusk")).shape
    (32, 48, 3)
    """
    canvas, go_on = Canvas(mood.chain(), mood.size), going_on()
    canvas.want_codes(_DRAFT.bit_depth, dither=_DRAFT.dither)

    def fill(strip: slice) -> None:
        go_on()
        canvas.fill(scene, strip)

    scene = mood.scene(canvas.chain, workers=workers)
    top, bottom, _ = (rows or slice(None)).indices(mood.size[1])
    strips = [slice(row, min(row + _STRIP_ROWS, bottom)) for row in range(top, bottom, _STRIP_ROWS)]
    with ThreadPoolExecutor(workers) as pool:
        list(pool.map(fill, strips))
    codes: npt.NDArray[np.uint8] = canvas.codes[_DRAFT.bit_depth, _DRAFT.dither][top:bottom]
    return codes


def srgb_still(mood: DevelopedMood, width: int) -> npt.NDArray[np.uint8]:
    """Bring a mood to at most a width, with square pixels, in linear light; never enlarged.

    Parameters
    ----------
    mood : DevelopedMood
        What is shown, whole.
    width : int
        Pixels.

    Returns
    -------
    ndarray, shape (h, w, 3), uint8
        sRGB codes.

    Examples
    --------
    >>> from evenfall.develop.engine import develop_mood
    >>> from evenfall.develop.example import example_recipe
    >>> dusk = develop_mood(example_recipe(), "dusk")
    >>> srgb_still(dusk, 24).shape, srgb_still(dusk, 4000).shape
    ((16, 24, 3), (32, 48, 3))
    """
    full, tall = mood.size
    width = min(full, width)
    height = max(1, round(width * tall / (full * mood.pixel_aspect)))
    space = output_space("sRGB")
    encoded = np.ascontiguousarray(np.moveaxis(mood.encoded(), -1, 0))
    if (width, height) != (full, tall):
        encoded = space.encode(resize_linear(space.decode(encoded), width, height))
    return quantise(encoded, 8, dither=False).astype(np.uint8, copy=False)
