"""The small picture that a round keeps of a deliverable; runs and rounds leave it for the next."""

from __future__ import annotations

import hashlib
from pathlib import Path

import numpy as np
import numpy.typing as npt

from evenfall.compare.reading import Reduced, read_reduced, reduce_codes
from evenfall.deliver.jpeg import encode_jpeg
from evenfall.system.cache import cache_folder, keep, note_use
from evenfall.system.regular import open_regular

__all__ = ["PICTURE_QUALITY", "PICTURE_WIDTH", "keep_picture", "picture_of"]

PICTURE_WIDTH = 1600
"""Most pixels of width."""
PICTURE_QUALITY = 90
"""Of JPEG."""

_PICTURES_BYTES = 256 << 20
_CHECKSUM = 32


def picture_of(path: Path, sha256: str | None) -> bytes:
    """Give the small picture of a deliverable, a JPEG file.

    Parameters
    ----------
    path : Path
        The deliverable.
    sha256 : str or None
        Of the file as it stands, by which the picture is known that a run left behind.

    Raises
    ------
    PixelSourceError
        When the file cannot be read.
    """
    left = None if sha256 is None else _left_behind(sha256)
    if left is not None:
        return left
    picture = _encoded(read_reduced(path, PICTURE_WIDTH))
    if sha256 is not None:
        _leave(sha256, picture)
    return picture


def keep_picture(sha256: str, codes: npt.NDArray[np.uint8 | np.uint16], space: str) -> None:
    """Leave the small picture of a deliverable behind; a cache that cannot be written is no fault.

    Parameters
    ----------
    sha256 : str
        Of the file.
    codes : ndarray, shape (H, W, 3)
        What the file holds, without loss.
    space : str
        Output space.
    """
    _leave(sha256, _encoded(reduce_codes(codes, space, PICTURE_WIDTH)))


def _leave(sha256: str, picture: bytes) -> None:
    checksum = hashlib.sha256(picture).digest()
    keep(_path(sha256), checksum, picture, limit_bytes=_PICTURES_BYTES)


def _encoded(reduced: Reduced) -> bytes:
    return encode_jpeg(reduced.codes(), quality=PICTURE_QUALITY)


def _left_behind(sha256: str) -> bytes | None:
    path = _path(sha256)
    try:
        with open_regular(path) as stream:
            data = stream.read()
    except OSError:
        return None
    checksum, picture = data[:_CHECKSUM], data[_CHECKSUM:]
    if hashlib.sha256(picture).digest() != checksum:
        return None
    note_use(path)
    return picture


def _path(sha256: str) -> Path:
    return cache_folder() / "rounds" / f"{sha256[:40]}-{PICTURE_WIDTH}"
