"""Light that would count twice: passes that hold other passes, told from a sample of their pixels.

Light groups that were exported beside their lights, a beauty among the lights, a file under two
names: such sets are sound file by file, and give twice the light. What adds up adds up in every
pixel, so one pixel in many is enough to tell, and that costs nothing beside reading a pass.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from evenfall.passes.image import HUGE
from evenfall.prove.blocks import BlockGrid, BlockPicture, reduce_picture
from evenfall.survey.sums import same_pictures, sums_among

__all__ = ["Doubling", "find_doublings", "sampled"]

Plane = npt.NDArray[np.float16] | npt.NDArray[np.float32]

_SAMPLE = 64_000  # pixels


@dataclass(frozen=True)
class Doubling:
    """A pass that holds others.

    Parameters
    ----------
    light : str
        Whose pass it is.
    held : tuple of str
        Lights that it holds; one, where both passes are the same picture.
    whole : bool
        Whether it is their sum; False where it holds more.
    """

    light: str
    held: tuple[str, ...]
    whole: bool


def sampled(planes: Sequence[Plane]) -> BlockPicture:
    """Reduce a sample of a pass's pixels to blocks.

    Parameters
    ----------
    planes : sequence of 3 ndarray
        R, G, B of shape (H, W), finite. Passes of one size give samples of the same pixels.

    Examples
    --------
    >>> sampled([np.ones((8, 8), np.float16)] * 3).means.shape
    (3, 2, 2)
    """
    step = max(1, round((planes[0].size / _SAMPLE) ** 0.5))
    sample = [
        np.ascontiguousarray(np.clip(plane[::step, ::step].astype(np.float32), -HUGE, HUGE))
        for plane in planes
    ]
    return reduce_picture(sample, BlockGrid.for_picture(*sample[0].shape))


def find_doublings(samples: Mapping[str, BlockPicture]) -> tuple[Doubling, ...]:
    """Find passes that hold other passes.

    Parameters
    ----------
    samples : mapping of str to BlockPicture
        By light, as `sampled` gives them; all of one size.

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> sun, sky, lamp = (rng.gamma(0.3, 1, (3, 32, 48)).astype(np.float32) for _ in range(3))
    >>> passes = {"sun": sun, "sky": sky, "lamp": lamp, "all": sun + sky + lamp, "sun_2": sun}
    >>> for each in find_doublings({light: sampled(planes) for light, planes in passes.items()}):
    ...     print(each.light, each.held, each.whole)
    sun_2 ('sun',) True
    all ('sun', 'sky', 'lamp') True
    """
    copies = same_pictures(samples)
    gone = {copy for _, copy in copies}
    sums = sums_among({light: each for light, each in samples.items() if light not in gone})
    return (
        *(Doubling(copy, (first,), whole=True) for first, copy in copies),
        *(Doubling(each.total, each.addends, each.is_whole) for each in sums),
    )
