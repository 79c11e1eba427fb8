"""Monte Carlo noise of a pass, estimated from its own pixels, block by block.

A render's noise is what a second render with another seed would change. From one picture it shows
in differences that no smooth shading has. The operator of Immerkaer (1996, "Fast noise variance
estimation", Computer Vision and Image Understanding 64:2) removes everything up to linear and
quadratic shading; the mean of its absolute value, times the root of pi/2, is the noise. It is taken
over every other pixel here, because renderers' pixel filters make neighbours alike.

Texture and edges still pass for noise, which two things keep in bounds. A block takes the quiet end
of its neighbourhood, in units of its own brightness. And noise does not grow with distance, where
leaves, fabric and gravel do: blocks whose differences over four pixels are larger than those over
two are textured, beyond what a pixel filter makes of noise, which pixels next to each other tell.
Textured blocks together take the noise that blocks of their brightness have that are not: in the
median, so that what is calmer or noisier among them stays so, and none takes more than nearly all
of the others have. A pass whose noise is buried in texture everywhere takes that of its quietest
blocks.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

__all__ = ["BLOCK_PIXELS", "NoiseGrid", "noise_grid"]

Planes = npt.NDArray[np.float32]
Plane = npt.NDArray[np.float32]
Floats = npt.NDArray[np.floating]
Mask = npt.NDArray[np.bool_]

BLOCK_PIXELS = 16
"""Side of a block; 144 differences give its noise to about 10 %."""

_LEAST_PIXELS = 5  # what the operator spans

_MEAN_TO_SIGMA = 1.2533141  # root of pi/2
_OPERATOR_NORM = 6.0  # root of the sum of squares of the operator's nine weights
_QUIET_QUANTILE = 0.25
_QUIET_REACH = 1
_QUIET_BIAS = 0.923  # mean of the estimate over the truth on white noise, by simulation
_NEXT, _NEAR, _FAR = 1, 2, 4  # pixels apart
_GROWTH = 1.2  # of the variance from near to far, beyond which a block is textured
_FILTERED_GROWTH = 1.5  # the most that a pixel filter is taken to cause; a Gaussian of 0.7 pixel
_FILTER_PIXELS = np.linspace(0.1, 1.2, 111)  # sigma
_LEAST_GROWN = 0.1  # quantile of blocks that tells what the filter causes
_FEWEST_PLAIN = 8  # blocks that are not textured, to speak for the others
_ALIKE_SHARE = 1 / 12  # of blocks, nearest in brightness, that speak for a block
_ALIKE_STEPS = 32  # in which one lot of blocks goes over into the next
_MOST_PLAIN = 0.9  # quantile of blocks that are not textured
_QUIETEST = 0.05  # quantile, where texture is everywhere


@dataclass(frozen=True, eq=False)
class NoiseGrid:
    """Mean and noise of a pass, a block a cell.

    Parameters
    ----------
    mean, sigma : ndarray, shape (3, rows, columns), float32
        Mean of the block's pixels and standard deviation of one pixel's noise, per channel, in the
        pass's scene-linear units.
    """

    mean: Planes
    sigma: Planes


def noise_grid(
    planes: Sequence[npt.NDArray[np.floating]] | Planes, block: int = BLOCK_PIXELS
) -> NoiseGrid:
    """Estimate the noise of a pass from its pixels.

    Parameters
    ----------
    planes : three arrays of shape (H, W)
        R, G, B of the pass, half or float, finite.
    block : int
        Side of a block in pixels. What is left at the right and bottom edge, less than a block, is
        not looked at. A picture smaller than a block is one block; one of less than five pixels a
        side tells nothing of its noise.

    Returns
    -------
    NoiseGrid

    Notes
    -----
    A wide pixel filter makes the estimate too low: white noise through a Gaussian of 0.5 pixel is
    found to 97 %, of 0.7 pixel to 82 %, of 1 pixel to half. Rare bright samples (fireflies) count
    for less than in the variance. A denoised pass reads as nearly free of noise. Texture of single
    pixels, without anything larger in it, cannot be told from noise.

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> grid = noise_grid(rng.normal(1.0, 0.05, (3, 128, 128)).astype(np.float32))
    >>> bool(abs(np.median(grid.sigma) - 0.05) < 0.01)
    True
    """
    height, width = planes[0].shape
    block = min(block, height, width)
    if block < _LEAST_PIXELS:
        mean = np.array([plane.mean(dtype=np.float64) for plane in planes], np.float32)
        return NoiseGrid(mean[:, None, None], np.zeros((3, 1, 1), np.float32))
    channels = [_channel_grid(np.asarray(plane), block) for plane in planes]
    mean, *deviations = (np.stack(each) for each in zip(*channels, strict=True))
    brightness = np.maximum(np.abs(mean), np.float32(1e-12))
    beside, near, far = (each / brightness for each in deviations)
    plain = _is_plain(beside, near, far)
    quiet = [_without_texture(*each, plain=plain) for each in zip(brightness, near, strict=True)]
    return NoiseGrid(mean, np.stack(quiet) * brightness / np.float32(_QUIET_BIAS))


def _channel_grid(plane: npt.NDArray[np.floating], block: int) -> tuple[Planes, ...]:
    """Mean of every block, and deviation by differences of pixels next, near and far."""
    rows, columns = plane.shape[0] // block, plane.shape[1] // block
    mean, *deviations = (np.empty((rows, columns), np.float32) for _ in range(4))
    distances = (_NEXT, _NEAR, _FAR if block > 2 * _FAR else _NEAR)
    for row in range(rows):
        strip = plane[row * block : (row + 1) * block, : columns * block].astype(np.float32)
        cells = strip.reshape(block, columns, block).transpose(0, 2, 1).copy()
        mean[row] = cells.mean(axis=(0, 1))
        for deviation, apart in zip(deviations, distances, strict=True):
            deviation[row] = _deviation(cells, apart)
    return mean, *deviations


def _deviation(cells: Planes, apart: int) -> Plane:
    """Second difference down, then across, of pixels that far apart: 1 -2 1; -2 4 -2; 1 -2 1."""
    span = 2 * apart
    down = cells[:-span] - 2.0 * cells[apart:-apart] + cells[span:]
    both = down[:, :-span] - 2.0 * down[:, apart:-apart] + down[:, span:]
    deviation: Plane = np.abs(both).mean(axis=(0, 1)) * (_MEAN_TO_SIGMA / _OPERATOR_NORM)
    return deviation


def _is_plain(beside: Floats, near: Floats, far: Floats) -> Mask:
    """Whether blocks are free of texture, shape (rows, columns), by how variance grows."""
    from_next, from_near = _growth(beside, near), _growth(near, far)
    return np.asarray(from_near <= _GROWTH * _by_filter(from_next, from_near))


def _growth(differences: Floats, farther: Floats) -> Floats:
    """How much the variance grows with distance, the median of channels and neighbourhood."""
    steps = farther / np.maximum(differences, np.float32(1e-12))
    around = np.concatenate([_neighbourhoods(channel) for channel in steps], axis=-1)
    return np.asarray(np.median(around, axis=-1)) ** 2


def _by_filter(from_next: Floats, from_near: Floats) -> float:
    """Growth of noise from near to far that a Gaussian pixel filter causes, 1 or more.

    It is at most what the calmest blocks have, and what goes with their growth from next to near.
    """
    after_next, after_near = (
        float(np.quantile(each, _LEAST_GROWN)) for each in (from_next, from_near)
    )
    next_, near, far = (_filtered(apart) for apart in (_NEXT, _NEAR, _FAR))
    expected = float(np.interp(after_next, near / next_, far / near))
    return min(max(1.0, min(after_near, expected)), _FILTERED_GROWTH)


def _filtered(apart: int) -> npt.NDArray[np.float64]:
    """Variance of second differences of filtered noise over that of white noise, by the filter."""
    alike, twice = (np.exp(-((k * apart / _FILTER_PIXELS / 2) ** 2)) for k in (1, 2))
    return np.asarray((1 - 4 / 3 * alike + twice / 3) ** 2)


def _without_texture(brightness: Floats, near: Floats, *, plain: Mask) -> Floats:
    """Relative noise of every block of a channel, from what differs near, relative to its light."""
    around = _neighbourhoods(near)
    quiet: Floats = np.minimum(near, np.quantile(around, _QUIET_QUANTILE, axis=-1))
    if plain.all():
        return quiet.astype(np.float32)
    if np.count_nonzero(plain) < _FEWEST_PLAIN:
        return np.minimum(quiet, np.quantile(quiet, _QUIETEST)).astype(np.float32)
    usual, most = _alike(brightness[plain], quiet[plain], brightness, (0.5, _MOST_PLAIN))
    (textured,) = _alike(brightness[~plain], quiet[~plain], brightness, (0.5,))
    freed = quiet * np.minimum(1, usual / np.maximum(textured, 1e-12))
    return np.where(plain, quiet, np.minimum(freed, most)).astype(np.float32)


def _neighbourhoods(blocks: Floats) -> Floats:
    padded = np.pad(blocks, _QUIET_REACH, mode="edge")
    side = 2 * _QUIET_REACH + 1
    windows = np.lib.stride_tricks.sliding_window_view(padded, (side, side))
    return np.asarray(windows.reshape(*blocks.shape, side * side))


def _alike(
    levels: Floats, noise: Floats, wanted: Floats, quantiles: tuple[float, ...]
) -> list[Floats]:
    """Quantiles of the noise of the blocks whose levels are nearest to each that is wanted."""
    order = np.argsort(levels)
    count = min(len(order), max(_FEWEST_PLAIN, round(len(order) * _ALIKE_SHARE)))
    step = max(1, count // _ALIKE_STEPS)
    windows = np.lib.stride_tricks.sliding_window_view(noise[order], count)[::step]
    first = np.searchsorted(levels[order], wanted) - count // 2
    found = np.quantile(windows, quantiles, axis=1)
    return [each[np.clip(first // step, 0, len(windows) - 1)] for each in found]
