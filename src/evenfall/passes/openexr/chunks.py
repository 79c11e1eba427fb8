"""Whether every chunk that an OpenEXR header promises is in the file, and nothing else."""

from __future__ import annotations

import struct
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NoReturn

import numpy as np
import numpy.typing as npt

from evenfall.passes.faults import damaged
from evenfall.passes.files import PassFile
from evenfall.passes.openexr.parts import ExrPart, samples
from evenfall.passes.openexr.scan import ExrScan
from evenfall.passes.openexr.walking import leader_at, walk

__all__ = ["ChunkTable", "scan_chunks"]

Offsets = npt.NDArray[np.int64]

_PART_NUMBER_BYTES = 4
_SCAN_LINE = struct.Struct("<ii")
_TILE = struct.Struct("<iiiii")

_REBUILT = (
    "its table of chunks was not whole and was made again from the chunks, of which none is missing"
)
_LEFT_OVER = "{} behind its last chunk belong to nothing and were left alone"


@dataclass(frozen=True)
class ChunkTable:
    """Where the chunks of level 0 of one part lie.

    Parameters
    ----------
    offsets : ndarray of int64
        Place in the file where each chunk's own leader begins, a part number left out.
    sizes : ndarray of int64
        Bytes of leader and payload.
    as_is : ndarray of bool
        Chunks whose payload is the pixels themselves, because compression would not have
        made it smaller.
    notes : tuple of str
        What a person should know about the file.
    """

    offsets: Offsets
    sizes: Offsets
    as_is: npt.NDArray[np.bool_]
    notes: tuple[str, ...] = ()


def scan_chunks(file: PassFile, scan: ExrScan, wanted: Sequence[int]) -> dict[int, ChunkTable]:
    """Find and check the chunks of the wanted parts.

    Parameters
    ----------
    file : PassFile
    scan : ExrScan
        What its headers say.
    wanted : sequence of int
        Indices of parts; when all are wanted, bytes that belong to no chunk are told of too: an
        error between chunks, a note behind the last.

    Raises
    ------
    PassError
        When a chunk is missing, lies outside the file, says it is another chunk, or has a size
        that its codec cannot make.
    """
    return _ChunkScanner(file, scan).run(wanted)


