"""From finished pixels to the bytes of a file, by deliverable."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from evenfall.deliver.composition import draw_guides
from evenfall.deliver.formats import REFERENCE_WHITE_NITS, encoder
from evenfall.deliver.frame import Frame
from evenfall.deliver.png_pixels import Each
from evenfall.deliver.provenance import Provenance
from evenfall.deliver.quantise import quantise
from evenfall.deliver.resize import resize_linear
from evenfall.look.arrays import apply_matrix
from evenfall.look.output import output_space
from evenfall.produce.canvas import Canvas
from evenfall.recipe import Deliverable

if TYPE_CHECKING:
    from evenfall.deliver.exr import EncodedExr

__all__ = ["display_of", "encode_display", "encode_scene_linear"]

Floats = npt.NDArray[np.float32]
Codes = npt.NDArray[np.uint8] | npt.NDArray[np.uint16]
_HDR_GAMUT = "Display P3"  # what HDR displays show; AVIF carries it inside BT.2020


def display_of(deliverable: Deliverable) -> list[tuple[str, float]]:
    """Kinds of display that a deliverable is finished for: output space, and peak over white.

    Examples
    --------
    >>> display_of(Deliverable(format="png"))
    [('sRGB', 1.0)]
    """
    peak = deliverable.peak_nits / REFERENCE_WHITE_NITS
    if deliverable.format == "exr":
        return []
    if deliverable.format == "avif":
        return [(_HDR_GAMUT, peak)]
    if deliverable.format == "gain-map jpeg":
        return [(deliverable.space, 1.0), (deliverable.space, peak)]
    return [(deliverable.space, 1.0)]


def encode_display(
    deliverable: Deliverable,
    frame: Frame,
    canvases: Mapping[tuple[str, float], Canvas],
    provenance: Provenance,
    guides: tuple[str, ...],
    each: Each,
) -> bytes:
    """Bring a display picture to its size and encode it.

    Parameters
    ----------
    deliverable : Deliverable
        Format, bits, space, quality.
    frame : Frame
        Crop and size.
    canvases : mapping of (str, float) to Canvas
        Finished pixels of the whole frame, by kind of display.
    provenance : Provenance
        Record to embed.
    guides : tuple of str
        Composition guides to draw.
    each : callable
        Like `map`, but may work on several parts at once.
    """
    displays = display_of(deliverable)
    encode = encoder(deliverable.format)
    data: bytes
    if deliverable.format == "avif":
        data = encode(
            _linear(canvases[displays[0]], frame),
            primaries=output_space(displays[0][0]).rgb,
            bits=12 if deliverable.bit_depth == 12 else 10,
            quality=deliverable.quality,
            peak_nits=deliverable.peak_nits,
            provenance=provenance,
        )
        return data
    codes = _codes(deliverable, canvases[displays[0]], frame)
    if guides:
        codes = draw_guides(codes.astype(np.uint8, copy=False), guides)
    common: dict[str, Any] = {
        "space": deliverable.space,
        "provenance": provenance,
        "dpi": frame.dpi,
    }
    if deliverable.format == "png":
        data = encode(codes, each=each, **common)
    elif deliverable.format == "tiff":
        data = encode(codes, **common)
    else:
        common["quality"] = deliverable.quality
        eight = np.ascontiguousarray(codes.astype(np.uint8, copy=False))
        if deliverable.format == "gain-map jpeg":
            linear = _linear(canvases[displays[1]], frame)
            data = encode(eight, linear, peak_nits=deliverable.peak_nits, **common)
        else:
            data = encode(eight, max_kilobytes=deliverable.max_kilobytes, **common)
    return data


def _codes(deliverable: Deliverable, canvas: Canvas, frame: Frame) -> Codes:
    bits = 16 if deliverable.bit_depth == 16 else 8
    if not frame.is_resized:
        whole = canvas.codes[bits, deliverable.dither]
        return whole[frame.top : frame.bottom, frame.left : frame.right]
    resized = _linear(canvas, frame)
    encoded = canvas.chain.output.encode(resized, out=resized)
    return quantise(encoded, 16 if bits == 16 else 8, dither=deliverable.dither)


def _linear(canvas: Canvas, frame: Frame) -> Floats:
    """Display-linear planes of the frame, at its size."""
    assert canvas.linear is not None  # asked for by whoever needs it
    part = canvas.linear[:, frame.top : frame.bottom, frame.left : frame.right]
    return resize_linear(part, frame.width, frame.height) if frame.is_resized else part.copy()


def encode_scene_linear(
    deliverable: Deliverable,
    planes: Floats,
    alpha: npt.NDArray[Any] | None,
    frame: Frame,
    camera_matrix: npt.NDArray[np.float64],
    chromaticities: tuple[float, ...],
    white_luminance: float | None,
    provenance: Provenance,
) -> EncodedExr:
    """Encode a mix as OpenEXR: scene-linear in the passes' primaries, before the look.

    Parameters
    ----------
    deliverable : Deliverable
        Bits; and whether the camera is applied.
    planes, alpha : ndarray
        The mix, (3, H, W) and (H, W).
    frame : Frame
        Crop and size; resized by area averaging, which never rings.
    camera_matrix : ndarray, shape (3, 3)
        Exposure and white balance.
    chromaticities : tuple of 8 floats
        Of the passes.
    white_luminance : float or None
        cd/m2 of (1, 1, 1); left out when the camera is applied, since it changes the scale.
    provenance : Provenance
        Record to embed.
    """
    rows, columns = slice(frame.top, frame.bottom), slice(frame.left, frame.right)
    part = planes[:, rows, columns]
    if deliverable.camera:
        part = apply_matrix(camera_matrix, part)
        white_luminance = None
    cover = None if alpha is None else alpha[rows, columns].astype(np.float32)
    if frame.is_resized:
        part = resize_linear(part, frame.width, frame.height, kernel="area")
        if cover is not None:
            cover = resize_linear(cover[None], frame.width, frame.height, kernel="area")[0]
    encoded: EncodedExr = encoder("exr")(
        part,
        cover,
        bits=16 if deliverable.bit_depth == 16 else 32,
        chromaticities=chromaticities,
        white_luminance=white_luminance,
        provenance=provenance,
    )
    return encoded
