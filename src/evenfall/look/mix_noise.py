"""Noise of a finished mix: how much there is, how it is tied from pixel to pixel, and its removal.

The denoiser (Open Image Denoise) expects noise that is independent from pixel to pixel. A pixel
filter of a renderer that is wider than a pixel ties neighbours together, and the denoiser then
takes the noise for texture. Where that is so, the picture is taken apart into the four pictures of
every second pixel of every second row, in which noise is independent again. They are denoised one
by one and put together, and the denoiser smooths what is left between them. What this took away
beyond what noise explains, texture and edges, is given back.

Noise is measured by second differences across and down, which smooth surfaces and straight edges
do not have: of next neighbours, and of every second pixel. Noise that is independent has the same
deviation in both; the more it is tied, the smaller the first.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from evenfall.look.arrays import Plane, Planes
from evenfall.passes.mending.denoise import Guides, denoise

__all__ = ["MixNoise", "denoise_mix", "measure_noise", "share_of_noise_left"]

_TIED = 0.2  # correlation from which a picture is taken apart; below it the denoiser does well
_BLOCK = 16  # pixels a side
_UNLIT = 1e-4  # of the usual light: below it nothing is measured
_CALM = (1, 12)  # percentiles of blocks by relative noise: where there is hardly any texture
_FEWEST_BLOCKS = 24
_SMALLEST_SIDE = 64  # pixels; smaller pictures are left as they are taken
_MAD_TO_SIGMA = 1.4826
_MIXED = 6.0  # deviation of the second difference across and down, for noise of deviation 1
_BRIGHTNESS_BINS = 10
_USUAL_BLOCK = 30  # percentile of blocks of one brightness whose deviation is taken for noise
_BEYOND_NOISE = 1.5  # times the variance of noise, from which something else was taken away
_WINDOW = 9  # pixels a side, in which what was taken away is judged


@dataclass(frozen=True)
class MixNoise:
    """Noise of a picture in its calmest places.

    Parameters
    ----------
    deviation : float
        Deviation of a pixel as a share of the light there.
    correlation : float
        Of a pixel with the next; 0 where noise is independent. A few per cent too high where
        texture is stronger than noise.
    """

    deviation: float
    correlation: float

    @property
    def is_tied(self) -> bool:
        """Whether the denoiser would take it for texture."""
        return self.correlation >= _TIED


def measure_noise(planes: Planes) -> MixNoise | None:
    """Measure the noise of a scene-linear picture; None where there is too little to measure.

    Parameters
    ----------
    planes : ndarray of float32, shape (3, H, W)

    Examples
    --------
    >>> random = np.random.default_rng(1)
    >>> grainy = (1 + 0.1 * random.normal(size=(3, 240, 320))).astype(np.float32)
    >>> found = measure_noise(grainy)
    >>> round(found.deviation, 2), abs(found.correlation) < 0.05  # the mean of three channels
    (0.06, True)
    """
    found = _blocks_of(planes.mean(axis=0))
    if found is None:
        return None
    level, near, far = _neighbours_of_calm(*found)
    ratio = float(np.median(near / far))
    # For a correlation r of neighbours: a difference of next ones has the variance 6 - 8 r.
    correlation = max(0.0, 6 * (1 - ratio) / 8)
    return MixNoise(float(np.median(far / level)), correlation)


def _neighbours_of_calm(level: Plane, near: Plane, far: Plane) -> tuple[Plane, Plane, Plane]:
    """Pick blocks beside which it is calm.

    Of blocks that are picked for having little noise, noise would be measured too small.
    """
    count = len(level) // 2 * 2
    pairs = np.arange(count).reshape(-1, 2)
    relative = (far / level)[pairs]
    low, high = np.percentile(relative, _CALM)
    calm = (relative >= low) & (relative <= high)
    picked = pairs[:, ::-1][calm]
    return level[picked], near[picked], far[picked]


def share_of_noise_left(before: Planes, after: Planes) -> float | None:
    """Deviation in the places that were calm before, as a share of what it was there."""
    first, second = (_blocks_of(planes.mean(axis=0), keep_all=True) for planes in (before, after))
    if first is None or second is None:
        return None
    level, _, deviation = first
    sound = (deviation > 0) & (level > 0)
    if np.count_nonzero(sound) < _FEWEST_BLOCKS:
        return None
    relative = deviation[sound] / level[sound]
    calm = relative <= np.percentile(relative, 50)
    return float(np.median(second[2][sound][calm] / deviation[sound][calm]))


def denoise_mix(planes: Planes, guides: Guides, strength: float, noise: MixNoise | None) -> Planes:
    """Take noise off a mix.

    Parameters
    ----------
    planes : ndarray of float32, shape (3, H, W)
        Scene-linear; left as it is. Negative values are taken as 0.
    guides : Guides
        Albedo and normal of the same size, or none.
    strength : float
        0 to 1: how much of what the denoiser would change is changed.
    noise : MixNoise or None
        From `measure_noise`.

    Returns
    -------
    ndarray of float32, shape (3, H, W)

    Raises
    ------
    UsageError
        When the extra 'denoise' is not installed.
    PassError
        When the denoiser fails.
    """
    if noise is not None and noise.is_tied and min(planes.shape[1:]) >= 2 * _SMALLEST_SIDE:
        clean = _denoise(_apart(planes, guides), guides)
        clean = _give_back(planes, clean)
    else:
        clean = _denoise(planes, guides)
    if strength < 1:
        clean = planes + np.float32(strength) * (clean - planes)
    return clean


def _denoise(planes: Planes, guides: Guides) -> Planes:
    return np.stack(denoise(list(planes), guides, place="look.denoise"))


def _apart(planes: Planes, guides: Guides) -> Planes:
    """Denoise the four pictures of every second pixel of every second row."""
    joined = np.empty_like(planes)
    for down in (0, 1):
        for across in (0, 1):
            every = (slice(down, None, 2), slice(across, None, 2))
            albedo, normal = (
                None if guide is None else np.ascontiguousarray(guide[every])
                for guide in (guides.albedo, guides.normal)
            )
            part = np.ascontiguousarray(planes[:, every[0], every[1]])
            joined[:, every[0], every[1]] = _denoise(part, Guides(albedo, normal))
    return joined


def _give_back(noisy: Planes, clean: Planes) -> Planes:
    """Give back what was taken away where it is more than noise."""
    from scipy.ndimage import uniform_filter

    taken = noisy - clean
    level = uniform_filter(clean.mean(axis=0), _WINDOW)
    variance = uniform_filter(taken.mean(axis=0) ** 2, _WINDOW)
    explained = _BEYOND_NOISE * _deviation_by_level(noisy.mean(axis=0), level) ** 2
    share = 1 - explained / np.maximum(variance, np.float32(1e-30))
    share = uniform_filter(np.clip(share, 0, 1).astype(np.float32), 3)
    given: Planes = clean + share * taken
    return given


def _deviation_by_level(picture: Plane, level: Plane) -> Plane:
    """Deviation of noise at levels of light, from blocks that are usual for their brightness."""
    found = _blocks_of(picture)
    if found is None:
        return np.zeros_like(level)
    logs, deviation = np.log(found[0]), np.log(found[2])
    edges = np.quantile(logs, np.linspace(0, 1, _BRIGHTNESS_BINS + 1))
    middles, usual = [], []
    for low, high in pairwise(edges):
        within = (logs >= low) & (logs <= high)
        middles.append(float(np.median(logs[within])))
        usual.append(float(np.percentile(deviation[within], _USUAL_BLOCK)))
    at = np.log(np.maximum(level, np.float32(1e-12)))
    interpolated: Plane = np.exp(np.interp(at, middles, usual)).astype(np.float32)
    return interpolated


def _blocks_of(picture: Plane, *, keep_all: bool = False) -> tuple[Plane, Plane, Plane] | None:
    """Of every block: mean, and deviation by differences of next and of every second pixel."""
    far = _mixed_difference(picture, 2)
    if far.shape[0] < _BLOCK or far.shape[1] < _BLOCK:
        return None
    near = _mixed_difference(picture, 1)[1:-1, 1:-1]
    level = _in_blocks(picture[2:-2, 2:-2]).mean(axis=1)
    near, far = (
        np.median(np.abs(_in_blocks(each)), axis=1) * np.float32(_MAD_TO_SIGMA / _MIXED)
        for each in (near, far)
    )
    if keep_all:
        return level, near, far
    lit = level > 0
    if np.count_nonzero(lit & (far > 0)) < _FEWEST_BLOCKS:
        return None
    sound = (level > _UNLIT * np.median(level[lit])) & (far > 0)
    return level[sound], near[sound], far[sound]


def _mixed_difference(picture: Plane, step: int) -> Plane:
    across = picture[:, : -2 * step] - 2 * picture[:, step:-step] + picture[:, 2 * step :]
    mixed: Plane = across[: -2 * step] - 2 * across[step:-step] + across[2 * step :]
    return mixed


def _in_blocks(picture: Plane) -> Plane:
    rows, columns = (count // _BLOCK for count in picture.shape)
    cut = picture[: rows * _BLOCK, : columns * _BLOCK]
    blocks = cut.reshape(rows, _BLOCK, columns, _BLOCK).swapaxes(1, 2)
    flat: Plane = blocks.reshape(rows * columns, _BLOCK * _BLOCK)
    return flat