class _ChunkScanner:
    def __init__(self, file: PassFile, scan: ExrScan) -> None:
        self.file = file
        self.parts = scan.parts
        self.multipart = scan.multipart
        self.table_offset = scan.table_offset
        self.data_offset = scan.table_offset + 8 * sum(part.chunk_count for part in scan.parts)

    def fail(self, part: ExrPart | None, found: str, allowed: str = "") -> NoReturn:
        place = "" if part is None else part.place
        raise damaged(self.file.path, found, allowed, place=place)

    def run(self, wanted: Sequence[int]) -> dict[int, ChunkTable]:
        if self.data_offset > self.file.size:
            self.fail(
                None,
                f"the file ends after {self.file.size:,} bytes, inside its table of chunks",
                f"at least {self.data_offset:,} bytes",
            )
        notes: tuple[str, ...] = ()
        tables = self._tables()
        if any(self._is_outside(tables[index]).any() for index in wanted):
            walked = walk(self.file, self.parts, self.multipart, self.data_offset)
            if walked is not None and self._agrees(tables, walked):
                tables, notes = walked, (_REBUILT,)
        found = {index: self._part(self.parts[index], tables[index]) for index in wanted}
        if len(wanted) == len(self.parts):
            left_over = self._left_over(list(found.values()))
            notes += (_LEFT_OVER.format(_bytes(left_over)),) if left_over else ()
        return {
            index: _first(chunks, self.parts[index].first_level_chunks, notes)
            for index, chunks in found.items()
        }

    def _tables(self) -> list[Offsets]:
        """Places of the chunks of each part, as the file says."""
        stored = self.file.at(self.table_offset, self.data_offset - self.table_offset)
        offsets = np.frombuffer(stored, "<i8")
        ends = np.cumsum([part.chunk_count for part in self.parts])
        return np.split(offsets, ends[:-1])

    def _is_outside(self, offsets: Offsets) -> npt.NDArray[np.bool_]:
        outside: npt.NDArray[np.bool_] = (offsets < self.data_offset) | (offsets >= self.file.size)
        return outside

    def _agrees(self, stated: Sequence[Offsets], walked: Sequence[Offsets]) -> bool:
        """Whether places that can be true are those that were found."""
        return all(
            (self._is_outside(own) | (own == other)).all()
            for own, other in zip(stated, walked, strict=True)
        )

    def _part(self, part: ExrPart, offsets: Offsets) -> ChunkTable:
        prefix = _PART_NUMBER_BYTES if self.multipart else 0
        count = len(offsets)
        missing = int(np.count_nonzero(offsets == 0))
        if missing:
            self.fail(part, f"{missing:,} of {count:,} chunks {_were(missing)} never written")
        leader = _SCAN_LINE if part.tile_size is None else _TILE
        last = self.file.size - prefix - leader.size
        outside = int(np.count_nonzero((offsets < self.data_offset) | (offsets > last)))
        if outside:
            self.fail(
                part,
                f"{outside:,} of {count:,} chunks {'is' if outside == 1 else 'are'} missing: "
                f"the table has them beyond the end of the file at {self.file.size:,} bytes",
            )
        leaders = self._leaders(part, offsets, prefix, leader)
        self._check_places(part, leaders)
        payloads = leaders[:, -1]
        as_is = self._check_sizes(part, leaders, payloads)
        ends = offsets + prefix + leader.size + payloads
        if (ends > self.file.size).any():
            self.fail(
                part,
                f"the file ends after {self.file.size:,} bytes, inside a chunk",
                f"at least {ends.max():,} bytes",
            )
        order = np.argsort(offsets)
        if (ends[order][:-1] > offsets[order][1:]).any():
            self.fail(part, "chunks overlap")
        return ChunkTable(offsets + prefix, leader.size + payloads, as_is)

    def _leaders(
        self, part: ExrPart, offsets: Offsets, prefix: int, leader: struct.Struct
    ) -> Offsets:
        raw = b"".join(self.file.at(int(place), prefix + leader.size) for place in offsets)
        leaders = np.frombuffer(raw, "<i4").reshape(len(offsets), -1).astype(np.int64)
        if prefix:
            if (leaders[:, 0] != part.index).any():
                self.fail(part, "a chunk belongs to another part")
            leaders = leaders[:, 1:]
        return leaders

    def _check_places(self, part: ExrPart, leaders: Offsets) -> None:
        if part.tile_size is None:
            rows = part.data_window[1] + part.codec.rows * np.arange(len(leaders))
            wrong = leaders[:, 0] != rows
        else:
            across = -(-part.width // part.tile_size[0])
            first = np.arange(part.first_level_chunks)
            level_0 = np.stack([first % across, first // across, 0 * first, 0 * first], axis=1)
            wrong = (leaders[: len(first), :4] != level_0).any(axis=1)
        count = int(np.count_nonzero(wrong))
        if count:
            self.fail(part, f"{_chunks(count)} not where {_it_or_they(count)} should be")

    def _check_sizes(
        self, part: ExrPart, leaders: Offsets, payloads: Offsets
    ) -> npt.NDArray[np.bool_]:
        """Refuse sizes that no codec makes; say which chunks of level 0 are stored as they are."""
        empty = int(np.count_nonzero(payloads < 1))
        if empty:
            self.fail(part, f"{_chunks(empty)} empty")
        first = payloads[: part.first_level_chunks]
        decoded = _decoded_sizes(part, leaders[: part.first_level_chunks])
        ratio = part.codec.greatest_ratio
        least = np.ones_like(decoded) if ratio is None else np.ceil(decoded / ratio)
        wrong = (first < least) | (first > decoded)
        if wrong.any():
            at = int(np.argmax(wrong))
            self.fail(
                part,
                f"chunk {at} has {first[at]:,} bytes",
                f"{int(least[at]):,} to {int(decoded[at]):,} bytes with {part.codec.name}",
            )
        as_is: npt.NDArray[np.bool_] = first == decoded
        return as_is

    def _left_over(self, tables: list[ChunkTable]) -> int:
        """Count the bytes behind the last chunk, when chunks fill the file up to there."""
        prefix = _PART_NUMBER_BYTES if self.multipart else 0
        offsets = np.concatenate([table.offsets for table in tables]) - prefix
        ends = np.concatenate([table.offsets + table.sizes for table in tables])
        order = np.argsort(offsets)
        edges = np.concatenate([[self.data_offset], ends[order]])
        starts = np.concatenate([offsets[order], [self.file.size]])
        if (edges[:-1] != starts[:-1]).any():
            at = int(np.argmax(edges != starts))
            self.fail(
                None,
                f"{_bytes(int(starts[at] - edges[at]))} at {edges[at]:,} belong to no chunk",
                "chunks one after the other",
            )
        end = int(edges[-1])
        further = leader_at(self.file, self.parts, self.multipart, end)
        if further is not None and further.is_beyond:
            self.fail(
                further.part,
                f"behind its last chunk, at {end:,}, is another of its chunks",
                "a data window as large as what was stored",
            )
        return self.file.size - end


def _first(chunks: ChunkTable, count: int, notes: tuple[str, ...]) -> ChunkTable:
    """Return the first `count` chunks, those of level 0."""
    return ChunkTable(chunks.offsets[:count], chunks.sizes[:count], chunks.as_is, notes)


def _chunks(count: int) -> str:
    return "1 chunk is" if count == 1 else f"{count:,} chunks are"


def _bytes(count: int) -> str:
    return "1 byte" if count == 1 else f"{count:,} bytes"


def _were(count: int) -> str:
    return "was" if count == 1 else "were"


def _it_or_they(count: int) -> str:
    return "it" if count == 1 else "they"


def _decoded_sizes(part: ExrPart, leaders: Offsets) -> Offsets:
    """Bytes of each chunk of level 0 when it is decoded."""
    left, _, right, bottom = part.data_window
    if part.tile_size is None:
        first_rows = leaders[:, 0]
        last_rows = np.minimum(first_rows + part.codec.rows - 1, bottom)
        total = np.zeros(len(leaders), np.int64)
        for channel in part.channels:
            step = channel.y_sampling
            rows = last_rows // step - (first_rows - 1) // step
            across = samples(left, right, channel.x_sampling)
            total += rows * across * channel.sample_bytes
        return total
    across, down = part.tile_size
    columns = np.minimum(across, part.width - leaders[:, 0] * across)
    lines = np.minimum(down, part.height - leaders[:, 1] * down)
    bytes_a_pixel = sum(channel.sample_bytes for channel in part.channels)
    return columns * lines * bytes_a_pixel
