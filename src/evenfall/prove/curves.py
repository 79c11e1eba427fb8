"""Published tone curves, and how to undo them: what a pass may have been through.

Sources: the sRGB curve of IEC 61966-2-1; a pure power of 2.2; x / (1 + x), Reinhard et al. 2002,
"Photographic tone reproduction for digital images", equation 3; the rational curve of Hable's
talk "Uncharted 2: HDR lighting" (GDC 2010) with white at 11.2 and twice the exposure; Narkowicz's
rational fit of the ACES rendering (2016).
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

import numpy as np
import numpy.typing as npt

from evenfall.light.transfer import decode_srgb, encode_srgb
from evenfall.prove.blocks import Plane

__all__ = ["CURVES", "rising_curve", "undo_curve", "undo_plane"]

Values = npt.NDArray[np.floating]
Doubles = npt.NDArray[np.float64]

_STEPS = 4096
_BINS = 24
_ENOUGH = 40  # blocks of a bin
_BENT = 0.05
_MOST_STOPS, _LEAST_STOPS = 10.0, -24.0


def _reinhard(light: Values) -> Values:
    return np.asarray(light / (1 + light))


def _hable(light: Values) -> Values:
    def rational(x: Values) -> Values:
        return np.asarray((x * (0.15 * x + 0.05) + 0.004) / (x * (0.15 * x + 0.5) + 0.06) - 1 / 15)

    return np.asarray(rational(2 * light) / rational(np.array(11.2)))


def _narkowicz(light: Values) -> Values:
    shown = light * (2.51 * light + 0.03) / (light * (2.43 * light + 0.59) + 0.14)
    return np.asarray(np.minimum(shown, 1))


CURVES: dict[str, Callable[[Values], Values]] = {
    "display": lambda light: np.asarray(encode_srgb(np.asarray(light, np.float64))),
    "power 1/2.2": lambda light: np.asarray(np.power(light, 1 / 2.2)),
    "x / (1 + x)": _reinhard,
    "filmic": _hable,
    "filmic, display": lambda light: np.asarray(
        encode_srgb(np.maximum(np.asarray(_hable(light), np.float64), 0))
    ),
    "rational": _narkowicz,
    "rational, display": lambda light: np.asarray(
        encode_srgb(np.asarray(_narkowicz(light), np.float64))
    ),
    "x / (1 + x), display": lambda light: np.asarray(
        encode_srgb(np.asarray(_reinhard(light), np.float64))
    ),
}
"""Curves by name, from light to what is stored."""


@cache
def _table(name: str) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Tabulate stored values, rising, and the light behind them."""
    light = 2.0 ** np.linspace(_LEAST_STOPS, _MOST_STOPS, _STEPS)
    stored = np.maximum.accumulate(CURVES[name](light))
    rising = np.concatenate([[True], np.diff(stored) > 1e-7 * stored[-1]])
    return np.append(0.0, stored[rising]), np.append(0.0, light[rising])


def undo_curve(name: str, stored: Values) -> npt.NDArray[np.float64]:
    """Light behind stored values; those above the curve's end are taken for its brightest.

    Examples
    --------
    >>> undo_curve("x / (1 + x)", np.array([0.0, 0.5, 0.75])).round(4).tolist()
    [0.0, 1.0, 3.0]
    """
    if name == "display":
        return np.asarray(decode_srgb(np.maximum(np.asarray(stored, np.float64), 0)))
    at, light = _table(name)
    return np.interp(stored, at, light)


def undo_plane(name: str, plane: Plane) -> npt.NDArray[np.float32]:
    """Undo a curve on a plane of pixels; half floats go through a table."""
    if plane.dtype == np.float16:
        return _half_table(name)[plane.view(np.uint16)]
    return undo_curve(name, plane).astype(np.float32)


@cache
def _half_table(name: str) -> npt.NDArray[np.float32]:
    every = np.arange(65536, dtype=np.uint16).view(np.float16).astype(np.float64)
    return undo_curve(name, np.where(np.isfinite(every), every, 0)).astype(np.float32)


def rising_curve(
    stored: Doubles, light: Doubles, keep: npt.NDArray[np.bool_]
) -> tuple[Doubles, Doubles] | None:
    """Fit a rising curve from stored values to light: medians of bins, made to rise.

    Gives stored values and light along it; None where it is straight or there is too little.
    """
    from scipy.optimize import isotonic_regression

    use = keep & (stored > 0)
    values, wanted = stored[use], light[use]
    bins = min(_BINS, values.size // _ENOUGH)
    if bins < 6:
        return None
    parts = np.array_split(np.argsort(values), bins)
    at = np.array([np.median(values[part]) for part in parts])
    found = isotonic_regression(np.array([float(np.median(wanted[part])) for part in parts])).x
    at, found = np.append(0.0, at), np.append(0.0, np.maximum(found, 0))
    slope = float((at * found).sum() / max((at * at).sum(), 1e-30))
    bent = np.abs(found - slope * at).max() > _BENT * max(float(np.ptp(found)), 1e-30)
    rising = np.append(True, np.diff(at) > 0)
    return (at[rising], found[rising]) if bent else None
