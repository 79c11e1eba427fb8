"""OpenEXR files as passes: from checked headers to placed planes."""

from __future__ import annotations

import math
import struct
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import NoReturn

import numpy as np

from evenfall.passes.contents import Contents, OtherChannels
from evenfall.passes.encoding import (
    INTEROP_CHROMATICITIES,
    checked_chromaticities,
    refuse_encoded,
)
from evenfall.passes.faults import refused
from evenfall.passes.files import PassFile
from evenfall.passes.header import PassHeader, Selector, Window
from evenfall.passes.image import Array, StoredPicture
from evenfall.passes.openexr.chroma import luminance_chroma_to_rgb, upsample
from evenfall.passes.openexr.chunks import ChunkTable, scan_chunks
from evenfall.passes.openexr.decode import decode_part
from evenfall.passes.openexr.layers import Layer, layers_of_part, missing_colours
from evenfall.passes.openexr.parts import ExrPart, text_of
from evenfall.passes.openexr.rows import only_rows, row_bytes
from evenfall.passes.openexr.scan import ExrScan, scan_headers
from evenfall.passes.placement import place
from evenfall.passes.selection import select

__all__ = ["contents_exr", "inspect_exr", "read_exr"]


@dataclass(frozen=True)
class _Found:
    header: PassHeader
    part: ExrPart
    layer: Layer


def inspect_exr(file: PassFile) -> list[PassHeader]:
    """List the pictures of a file whose every chunk is there."""
    scan, tables = _scan_whole(file)
    found = _pictures(file.path, scan)
    if not found:
        _refuse_without_picture(file.path, scan)
    return [_with_notes(item.header, tables[item.part.index]) for item in found]


def contents_exr(file: PassFile) -> Contents:
    """List the pictures of a file whose every chunk is there, and the channels that make none."""
    scan, tables = _scan_whole(file)
    others = [
        OtherChannels(layer, part.name, part.view, tuple(names), _types(part, names), part.deep)
        for part in scan.parts
        for layer, names in _left_over(part).items()
    ]
    pictures = [
        _with_notes(item.header, tables[item.part.index]) for item in _pictures(file.path, scan)
    ]
    return Contents(tuple(pictures), tuple(others))


def _scan_whole(file: PassFile) -> tuple[ExrScan, dict[int, ChunkTable]]:
    scan = scan_headers(file)
    flat = [part.index for part in scan.parts if not part.deep]
    return scan, scan_chunks(file, scan, flat)


def _left_over(part: ExrPart) -> dict[str, list[str]]:
    """Channels of a part that make no picture, by layer."""
    pictures = [] if part.deep else layers_of_part(part)
    used = {channel for layer in pictures for channel in layer.channels}
    left: dict[str, list[str]] = {}
    for channel in part.channels:
        if channel.name not in used:
            left.setdefault(channel.name.rpartition(".")[0], []).append(channel.name)
    return left


def read_exr(
    file: PassFile, selectors: Sequence[Selector], threads: int, rows: slice | None = None
) -> list[StoredPicture]:
    """Read the selected pictures, or some rows of them; a part that is needed is decoded once."""
    scan = scan_headers(file)
    found = _pictures(file.path, scan)
    if not found:
        _refuse_without_picture(file.path, scan)
    headers = [item.header for item in found]
    chosen = [found[select(file.path, headers, selector)] for selector in selectors]
    for item in chosen:
        refuse_encoded(item.header)
    wanted = sorted({item.part.index for item in chosen})
    tables = scan_chunks(file, scan, wanted)
    pictures: dict[int, StoredPicture] = {}
    for index in wanted:
        part, chunks = scan.parts[index], tables[index]
        if rows is not None:
            part, chunks = only_rows(part, chunks, rows)
        pixels = decode_part(file, part, chunks, threads=threads)
        for number, item in enumerate(chosen):
            if item.part.index == index:
                header = _with_notes(item.header, chunks)
                pictures[number] = _assemble(_Found(header, part, item.layer), pixels)
    return [pictures[number] for number in range(len(chosen))]


def _with_notes(header: PassHeader, chunks: ChunkTable) -> PassHeader:
    return replace(header, notes=(*chunks.notes, *header.notes))


def _pictures(path: Path, scan: ExrScan) -> list[_Found]:
    return [
        _Found(_header(path, part, layer), part, layer)
        for part in scan.parts
        if not part.deep
        for layer in layers_of_part(part)
    ]


