"""Some rows of a part by themselves, so that a part of many layers need not be decoded at once."""

from __future__ import annotations

from dataclasses import replace

from evenfall.passes.openexr.chunks import ChunkTable
from evenfall.passes.openexr.parts import ExrPart

__all__ = ["only_rows", "row_bytes"]


def row_bytes(part: ExrPart) -> int:
    """Bytes of one decoded row of a part; 0 where rows cannot be decoded by themselves.

    That is so in tiles, with channels that skip rows, and where a decoder has a process of its own,
    which would be started for every few rows.
    """
    apart = part.tile_size is None and not part.codec.isolated
    if not apart or any(channel.y_sampling > 1 for channel in part.channels):
        return 0
    return part.decoded_bytes // part.height


def only_rows(part: ExrPart, chunks: ChunkTable, rows: slice) -> tuple[ExrPart, ChunkTable]:
    """Part and chunks as if a file held only some rows of the picture.

    Parameters
    ----------
    part : ExrPart
        With `row_bytes` above 0.
    chunks : ChunkTable
        All chunks of the part.
    rows : slice
        First row of the picture (the display window), and the one behind the last.

    Returns
    -------
    part : ExrPart
        Its display window is these rows, its data window the chunks in which they lie.
    chunks : ChunkTable
        These chunks; one of the part's, if it stores nothing of these rows.
    """
    left, top, right, bottom = part.data_window
    step, last_chunk = part.codec.rows, len(chunks.offsets) - 1
    first_row = part.display_window[1] + rows.start
    last_row = part.display_window[1] + rows.stop - 1
    first = min(max((first_row - top) // step, 0), last_chunk)
    last = max(min((last_row - top) // step, last_chunk), first)
    some = slice(first, last + 1)
    return (
        replace(
            part,
            data_window=(left, top + first * step, right, min(top + (last + 1) * step - 1, bottom)),
            display_window=(part.display_window[0], first_row, part.display_window[2], last_row),
            chunk_count=last + 1 - first,
            first_level_chunks=last + 1 - first,
        ),
        replace(
            chunks,
            offsets=chunks.offsets[some],
            sizes=chunks.sizes[some],
            as_is=chunks.as_is[some],
        ),
    )
