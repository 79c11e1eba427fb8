"""What in the pixels of a picture says that it holds no light, and which data it may hold.

Light is nowhere far below zero, is not made of whole numbers, and has no values beyond any light. A
sample of the pixels is enough to tell:

====================  ==============================================================
sign                  what it is
====================  ==============================================================
far below zero        in 1 % of the pixels by a hundredth of the usual level: vectors
unit length           vectors of length 1 in 90 % of the lit pixels: normals
beyond any light      one pixel in 1,000 above 1e12: ids as floats
far beyond light      one pixel in 200 at one value above 1e9: a depth that ends nowhere
whole numbers         999 of 1,000 values between 2 and 1,024: ids, counts
nothing but 0 and 1   97 of 100 values, grey or one channel at a time: mattes
====================  ==============================================================
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from evenfall.passes.image import HUGE

__all__ = ["DataSign", "sign_of_data"]

Plane = npt.NDArray[np.float16] | npt.NDArray[np.float32]
Floats = npt.NDArray[np.float32]

_SAMPLE = 120_000  # pixels
_LEAST = 64  # pixels that a sign must rest on
_BELOW_ZERO = (0.01, 0.01)  # share of the pixels, and how far below, of the usual level
_UNIT = (0.90, 0.03)  # share of the lit pixels, and how near to length 1
_BEYOND = (1e-3, 16)  # share of the pixels, and how many at least
_ENDLESS = (5e-3, 1e9)  # share of the pixels, and the least value
_WHOLE = 0.999
_HALF_IS_WHOLE = 1024.0  # half floats hold whole numbers only, from here up
_MATTE = 0.97


@dataclass(frozen=True)
class DataSign:
    """A sign of data.

    Parameters
    ----------
    what : str
        What it is, as in `evenfall.survey.words.DATA_WORDS`.
    reason : str
        What was seen, with its share.
    """

    what: str
    reason: str


def sign_of_data(planes: Sequence[Plane]) -> DataSign | None:
    """Look for signs that a picture holds no light.

    Parameters
    ----------
    planes : sequence of 3 ndarray
        R, G, B of shape (H, W), finite.

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> light = rng.gamma(2, 0.2, (3, 40, 60)).astype(np.float32)
    >>> sign_of_data(light) is None
    True
    >>> away = light - light.mean()
    >>> sign_of_data(away / np.linalg.norm(away, axis=0)).what
    'normals'
    >>> sign_of_data(np.floor(light * 20)).reason
    'all values are whole numbers'
    """
    step = max(1, round((planes[0].size / _SAMPLE) ** 0.5))
    sample = np.stack([plane[::step, ::step].astype(np.float32).ravel() for plane in planes])
    size = np.abs(sample)
    most = size.max(axis=0)
    beyond = most > HUGE
    if beyond.mean() > _BEYOND[0] and beyond.sum() >= _BEYOND[1]:
        said = f"{_per_cent(float(beyond.mean()))} of it lies beyond any light"
        return DataSign("ids and mattes", said)
    endless = (most >= _ENDLESS[1]) & (most == most.max())
    if endless.mean() > _ENDLESS[0]:
        said = f"{_per_cent(float(endless.mean()))} of it is {most.max():.2g}, beyond any light"
        return DataSign("depth", said)
    usual = float(np.quantile(size, 0.9))
    below = float(np.mean(sample.min(axis=0) < -_BELOW_ZERO[1] * usual)) if usual > 0 else 0.0
    if below > _BELOW_ZERO[0]:
        if _unit_share(sample) > _UNIT[0]:
            return DataSign("normals", "vectors of length 1")
        return DataSign("vectors", f"{_per_cent(below)} of it lies far below zero")
    return _whole_or_matte(sample)


def _unit_share(sample: Floats) -> float:
    length = np.sqrt((sample.astype(np.float64) ** 2).sum(axis=0))
    lit = length > 0.1
    if lit.sum() < _LEAST:
        return 0.0
    return float(np.mean(np.abs(length[lit] - 1) < _UNIT[1]))


def _whole_or_matte(sample: Floats) -> DataSign | None:
    lit = sample.max(axis=0) > 0
    values = sample[:, lit]
    if values.shape[1] < _LEAST:
        return None
    ends = float(np.mean((values == 0) | (values == 1)))
    if ends > _MATTE and np.ptp(sample) == 1:
        return DataSign("ids and mattes", f"{_per_cent(ends)} of its values are 0 or 1")
    judged = values[(values != 0) & (values < _HALF_IS_WHOLE)]
    several = judged.size >= _LEAST and float(judged.max()) > 1
    if several and float(np.mean(judged == np.round(judged))) > _WHOLE:
        return DataSign("ids and mattes", "all values are whole numbers")
    return None


def _per_cent(share: float) -> str:
    return f"{100 * share:.2g} %" if share < 0.995 else "all"
