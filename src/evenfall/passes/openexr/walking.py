"""Chunks found by walking from one to the next, where a file's table of them is not whole.

A renderer writes the table last, so a table of zeros is what a stopped render leaves, but also what
a tool leaves that never went back to fill it in. Every chunk says what it is and how long it is:
when all chunks that the headers promise follow one another, each once, then nothing is missing but
the table.
"""

from __future__ import annotations

import struct
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from evenfall.passes.files import PassFile
from evenfall.passes.openexr.parts import ExrPart

__all__ = ["Leader", "leader_at", "walk"]

_PART_NUMBER = struct.Struct("<i")
_SCAN_LINE, _TILE = struct.Struct("<ii"), struct.Struct("<iiiii")
_DEEP_SCAN_LINE, _DEEP_TILE = struct.Struct("<iqqq"), struct.Struct("<iiiiqqq")
_LONGEST_LEADER = _PART_NUMBER.size + _DEEP_TILE.size
_FARTHEST_LEVEL = 32


@dataclass(frozen=True)
class Leader:
    """What stands at the beginning of a chunk.

    Parameters
    ----------
    part : ExrPart
        Whose chunk it is.
    place : tuple of int
        Its first row; or column and row of a tile, and its levels.
    length : int
        Bytes of the chunk with its leader.
    """

    part: ExrPart
    place: tuple[int, ...]
    length: int

    @property
    def number(self) -> int | None:
        """Which of its part's chunks it is; None if the part has no such chunk."""
        part = self.part
        if part.tile_size is None:
            rows = self.place[0] - part.data_window[1]
            number, rest = divmod(rows, part.codec.rows)
            return number if rest == 0 and 0 <= number < part.chunk_count else None
        column, row, *levels = self.place
        start = 0
        for grid in part.grids:
            if [grid.level_x, grid.level_y] == levels:
                inside = 0 <= column < grid.across and 0 <= row < grid.down
                return start + row * grid.across + column if inside else None
            start += grid.across * grid.down
        return None

    @property
    def is_beyond(self) -> bool:
        """Whether it is a chunk of a larger part than the header says."""
        if self.number is not None:
            return False
        if self.part.tile_size is None:
            return (self.place[0] - self.part.data_window[1]) % self.part.codec.rows == 0
        return min(self.place) >= 0 and max(self.place[2:]) < _FARTHEST_LEVEL


def leader_at(
    file: PassFile, parts: Sequence[ExrPart], multipart: bool, offset: int
) -> Leader | None:
    """Read the leader of a chunk; None if none can stand there."""
    data = file.at(offset, min(_LONGEST_LEADER, file.size - offset))
    place = 0
    part = parts[0]
    if multipart:
        if len(data) < _PART_NUMBER.size:
            return None
        (number,) = _PART_NUMBER.unpack_from(data)
        if not 0 <= number < len(parts):
            return None
        part, place = parts[number], _PART_NUMBER.size
    if part.deep:
        layout = _DEEP_SCAN_LINE if part.tile_size is None else _DEEP_TILE
    else:
        layout = _SCAN_LINE if part.tile_size is None else _TILE
    if len(data) < place + layout.size:
        return None
    values = layout.unpack_from(data, place)
    coordinates = 1 if part.tile_size is None else 4
    sizes = values[coordinates:][:2] if part.deep else values[coordinates:]
    length = place + layout.size + sum(sizes)
    whole = min(sizes) >= 0 and sum(sizes) > 0 and offset + length <= file.size
    return Leader(part, values[:coordinates], length) if whole else None


def walk(
    file: PassFile, parts: Sequence[ExrPart], multipart: bool, start: int
) -> list[npt.NDArray[np.int64]] | None:
    """Find all chunks of a file, one behind the other.

    Parameters
    ----------
    file : PassFile
    parts : sequence of ExrPart
        All parts of the file.
    multipart : bool
        Whether chunks carry the number of their part.
    start : int
        Where the first chunk begins.

    Returns
    -------
    list of ndarray of int64, or None
        By part, where each chunk begins; None if they do not all follow one another, each once.
    """
    found = [np.zeros(part.chunk_count, np.int64) for part in parts]
    place = start
    for _ in range(sum(part.chunk_count for part in parts)):
        leader = leader_at(file, parts, multipart, place)
        number = None if leader is None else leader.number
        if leader is None or number is None or found[leader.part.index][number]:
            return None
        found[leader.part.index][number] = place
        place += leader.length
    return found
