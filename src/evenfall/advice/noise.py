"""Monte Carlo noise of a pass, estimated from its own pixels, block by block.

A render's noise is what a second render with another seed would change. From one picture it shows
in differences that no smooth shading has. The operator of Immerkaer (1996, "Fast noise variance
estimation", Computer Vision and Image Understanding 64:2) removes everything up to linear and
quadratic shading; the mean of its absolute value, times the root of pi/2, is the noise. It is taken
over every other pixel here, because renderers' pixel filters make neighbours alike.

Texture and edges still pass for noise, which two things keep in bounds. A block takes the quiet end
of its neighbourhood, in units of its own brightness. And noise does not grow with distance, where
leaves, fabric and gravel do: blocks whose differences over four pixels are larger than those over
two are textured, and take no more noise than blocks of their brightness that are not. A pass whose
noise is buried in texture everywhere takes that of its quietest blocks.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

__all__ = ["BLOCK_PIXELS", "NoiseGrid", "noise_grid"]

Planes = npt.NDArray[np.float32]
Plane = npt.NDArray[np.float32]

BLOCK_PIXELS = 16
"""Side of a block; 144 differences give its noise to about 10 %."""

_LEAST_PIXELS = 5  # what the operator spans

_MEAN_TO_SIGMA = 1.2533141  # root of pi/2
_OPERATOR_NORM = 6.0  # root of the sum of squares of the operator's nine weights
_QUIET_QUANTILE = 0.25
_QUIET_REACH = 1
_QUIET_BIAS = 0.923  # mean of the estimate over the truth on white noise, by simulation
_NEAR, _FAR = 2, 4  # pixels apart
_GROWTH = 1.25  # of the variance from near to far, beyond which a block is textured
_FILTERED_GROWTH = 1.5  # the most that a pixel filter is taken to cause; a Gaussian of 0.7 pixel
_LEAST_GROWN = 0.1  # quantile of blocks that tells what the filter causes
_FEWEST_PLAIN = 8  # blocks that are not textured, to speak for the others
_PLAIN_SHARE = 1 / 12  # of them, nearest in brightness, that speak for a block
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
    mean, near, far = (np.stack(each) for each in zip(*channels, strict=True))
    brightness = np.maximum(np.abs(mean), np.float32(1e-12))
    quiet = [
        _without_texture(level, first / level, second / level)
        for level, first, second in zip(brightness, near, far, strict=True)
    ]
    return NoiseGrid(mean, np.stack(quiet) * brightness / np.float32(_QUIET_BIAS))


def _channel_grid(plane: npt.NDArray[np.floating], block: int) -> tuple[Planes, Planes, Planes]:
    """Mean of every block, and deviation by differences of near and of far pixels."""
    rows, columns = plane.shape[0] // block, plane.shape[1] // block
    mean, near, far = (np.empty((rows, columns), np.float32) for _ in range(3))
    apart = _FAR if block > 2 * _FAR else _NEAR
    for row in range(rows):
        strip = plane[row * block : (row + 1) * block, : columns * block].astype(np.float32)
        cells = strip.reshape(block, columns, block).transpose(1, 0, 2)
        mean[row] = cells.mean(axis=(1, 2))
        near[row] = _deviation(cells, _NEAR)
        far[row] = near[row] if apart == _NEAR else _deviation(cells, apart)
    return mean, near, far


def _deviation(cells: Planes, apart: int) -> Planes:
    """Second difference down, then across, of pixels that far apart: 1 -2 1; -2 4 -2; 1 -2 1."""
    span = 2 * apart
    down = cells[:, :-span] - 2.0 * cells[:, apart:-apart] + cells[:, span:]
    both = down[:, :, :-span] - 2.0 * down[:, :, apart:-apart] + down[:, :, span:]
    deviation: Planes = np.abs(both).mean(axis=(1, 2)) * (_MEAN_TO_SIGMA / _OPERATOR_NORM)
    return deviation


def _without_texture(brightness: Plane, near: Plane, far: Plane) -> Plane:
    """Relative noise of every block, from what differs near and far relative to its brightness."""
    around = _neighbourhoods(near)
    quiet: Plane = np.minimum(near, np.quantile(around, _QUIET_QUANTILE, axis=-1))
    steps = _neighbourhoods(far) / np.maximum(around, np.float32(1e-12))
    growth = np.median(steps, axis=-1) ** 2
    by_filter = np.clip(np.quantile(growth, _LEAST_GROWN), 1.0, _FILTERED_GROWTH)
    plain = growth <= _GROWTH * by_filter
    if np.count_nonzero(plain) < _FEWEST_PLAIN:
        return np.minimum(quiet, np.quantile(quiet, _QUIETEST).astype(np.float32))
    usual = _usual_at(brightness[plain], quiet[plain], brightness)
    return np.where(plain, quiet, np.minimum(quiet, usual))


def _neighbourhoods(blocks: Plane) -> Planes:
    padded = np.pad(blocks, _QUIET_REACH, mode="edge")
    side = 2 * _QUIET_REACH + 1
    windows = np.lib.stride_tricks.sliding_window_view(padded, (side, side))
    return windows.reshape(*blocks.shape, side * side)


def _usual_at(levels: Plane, noise: Plane, wanted: Plane) -> Plane:
    """Median noise of the blocks whose levels are nearest to each that is wanted."""
    order = np.argsort(levels)
    count = max(_FEWEST_PLAIN, round(len(order) * _PLAIN_SHARE))
    windows = np.lib.stride_tricks.sliding_window_view(noise[order], count)
    first = np.searchsorted(levels[order], wanted) - count // 2
    usual: Plane = np.median(windows, axis=1)[np.clip(first, 0, len(windows) - 1)]
    return usual
