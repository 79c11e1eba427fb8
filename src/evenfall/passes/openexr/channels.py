"""Single channels of an OpenEXR file, whatever they hold: masks, object numbers, vectors."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from evenfall.passes.faults import refused
from evenfall.passes.files import PassFile
from evenfall.passes.image import Array
from evenfall.passes.openexr.chunks import ChunkTable, scan_chunks
from evenfall.passes.openexr.decode import decode_part
from evenfall.passes.openexr.parts import ExrPart
from evenfall.passes.openexr.scan import scan_headers
from evenfall.passes.placement import place

__all__ = ["Choice", "find_channels", "read_channels"]

Choice = tuple[ExrPart, Sequence[str]]


def read_channels(
    file: PassFile, choose: Callable[[Sequence[ExrPart]], Choice | None]
) -> tuple[Array, ...] | None:
    """Read channels of one part, placed in its display window.

    Parameters
    ----------
    file : PassFile
        An OpenEXR file.
    choose : callable
        Takes the flat parts of the file and gives one of them and names of its channels, or None.

    Returns
    -------
    tuple of ndarray or None
        The channels in the order of their names, as they are stored, shape (H, W); None when none
        was chosen.

    Raises
    ------
    PassError
        When the file is damaged, or a channel holds fewer pixels than the picture.
    """
    found = find_channels(file, choose)
    if found is None:
        return None
    part, names, chunks = found
    pixels = decode_part(file, part, chunks)
    return tuple(place(pixels[name], part.data_window, part.display_window) for name in names)


def find_channels(
    file: PassFile, choose: Callable[[Sequence[ExrPart]], Choice | None]
) -> tuple[ExrPart, Sequence[str], ChunkTable] | None:
    """Find the channels that `read_channels` would read, and their chunks, without decoding them.

    Parameters, what is raised, and when it is None: as of `read_channels`.
    """
    scan = scan_headers(file)
    chosen = choose([part for part in scan.parts if not part.deep])
    if chosen is None:
        return None
    part, names = chosen
    for channel in part.channels:
        if channel.name in names and channel.x_sampling * channel.y_sampling > 1:
            raise refused(
                file.path, f"{channel.name} is a subsampled channel", "a full one", place=part.place
            )
    return part, names, scan_chunks(file, scan, [part.index])[part.index]
