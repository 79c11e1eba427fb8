"""Denoising with Open Image Denoise, an optional extra: of passes, each on its own, or of a mix.

Denoising is no linear operation: passes denoised apart add up to the denoised beauty only nearly.
It is done where the recipe asks, after the fireflies, with albedo and normal as guides if given,
and kept in a cache folder by the content of the pixels, so that it is done once.

The denoiser expects noise that is independent from pixel to pixel. A renderer's pixel filter wider
than a pixel ties neighbours together; it then takes most of the noise for texture and leaves it.
`evenfall.look.mix_noise` finds a way around that.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, field
from importlib.util import find_spec
from io import BytesIO
from pathlib import Path

import numpy as np
import numpy.typing as npt

from evenfall.errors import Fault, PassError, UsageError
from evenfall.passes.image import Array
from evenfall.passes.mending.cures import INSTALL_DENOISER
from evenfall.system.cache import cache_folder, keep, note_use

__all__ = ["Guides", "denoise", "require_denoiser"]

PASSES = "passes.repair.denoise"
"""Where a recipe asks that every pass is denoised on its own."""

_KEPT_BYTES = 8 << 30  # some hundred passes of 3840 x 2160 halves
_WIDEST_SIDE = 16_384  # pixels; beyond it the library's tiles would need more memory than there is


@dataclass(frozen=True, eq=False)
class Guides:
    """Pictures that show the denoiser edges and texture, each of shape (H, W, 3), float32.

    Parameters
    ----------
    albedo : ndarray or None
        Colour of the surfaces, 0 to 1.
    normal : ndarray or None
        Surface normals, -1 to 1.
    """

    albedo: npt.NDArray[np.float32] | None = field(default=None, repr=False)
    normal: npt.NDArray[np.float32] | None = field(default=None, repr=False)


def denoise(
    planes: Sequence[Array],
    guides: Guides | None = None,
    *,
    place: str = PASSES,
    cache: Path | None = None,
) -> tuple[Array, Array, Array]:
    """Denoise a picture, or take it from the cache.

    Parameters
    ----------
    planes : sequence of 3 ndarray
        R, G, B of shape (H, W), float16 or float32, scene-linear and finite. Negative values are
        taken as 0: the denoiser knows no negative light.
    guides : Guides or None
        Albedo and normal of the same size.
    place : str
        Where in the recipe it is asked for, for the words of faults.
    cache : Path or None
        Folder of the cache; `denoised` in `cache_folder()` if None.

    Returns
    -------
    tuple of 3 ndarray
        R, G, B of the same shape and type.

    Raises
    ------
    UsageError
        When the extra is not installed.
    PassError
        When a guide differs in size, or the denoiser fails.
    """
    require_denoiser(place)
    guides = guides or Guides()
    colour = np.stack(planes, axis=-1)
    _check_sizes(colour.shape, guides, place)
    folder = cache_folder() / "denoised" if cache is None else cache
    kept = folder / f"{_key(colour, guides)}.npy"
    denoised = _recall(kept, colour)
    if denoised is None:
        denoised = _run(np.maximum(colour.astype(np.float32), 0), guides, place)
        if colour.dtype == np.float16:
            denoised = np.minimum(denoised, np.finfo(np.float16).max).astype(np.float16)
        _keep(kept, denoised)
    red, green, blue = (np.ascontiguousarray(denoised[..., channel]) for channel in range(3))
    return red, green, blue


def require_denoiser(place: str = PASSES) -> None:
    """Raise UsageError when the extra 'denoise' is not there, with the line that installs it.

    Parameters
    ----------
    place : str
        Where in the recipe it is asked for.
    """
    if find_spec("pyoidn") is None:
        raise _unusable("is not installed", place)
    try:
        import pyoidn
    except (ImportError, OSError) as error:
        raise _unusable(f"does not load here ({error})", place) from None
    if not hasattr(pyoidn, "denoise"):
        raise _unusable("is too old; expected pyoidn 2.5.1 or newer", place)


def _unusable(why: str, place: str) -> UsageError:
    instead = "denoise = false" if place == PASSES else f"{place}.strength = 0"
    return UsageError(
        Fault(
            "",
            place,
            f"Open Image Denoise {why}",
            "the extra 'denoise'",
            f"install it with: {INSTALL_DENOISER}, or set {instead}",
        )
    )


def _check_sizes(shape: tuple[int, ...], guides: Guides, place: str) -> None:
    for name, guide in (("albedo", guides.albedo), ("normal", guides.normal)):
        if guide is not None and guide.shape != shape:
            raise PassError(
                Fault(
                    "",
                    f"passes.repair.{name}",
                    f"the guide is {guide.shape[1]} x {guide.shape[0]} pixels, the picture "
                    f"{shape[1]} x {shape[0]}",
                    "guides of the passes' size",
                )
            )
    if max(shape) > _WIDEST_SIDE:
        raise PassError(
            Fault(
                "",
                place,
                f"the picture is {shape[1]} x {shape[0]} pixels",
                f"at most {_WIDEST_SIDE} pixels per side",
                "denoise it in the renderer",
            )
        )


def _key(colour: Array, guides: Guides) -> str:
    from importlib.metadata import version

    digest = hashlib.sha256(f"{version('pyoidn')} {colour.dtype} {colour.shape}".encode())
    for picture in (colour, guides.albedo, guides.normal):
        digest.update(b"none" if picture is None else np.ascontiguousarray(picture).tobytes())
    return digest.hexdigest()


def _recall(path: Path, like: Array) -> Array | None:
    try:
        kept: Array = np.load(path, allow_pickle=False)
    except (OSError, ValueError, EOFError):
        return None
    if kept.shape != like.shape or kept.dtype != like.dtype:
        return None
    note_use(path)
    return kept


def _keep(path: Path, denoised: Array) -> None:
    stored = BytesIO()
    np.save(stored, denoised, allow_pickle=False)
    keep(path, stored.getbuffer(), limit_bytes=_KEPT_BYTES)


def _run(colour: npt.NDArray[np.float32], guides: Guides, place: str) -> npt.NDArray[np.float32]:
    import pyoidn

    albedo = None if guides.albedo is None else np.clip(guides.albedo, 0, 1)
    normal = None if guides.normal is None else np.clip(guides.normal, -1, 1)
    try:
        result: npt.NDArray[np.float32] = pyoidn.denoise(colour, albedo, normal, hdr=True)
    except RuntimeError as error:
        raise PassError(Fault("", place, f"the denoiser failed: {error}")) from None
    return result
