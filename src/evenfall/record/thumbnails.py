"""Small pictures of moods, kept for contact sheets of later runs."""

from __future__ import annotations

import hashlib
from pathlib import Path

import numpy as np
import numpy.typing as npt

from evenfall.system.cache import cache_folder, keep, note_use
from evenfall.system.regular import open_regular

__all__ = ["load_thumbnail", "store_thumbnail"]

_THUMBNAILS_BYTES = 256 << 20  # some hundred small pictures


def load_thumbnail(mood_digest: str, size: tuple[int, int]) -> npt.NDArray[np.uint8] | None:
    """Give the small picture of a mood that an earlier run kept, if it did."""
    path = _thumbnail_path(mood_digest, size)
    try:
        with open_regular(path) as stream:
            codes = np.frombuffer(stream.read(), np.uint8)
    except OSError:
        return None
    body, checksum = codes[:-32], codes[-32:].tobytes()
    if body.size != 3 * size[0] * size[1] or hashlib.sha256(body.tobytes()).digest() != checksum:
        return None
    note_use(path)
    return body.reshape(size[1], size[0], 3)


def store_thumbnail(mood_digest: str, codes: npt.NDArray[np.uint8]) -> None:
    """Keep the small picture of a mood; a cache that cannot be written is no fault."""
    path = _thumbnail_path(mood_digest, (codes.shape[1], codes.shape[0]))
    body = codes.tobytes()
    keep(path, body, hashlib.sha256(body).digest(), limit_bytes=_THUMBNAILS_BYTES)


def _thumbnail_path(mood_digest: str, size: tuple[int, int]) -> Path:
    return cache_folder() / "moods" / f"{mood_digest[:40]}-{size[0]}x{size[1]}"
