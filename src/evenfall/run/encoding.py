"""From finished pixels to the bytes of a file, by deliverable."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from evenfall.deliver.formats import encode_exr, encode_jpeg, encode_png, encode_tiff
from evenfall.deliver.frame import Frame
from evenfall.deliver.provenance import Provenance
from evenfall.deliver.quantise import quantise
from evenfall.deliver.resize import resize_linear
from evenfall.look.arrays import apply_matrix
from evenfall.look.output import output_space
from evenfall.recipe import Deliverable

__all__ = ["codes_of_linear", "encode_codes", "encode_scene_linear"]

Floats = npt.NDArray[np.float32]
Codes = npt.NDArray[np.uint8] | npt.NDArray[np.uint16]


def codes_of_linear(linear: Floats, frame: Frame, deliverable: Deliverable) -> Codes:
    """Crop and resize display-linear planes, then encode and quantise them."""
    part = linear[:, frame.top : frame.bottom, frame.left : frame.right]
    resized = resize_linear(part, frame.width, frame.height)
    encoded = output_space(deliverable.space).encode(resized, out=resized)
    return quantise(encoded, 8 if deliverable.bit_depth == 8 else 16, dither=deliverable.dither)


def encode_codes(
    deliverable: Deliverable, codes: Codes, provenance: Provenance, dpi: float | None
) -> bytes:
    """Encode whole codes as the deliverable's format."""
    common: dict[str, Any] = {"space": deliverable.space, "provenance": provenance, "dpi": dpi}
    if deliverable.format == "png":
        return encode_png(codes, **common)
    if deliverable.format == "tiff":
        return encode_tiff(codes, **common)
    return encode_jpeg(
        codes.astype(np.uint8, copy=False),
        quality=deliverable.quality,
        max_kilobytes=deliverable.max_kilobytes,
        **common,
    )


def encode_scene_linear(
    deliverable: Deliverable,
    planes: Floats,
    alpha: npt.NDArray[Any] | None,
    frame: Frame,
    camera_matrix: npt.NDArray[np.float64],
    chromaticities: tuple[float, ...],
    white_luminance: float | None,
    provenance: Provenance,
) -> bytes:
    """Encode a mix as OpenEXR: scene-linear in the passes' primaries, before the look."""
    rows, columns = slice(frame.top, frame.bottom), slice(frame.left, frame.right)
    part = planes[:, rows, columns]
    if deliverable.camera:
        part = apply_matrix(camera_matrix, part)
        white_luminance = None  # the camera has changed the scale
    cover = None if alpha is None else alpha[rows, columns].astype(np.float32)
    if frame.is_resized:
        part = resize_linear(part, frame.width, frame.height, kernel="area")
        if cover is not None:
            cover = resize_linear(cover[None], frame.width, frame.height, kernel="area")[0]
    return encode_exr(
        part,
        cover,
        bits=16 if deliverable.bit_depth == 16 else 32,
        chromaticities=chromaticities,
        white_luminance=white_luminance,
        provenance=provenance,
    ).data
