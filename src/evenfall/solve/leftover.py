"""What a fit leaves: places that cannot be matched, lights that lack, another view."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np
import numpy.typing as npt

from evenfall.solve.fitting import Fit
from evenfall.solve.matched import Place

__all__ = ["explained_by", "far_off", "is_another_view", "same_view", "unmatched_places"]

Floats = npt.NDArray[np.float32]

_BLOCKS_ACROSS = 40
_MOST_PLACES, _SMALLEST_PLACE = 4, 0.004
_FAR = 4.685  # sigmas, where Tukey's weight ends
_SEEN = 0.02  # of an encoded value: five codes of 255
_FIELDS = (8, 6)
_FLAT = 0.002
_LEAST_AGREEMENT = 0.3
_EXPLAINS = 0.3
_LITTLE_LEFT = 0.03


def far_off(fit: Fit) -> npt.NDArray[np.bool_]:
    """Tell where shown and reference differ by more than the fit and an eye let pass."""
    size = np.sqrt((fit.residuals**2).mean(axis=0))
    off: npt.NDArray[np.bool_] = size > max(_FAR * fit.sigma, _SEEN)
    return off


def unmatched_places(fit: Fit) -> tuple[Place, ...]:
    """Find the largest places that cannot be matched."""
    from scipy.ndimage import find_objects, label

    off = far_off(fit)
    height, width = off.shape
    side = max(2, width // _BLOCKS_ACROSS)
    rows, columns = height // side, width // side
    blocks = _pooled(off.astype(np.float32), side, rows, columns) > 0.5
    labels, _ = label(blocks)
    found = []
    for number, box in enumerate(find_objects(labels), start=1):
        there = labels == number
        share = float(there.mean())
        if share >= _SMALLEST_PLACE:
            down, across = box
            edges = (across.start / columns, down.start / rows,
                     across.stop / columns, down.stop / rows)  # fmt: skip
            found.append(Place(edges, share, _how(fit, there, side, rows, columns)))
    return tuple(sorted(found, key=lambda place: -place.share)[:_MOST_PLACES])


def _pooled(plane: Floats, side: int, rows: int, columns: int) -> Floats:
    cut = plane[: rows * side, : columns * side]
    pooled: Floats = cut.reshape(rows, side, columns, side).mean(axis=(1, 3))
    return pooled


def _how(fit: Fit, there: npt.NDArray[np.bool_], side: int, rows: int, columns: int) -> str:
    means = [float(_pooled(p, side, rows, columns)[there].mean()) for p in -fit.residuals]
    lighter = sum(means) / 3
    colour = max(abs(mean - lighter) for mean in means)
    if colour > abs(lighter):
        return "another colour"
    return "lighter" if lighter > 0 else "darker"


def same_view(fit: Fit, reference: Floats) -> float | None:
    """Say how far the fine detail of two pictures agrees, field by field; 1 is entirely.

    Returns
    -------
    float or None
        The middle of the correlations of what is finer than a hundredth of the width; None where
        the pictures have no such detail.
    """
    from scipy.ndimage import gaussian_filter

    one, other = (
        plane - gaussian_filter(plane, max(1.0, plane.shape[1] / 100))
        for plane in (fit.shown.mean(axis=0), reference.mean(axis=0))
    )
    agreements = list(_agreements(one, other))
    return float(np.median(agreements)) if len(agreements) >= _FIELDS[0] else None


def _agreements(one: Floats, other: Floats) -> Iterator[float]:
    across, down = _FIELDS
    for band_one, band_other in zip(
        np.array_split(one, down), np.array_split(other, down), strict=True
    ):
        for a, b in zip(
            np.array_split(band_one, across, axis=1),
            np.array_split(band_other, across, axis=1),
            strict=True,
        ):
            if a.std() > _FLAT and b.std() > _FLAT:
                yield float(np.corrcoef(a.ravel(), b.ravel())[0, 1])


def is_another_view(agreement: float | None) -> bool:
    """Whether two pictures agree too little to be of one view."""
    return agreement is not None and agreement < _LEAST_AGREEMENT


def explained_by(
    left: Floats, scale: Floats, known: npt.NDArray[np.bool_], lights: Mapping[str, Floats]
) -> list[tuple[str, float, float]]:
    """Say which lights would explain light that is left over.

    Parameters
    ----------
    left : ndarray, shape (h, w)
        Light that the reference has more.
    scale : ndarray, shape (h, w)
        All of its light.
    known : ndarray of bool, shape (h, w)
        Where both are known.
    lights : mapping of str to ndarray, shape (h, w)
        What lights that do not move would give, as rendered.

    Returns
    -------
    list of (str, float, float)
        Light, stops at which it would explain most, and the share of what is left that this is.
    """
    rest = (left / np.maximum(scale, 1e-9))[known].astype(np.float64)
    whole = float(rest @ rest)
    if rest.size == 0 or (whole / rest.size) ** 0.5 < _LITTLE_LEFT:
        return []
    found = []
    for name, light in lights.items():
        column = (light / np.maximum(scale, 1e-9))[known].astype(np.float64)
        across, own = float(column @ rest), float(column @ column)
        if own > 0 and across > 0 and across**2 / (own * whole) > _EXPLAINS:
            found.append((name, float(np.log2(across / own)), across**2 / (own * whole)))
    return sorted(found, key=lambda each: -each[2])
