"""Samples of passes, kept in the user's cache folder: evidence for what needs no picture.

A sample is taken whenever a pass goes by as a whole, in a survey or a run, so that a check, which
reads no pixels, can still say what was seen in them.
"""

from __future__ import annotations

import threading
from collections.abc import Mapping
from pathlib import Path

import numpy as np
from zlib_ng import zlib_ng

from evenfall.develop.reduced import kept_name
from evenfall.mix.engine import PassRead
from evenfall.passes.header import PassHeader
from evenfall.passes.source import PassSource
from evenfall.prove.blocks import BlockPicture
from evenfall.recipe import Repair
from evenfall.survey.doubling import sampled
from evenfall.system.cache import cache_folder, keep, note_use
from evenfall.system.regular import open_regular

__all__ = ["Samples", "keep_sample"]

_LIMIT_BYTES = 64 << 20
_HEAD = np.dtype([("rows", "<u4"), ("columns", "<u4"), ("checksum", "<u4")])


class Samples:
    """Takes samples of the passes of a view as they go by, and knows those of earlier times.

    Parameters
    ----------
    source : PassSource
        Where the passes come from.
    repair : Repair
        How broken pixels are mended.
    """

    def __init__(self, source: PassSource, repair: Repair) -> None:
        self._source, self._repair = source, repair
        self._taken: dict[str, BlockPicture] = {}
        self._lock = threading.Lock()

    def see(self, event: PassRead) -> None:
        """Take samples of passes that were read as a whole; may be called from several threads."""
        width, height = self._source.size
        for light in event.lights:
            planes = event.images[light].planes
            if light not in self._taken and planes[0].shape == (height, width):
                sample = sampled(planes)
                with self._lock:
                    self._taken[light] = sample

    def known(self) -> Mapping[str, BlockPicture]:
        """Give the samples of all lights that have been seen, now or at an earlier time."""
        found: dict[str, BlockPicture] = {}
        for light, headers in self._source.sources.items():
            path = _path(headers, self._repair, self._source.size)
            sample = self._taken.get(light)
            if sample is None and path is not None:
                sample = _load(path)
            elif sample is not None and path is not None and not path.exists():
                _store(path, sample)
            if sample is not None:
                found[light] = sample
        return found


def keep_sample(header: PassHeader, planes: tuple[np.ndarray, np.ndarray, np.ndarray]) -> None:
    """Keep a sample of a pass that was read for something else, for a recipe that mends nothing."""
    path = _path((header,), Repair(), (header.width, header.height))
    if path is not None and not path.exists():
        _store(path, sampled(planes))


def _path(headers: tuple[PassHeader, ...], repair: Repair, size: tuple[int, int]) -> Path | None:
    try:
        name = kept_name(headers, repair.model_dump_json(), size)
    except OSError:  # kept in memory, or gone
        return None
    return cache_folder() / "samples" / name


def _store(path: Path, sample: BlockPicture) -> None:
    body = np.stack([sample.means, sample.checker]).astype("<f4").tobytes()
    rows, columns = sample.means.shape[1:]
    head = np.array((rows, columns, zlib_ng.adler32(body)), _HEAD)
    keep(path, head.tobytes(), body, limit_bytes=_LIMIT_BYTES)


def _load(path: Path) -> BlockPicture | None:
    try:
        with open_regular(path) as stream:
            data = stream.read()
        head = np.frombuffer(data, _HEAD, 1)[0]
        body = data[_HEAD.itemsize :]
        if zlib_ng.adler32(body) != head["checksum"]:
            return None
        values = np.frombuffer(body, "<f4").reshape(2, 3, head["rows"], head["columns"])
    except (OSError, ValueError, IndexError):
        return None
    note_use(path)
    means, checker = values.astype(np.float64)
    return BlockPicture(means, checker)
