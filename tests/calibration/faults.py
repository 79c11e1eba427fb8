"""Faults of the trade, planted in a sound set, and what a proof should say of each."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from rendering import RenderedSet

__all__ = ["FAULTS", "Planted", "plant"]

Array = npt.NDArray[np.float32]

_LEAST_CHANGE = 0.004  # of the light
_LEAST_SEAMS = 0.001  # alpha's edges are thin

# From published numbers, not from the product: linear BT.709 to other linear spaces.
# BT.2087-0 (BT.709 to BT.2020); SMPTE RP 431-2 primaries with D65 for P3; ACEScg from the ACES
# documents, with Bradford adaptation.
TO_BT2020 = np.array([[0.6274, 0.3293, 0.0433], [0.0691, 0.9195, 0.0114], [0.0164, 0.0880, 0.8956]])
TO_ACESCG = np.array([[0.6131, 0.3395, 0.0474], [0.0702, 0.9164, 0.0134], [0.0206, 0.1096, 0.8698]])
SPACES = {"BT.2020": TO_BT2020, "ACEScg": TO_ACESCG}


@dataclass(frozen=True)
class Planted:
    """A fault in a set.

    Parameters
    ----------
    kind : str
        What was done.
    codes : tuple of str
        Codes that name it rightly.
    light : str or None
        The light that must be named; None where none may be.
    """

    kind: str
    codes: tuple[str, ...]
    light: str | None


Maker = Callable[[RenderedSet, str, np.random.Generator], tuple[tuple[str, ...], bool] | None]


def plant(
    kind: str, found: RenderedSet, light: str, rng: np.random.Generator
) -> tuple[RenderedSet, Planted] | None:
    """Plant a fault; None where it would change hardly anything."""
    changed = RenderedSet(
        {name: rgb.copy() for name, rgb in found.passes.items()},
        found.beauty.copy(),
        found.alpha,
        found.beauty_of,
    )
    made = FAULTS[kind](changed, light, rng)
    if made is None:
        return None
    codes, names_light = made
    before = found.beauty - np.sum(list(found.passes.values()), axis=0)
    after = changed.beauty - np.sum(list(changed.passes.values()), axis=0)
    least = _LEAST_SEAMS if "alpha" in kind else _LEAST_CHANGE
    if np.abs(after - before).sum() < least * np.abs(found.beauty).sum():
        return None
    return changed, Planted(kind, codes, light if names_light else None)


def _scaled(by: float) -> Maker:
    def make(
        found: RenderedSet, light: str, _: np.random.Generator
    ) -> tuple[tuple[str, ...], bool]:
        found.passes[light] *= np.float32(by)
        return ("pass-exposure",), True

    return make


def _missing(found: RenderedSet, light: str, _: np.random.Generator):
    if len(found.passes) < 3:
        return None
    del found.passes[light]
    return ("pass-missing",), False


def _twice(found: RenderedSet, light: str, _: np.random.Generator):
    found.passes[f"{light}_again"] = found.passes[light].copy()
    return ("pass-counted-twice",), False


def _not_in_beauty(found: RenderedSet, light: str, _: np.random.Generator):
    if len(found.passes) < 2:
        return None
    found.beauty = found.beauty_of(found.passes.keys() - {light})
    return ("pass-counted-twice",), True


def srgb(linear: Array) -> Array:
    """IEC 61966-2-1, going on above 1."""
    power = 1.055 * np.maximum(linear, 1e-9) ** (1 / 2.4) - 0.055
    return np.where(linear <= 0.0031308, 12.92 * linear, power).astype(np.float32)


def reinhard(linear: Array) -> Array:
    """Reinhard et al. 2002, equation 3."""
    return linear / (1 + linear)


def filmic(linear: Array) -> Array:
    """Hable 2010, white at 11.2, exposure bias 2."""

    def curve(x: Array | float) -> Array:
        return np.asarray(
            (x * (0.15 * x + 0.05) + 0.004) / (x * (0.15 * x + 0.5) + 0.06) - 0.02 / 0.3
        )

    return (curve(2 * linear) / curve(11.2)).astype(np.float32)


def _curved(curve: Callable[[Array], Array], code: str, *, cut: bool = False) -> Maker:
    def make(found: RenderedSet, light: str, _: np.random.Generator):
        shown = curve(np.maximum(found.passes[light], 0))
        found.passes[light] = np.minimum(shown, 1) if cut else shown
        return (code,), True

    return make


def _all_curved(curve: Callable[[Array], Array], code: str) -> Maker:
    def make(found: RenderedSet, _: str, __: np.random.Generator):
        for name, rgb in found.passes.items():
            found.passes[name] = curve(np.maximum(rgb, 0))
        return (code,), False

    return make


def _beauty_curved(curve: Callable[[Array], Array], code: str, *, cut: bool = False) -> Maker:
    def make(found: RenderedSet, _: str, __: np.random.Generator):
        shown = curve(np.maximum(found.beauty, 0))
        found.beauty = np.minimum(shown, 1) if cut else shown
        return (code,), False

    return make


def _other_primaries(found: RenderedSet, light: str, rng: np.random.Generator):
    matrix = SPACES[str(rng.choice(list(SPACES)))]
    found.passes[light] = (found.passes[light] @ matrix.T).astype(np.float32)
    return ("other-primaries",), True


def _all_primaries(found: RenderedSet, _: str, rng: np.random.Generator):
    matrix = SPACES[str(rng.choice(list(SPACES)))]
    for name, rgb in found.passes.items():
        found.passes[name] = (rgb @ matrix.T).astype(np.float32)
    return ("other-primaries",), False


def _white_balance(found: RenderedSet, light: str, _: np.random.Generator):
    found.passes[light] *= np.array([1.35, 1.0, 0.7], np.float32)
    return ("colour-differs",), True


def _clamped(found: RenderedSet, light: str, _: np.random.Generator):
    level = np.quantile(found.passes[light], 0.97)
    found.passes[light] = np.minimum(found.passes[light], np.float32(level))
    return ("pass-clipped",), True


def _beauty_clamped(found: RenderedSet, _: str, __: np.random.Generator):
    found.beauty = np.minimum(found.beauty, np.float32(np.quantile(found.beauty, 0.97)))
    return ("beauty-clipped",), False


def _moved(found: RenderedSet, light: str, rng: np.random.Generator):
    found.passes[light] = np.roll(found.passes[light], 1, axis=int(rng.integers(0, 2)))
    return ("camera-moved",), True


def _beauty_moved(found: RenderedSet, _: str, rng: np.random.Generator):
    found.beauty = np.roll(found.beauty, 1, axis=int(rng.integers(0, 2)))
    return ("camera-moved",), False


def _alpha(power: int, code: str, *, every: bool) -> Maker:
    def make(found: RenderedSet, light: str, _: np.random.Generator):
        if found.alpha is None:
            return None
        for name in found.passes if every else (light,):
            alpha = found.alpha[..., None]
            safe = np.where(alpha > 0, alpha, 1)
            found.passes[name] = found.passes[name] * (alpha if power > 0 else 1 / safe)
        return (code,), not every

    return make


def _vignetted(found: RenderedSet, _: str, rng: np.random.Generator):
    """The cosine to the fourth power of a rectilinear lens."""
    height, width = found.beauty.shape[:2]
    y, x = np.mgrid[0:height, 0:width]
    reach = rng.uniform(0.5, 0.9)  # tangent of the half diagonal angle
    radius = np.hypot(x - width / 2 + 0.5, y - height / 2 + 0.5) / np.hypot(width / 2, height / 2)
    found.beauty *= (np.cos(np.arctan(reach * radius)) ** 4)[..., None].astype(np.float32)
    return ("beauty-vignetted",), False


def _bloomed(found: RenderedSet, _: str, rng: np.random.Generator):
    """A tenth of the light spread by three Gaussians."""
    from scipy.ndimage import gaussian_filter

    width = found.beauty.shape[1]
    spread = np.zeros_like(found.beauty)
    for share in (0.01, 0.03, 0.08):
        spread += gaussian_filter(found.beauty, (share * width, share * width, 0)) / 3
    amount = np.float32(rng.uniform(0.06, 0.15))
    found.beauty = (1 - amount) * found.beauty + amount * spread
    return ("beauty-glare",), False


FAULTS: dict[str, Maker] = {
    "light missing": _missing,
    "half a stop up": _scaled(2**0.5),
    "half a stop down": _scaled(2**-0.5),
    "pass twice": _twice,
    "off in the beauty": _not_in_beauty,
    "pass display-encoded": _curved(srgb, "pass-display-encoded"),
    "pass display-encoded and cut": _curved(srgb, "pass-display-encoded", cut=True),
    "pass x/(1+x)": _curved(reinhard, "pass-tone-mapped"),
    "pass filmic": _curved(filmic, "pass-tone-mapped"),
    "all passes x/(1+x)": _all_curved(reinhard, "pass-tone-mapped"),
    "all passes display-encoded": _all_curved(srgb, "pass-display-encoded"),
    "beauty display-encoded": _beauty_curved(srgb, "beauty-display-encoded", cut=True),
    "beauty x/(1+x)": _beauty_curved(reinhard, "beauty-tone-mapped"),
    "pass in other primaries": _other_primaries,
    "all passes in other primaries": _all_primaries,
    "pass white-balanced": _white_balance,
    "pass clamped": _clamped,
    "beauty clamped": _beauty_clamped,
    "pass moved": _moved,
    "beauty moved": _beauty_moved,
    "pass multiplied by alpha twice": _alpha(1, "alpha-multiplied-twice", every=False),
    "pass not multiplied by alpha": _alpha(-1, "alpha-not-multiplied", every=False),
    "all multiplied by alpha twice": _alpha(1, "alpha-multiplied-twice", every=True),
    "beauty vignetted": _vignetted,
    "beauty with bloom": _bloomed,
}