def _refuse_without_picture(path: Path, scan: ExrScan) -> NoReturn:
    if any(part.deep for part in scan.parts):
        raise refused(
            path,
            "is a deep image (several samples per pixel, at depths)",
            "flat images",
            "render the pass flat",
        )
    names = [channel.name for part in scan.parts for channel in part.channels]
    listed = ", ".join(names[:12]) + (", ..." if len(names) > 12 else "")
    missing = missing_colours(names)
    raise refused(
        path,
        f"holds no picture; its channels are {listed}"
        + (f": {missing} is missing" if missing else ""),
        "R, G, B, with or without a layer's name before them; Y; or Y, RY, BY",
    )


def _assemble(item: _Found, pixels: dict[str, Array]) -> StoredPicture:
    part, roles = item.part, item.layer.roles
    steps = {channel.name: (channel.x_sampling, channel.y_sampling) for channel in part.channels}

    def full(role: str) -> Array:
        name = roles[role]
        stored = upsample(pixels[name], *steps[name], part.width, part.height)
        return stored.astype(np.float32) if stored.dtype == np.uint32 else stored

    if "RY" in roles:
        stored = luminance_chroma_to_rgb(
            full("Y"), full("RY"), full("BY"), item.header.chromaticities
        )
    elif "R" in roles:
        stored = (full("R"), full("G"), full("B"))
    else:
        grey = full("Y")
        stored = (grey, grey, grey)
    windows = (part.data_window, part.display_window)
    red, *others = _one_type(stored)
    first = place(red, *windows)
    green, blue = (first if other is red else place(other, *windows) for other in others)
    alpha = place(full("A"), *windows) if "A" in roles else None
    return StoredPicture(item.header, (first, green, blue), alpha)


def _one_type(planes: tuple[Array, Array, Array]) -> tuple[Array, Array, Array]:
    red, green, blue = planes
    if red.dtype == green.dtype == blue.dtype:
        return planes
    return red.astype(np.float32), green.astype(np.float32), blue.astype(np.float32)


def _header(path: Path, part: ExrPart, layer: Layer) -> PassHeader:
    left, top, right, bottom = part.display_window
    interop_id = text_of(part.attributes, "colorInteropID") or None
    return PassHeader(
        path=path,
        layer=layer.name,
        part=part.name,
        view=layer.view,
        width=right - left + 1,
        height=bottom - top + 1,
        display_window=part.display_window,
        data_window=part.data_window,
        channels=layer.channels,
        pixel_type=_types(part, layer.channels),
        compression=part.codec.name,
        has_alpha="A" in layer.roles,
        chromaticities=_chromaticities(path, part, interop_id),
        white_luminance=_white_luminance(part),
        colour_interop_id=interop_id,
        pixel_aspect=part.pixel_aspect,
        kind="exr",
        row_bytes=row_bytes(part),
        chunk_rows=part.codec.rows,
        notes=tuple(_oddities(part, layer)),
    )


def _oddities(part: ExrPart, layer: Layer) -> Iterator[str]:
    """Say what is legal and hardly meant."""
    names = ", ".join(
        channel.name
        for channel in part.channels
        if channel.pixel_type == "uint" and channel.name in layer.channels
    )
    if names:
        yield (
            f"holds whole numbers without a sign ({names}), as object numbers are stored and light "
            "hardly ever is"
        )
    data, display = part.data_window, part.display_window
    if any(data[n] > display[n + 2] or data[n + 2] < display[n] for n in (0, 1)):
        yield (
            f"is black: what was stored, at {_corners(data)}, lies outside the picture, at "
            f"{_corners(display)}"
        )


def _corners(window: Window) -> str:
    left, top, right, bottom = window
    return f"{left}, {top} to {right}, {bottom}"


def _types(part: ExrPart, names: Collection[str]) -> str:
    types = {channel.pixel_type for channel in part.channels if channel.name in names}
    return types.pop() if len(types) == 1 else "mixed"


def _chromaticities(path: Path, part: ExrPart, interop_id: str | None) -> tuple[float, ...] | None:
    kind, value = part.attributes.get("chromaticities", ("", b""))
    if kind == "chromaticities" and len(value) == 32:
        return checked_chromaticities(path, struct.unpack("<8f", value))
    return None if interop_id is None else INTEROP_CHROMATICITIES.get(interop_id)


def _white_luminance(part: ExrPart) -> float | None:
    kind, value = part.attributes.get("whiteLuminance", ("", b""))
    if kind != "float" or len(value) != 4:
        return None
    (luminance,) = struct.unpack("<f", value)
    return float(luminance) if 0 < luminance < math.inf else None
