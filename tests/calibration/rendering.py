"""Renderings of clean light: noise of several makes, beauties cleaner and noisier."""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass
from types import SimpleNamespace
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.ndimage import convolve1d, gaussian_filter

__all__ = ["Make", "RenderedSet", "picture", "random_make", "render_set"]

Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Make:
    """How a set is rendered.

    Parameters
    ----------
    grain : float
        Relative noise of a pixel of a pass.
    beauty_grain : float
        The same of the beauty, as a multiple of what the sum of the passes has.
    filter_pixels : float
        Sigma of a pixel filter; 0 leaves noise white, negative is the kernel 1 6 1.
    fireflies : float
        Share of pixels struck.
    picks_lights : bool
        Whether the beauty's noise comes from picking one light a sample: it grows with the whole
        light instead of each light's own.
    half : bool
        Whether pictures are stored as half float.
    paths : float
        Useful paths a pixel of a pass, where light is hard to find; 0 for many. Their number is
        Poisson's, so most pixels are too dark and some far too bright.
    cut : tuple of int
        Rows and columns cut off, so that the last blocks are not whole.
    """

    grain: float
    beauty_grain: float = 1.0
    filter_pixels: float = 0.0
    fireflies: float = 0.0
    picks_lights: bool = False
    half: bool = True
    paths: float = 0.0
    cut: tuple[int, int] = (0, 0)


@dataclass(eq=False)
class RenderedSet:
    """Passes by name and a beauty, shape (H, W, 3), float32; alpha of all, or None.

    `beauty_of` renders the beauty of some of the lights.
    """

    passes: dict[str, npt.NDArray[np.float32]]
    beauty: npt.NDArray[np.float32]
    alpha: npt.NDArray[np.float32] | None
    beauty_of: Callable[[Collection[str]], npt.NDArray[np.float32]]


def random_make(rng: np.random.Generator) -> Make:
    """One of the makes that renderers have, at random."""
    return Make(
        grain=float(np.exp(rng.uniform(np.log(0.02), np.log(0.5)))),
        beauty_grain=float(rng.choice([0.5, 0.7, 1.0, 1.3, 2.0])),
        filter_pixels=float(rng.choice([0.0, 0.0, -1.0, 0.5, 0.8])),
        fireflies=float(rng.choice([0.0, 0.0, 2e-5, 2e-4])),
        picks_lights=bool(rng.random() < 0.3),
        half=bool(rng.random() < 0.7),
        paths=float(rng.choice([0.0, 0.0, 0.0, 1.0, 2.0, 8.0])),
        cut=(int(rng.integers(4)), int(rng.integers(4))),
    )


def render_set(
    lights: dict[str, Array], make: Make, seed: int, alpha: Array | None = None
) -> RenderedSet:
    """Render each light, and all at once with noise of its own."""
    rng = np.random.default_rng(seed)
    rows, columns = next(iter(lights.values())).shape[:2]
    kept = np.s_[: rows - make.cut[0], : columns - make.cut[1]]
    lights = {name: clean[kept] for name, clean in lights.items()}
    alpha = None if alpha is None else alpha[kept]
    passes = {name: _rendered(clean, make, make.grain, rng) for name, clean in lights.items()}
    grain = make.grain * make.beauty_grain

    def beauty_of(names: Collection[str]) -> npt.NDArray[np.float32]:
        on = [clean for name, clean in lights.items() if name in names]
        if make.picks_lights:
            return _stored(_rendered(np.sum(on, axis=0), make, grain, rng), make)
        return _stored(np.sum([_rendered(clean, make, grain, rng) for clean in on], axis=0), make)

    beauty = beauty_of(lights.keys())
    cover = None if alpha is None else _stored(alpha, make)
    stored = {name: _stored(rgb, make) for name, rgb in passes.items()}
    return RenderedSet(stored, beauty, cover, beauty_of)


def _rendered(clean: Array, make: Make, grain: float, rng: np.random.Generator) -> Array:
    """Positive skewed noise, most of it common to the channels, as paths have it."""
    shape = 1 / grain**2
    noise = rng.gamma(shape, 1 / shape, clean.shape[:2])[..., None]
    noise = noise * rng.gamma(8 * shape, 1 / (8 * shape), clean.shape)
    if make.paths:
        hits = make.paths * (make.grain / grain) ** 2 * _how_easily_found(clean.shape[:2])
        noise = noise * (rng.poisson(hits) / hits)[..., None]
    struck = rng.random(clean.shape[:2]) < make.fireflies
    noise[struck] *= rng.uniform(5, 60, (int(struck.sum()), 1))
    noisy = clean * noise
    if make.filter_pixels < 0:
        for axis in (0, 1):
            noisy = convolve1d(noisy, np.array([1, 6, 1]) / 8, axis=axis, mode="nearest")
    elif make.filter_pixels > 0:
        noisy = gaussian_filter(noisy, (make.filter_pixels, make.filter_pixels, 0), mode="nearest")
    return np.asarray(noisy)


def _how_easily_found(shape: tuple[int, ...]) -> Array:
    """How easily paths find light in parts of a picture; around 1."""
    field = gaussian_filter(np.random.default_rng(0).normal(size=shape), shape[1] / 12)
    return np.asarray(np.exp(field / field.std()))


def _stored(values: Array, make: Make) -> npt.NDArray[np.float32]:
    kept = np.clip(values, 0, 65000).astype(np.float16 if make.half else np.float32)
    return kept.astype(np.float32)


def picture(rgb: npt.NDArray[np.float32], alpha: npt.NDArray[np.float32] | None = None) -> Any:
    """A picture as the proof takes it."""
    planes = tuple(np.ascontiguousarray(rgb[..., channel]) for channel in range(3))
    return SimpleNamespace(planes=planes, alpha=alpha)
