"""Resizing in linear light with the Lanczos kernel, widened for reduction so that nothing aliases.

Kernel: C. E. Duchon, "Lanczos filtering in one and two dimensions", J. Appl. Meteorol. 18, 1979,
with three lobes; through Pillow, which computes on floats. Light adds up linearly, so the mean of
a picture is kept only if it is resized before it is display-encoded.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
import numpy.typing as npt

from evenfall.errors import UsageError

__all__ = ["resize_linear"]

Planes = npt.NDArray[np.float32]


def resize_linear(
    linear: Planes,
    width: int,
    height: int,
    *,
    kernel: Literal["lanczos", "area"] = "lanczos",
) -> Planes:
    """Resize linear-light planes.

    Parameters
    ----------
    linear : ndarray
        Linear light (never display-encoded), shape (C, H, W), float32, finite. Colour with alpha
        must be premultiplied.
    width, height : int
        New size in pixels.
    kernel : {"lanczos", "area"}
        Lanczos with three lobes, kept within the range of the picture, so that lamps get no
        overshoot beyond it; or the plain mean over each new pixel's area, which never rings and
        suits scene-linear values of lamps and quick drafts.

    Returns
    -------
    ndarray
        Shape (C, height, width), float32, C-contiguous.

    Raises
    ------
    UsageError
        If the new size is not positive.

    Examples
    --------
    >>> checks = np.indices((8, 8)).sum(axis=0)[None] % 2
    >>> resize_linear(checks.astype(np.float32), 4, 4, kernel="area").ravel()[:2].tolist()
    [0.5, 0.5]
    """
    from PIL import Image

    if width < 1 or height < 1:
        raise UsageError(f"a picture cannot be {width} x {height} pixels; sizes are positive")
    if linear.shape[1:] == (height, width):
        return np.ascontiguousarray(linear)
    filters = {"lanczos": Image.Resampling.LANCZOS, "area": Image.Resampling.BOX}
    resized = np.empty((linear.shape[0], height, width), np.float32)
    for source, target in zip(linear, resized, strict=True):
        picture = Image.fromarray(np.ascontiguousarray(source, np.float32))
        target[...] = np.asarray(picture.resize((width, height), filters[kernel]))
        if kernel == "lanczos":
            np.clip(target, source.min(), source.max(), out=target)
    return resized
