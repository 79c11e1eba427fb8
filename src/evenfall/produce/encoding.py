"""A mood's finished pixels, as a format asks for them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from evenfall.camera.state import CameraState
from evenfall.deliver.composition import draw_guides
from evenfall.deliver.finished import Codes, SceneLinear
from evenfall.deliver.formats import Display, displays
from evenfall.deliver.frame import Frame
from evenfall.deliver.png_pixels import Each
from evenfall.deliver.provenance import Provenance
from evenfall.deliver.quantise import quantise
from evenfall.deliver.resize import resize_linear
from evenfall.light.primaries import RgbSpace
from evenfall.look.arrays import apply_matrix
from evenfall.mix.engine import Mix
from evenfall.produce.canvas import Canvas
from evenfall.recipe import Deliverable
from evenfall.recipe.formats import Shows

__all__ = ["FinishedMood"]

Floats = npt.NDArray[np.float32]


@dataclass(frozen=True)
class FinishedMood:
    """One mood for one deliverable: meets `evenfall.deliver.finished.Finished`.

    Parameters
    ----------
    deliverable : Deliverable
        What is to be encoded.
    frame : Frame
        Its crop and size.
    canvases : mapping of Display to Canvas
        Finished pixels of the whole frame, by kind of display.
    mix : Mix or None
        The mood's sum, for formats that hold it.
    camera : CameraState
        Exposure and white balance.
    space : RgbSpace
        The passes' primaries.
    luminance_scale : float or None
        cd/m2 of a pixel of luminance 1 in the mix.
    provenance : Provenance
        Record to embed.
    guides : tuple of str
        Composition guides to draw.
    each : callable
        Like `map`, but may work on several parts at once.
    """

    deliverable: Deliverable
    frame: Frame
    canvases: Mapping[Display, Canvas]
    mix: Mix | None
    camera: CameraState
    space: RgbSpace
    luminance_scale: float | None
    provenance: Provenance
    guides: tuple[str, ...]
    each: Each

    @property
    def dpi(self) -> float | None:
        """Pixels per inch, if a size on paper was asked for."""
        return self.frame.dpi

    def codes(self) -> Codes:
        """Display-encoded codes of the frame, (H, W, 3)."""
        canvas, frame, dither = self._canvas("display"), self.frame, self.deliverable.dither
        bits = self.deliverable.bit_depth
        if frame.is_resized:
            resized = self._linear(canvas)
            encoded = canvas.chain.output.encode(resized, out=resized)
            codes = quantise(encoded, 16 if bits == 16 else 8, dither=dither)
        else:
            whole = canvas.codes[bits, dither]
            codes = whole[frame.top : frame.bottom, frame.left : frame.right]
        if self.guides:
            codes = draw_guides(codes.astype(np.uint8, copy=False), self.guides)
        return codes

    def hdr(self) -> Floats:
        """Display-linear planes of the frame up to the peak, (3, H, W)."""
        return self._linear(self._canvas("hdr"))

    def scene_linear(self) -> SceneLinear:
        """Return the mix of the frame, resized by area averaging, which never rings."""
        assert self.mix is not None  # kept for whatever format holds it
        frame = self.frame
        rows, columns = slice(frame.top, frame.bottom), slice(frame.left, frame.right)
        part = self.mix.planes[:, rows, columns]
        if self.deliverable.camera:
            part = apply_matrix(self.camera.matrix, part)
        alpha = self.mix.alpha
        cover = None if alpha is None else alpha[rows, columns].astype(np.float32)
        if frame.is_resized:
            part = resize_linear(part, frame.width, frame.height, kernel="area")
            if cover is not None:
                cover = resize_linear(cover[None], frame.width, frame.height, kernel="area")[0]
        # The camera changes the scale.
        scale = None if self.deliverable.camera else self.luminance_scale
        return SceneLinear(part, cover, self.space.chromaticities, scale, frame.pixel_aspect)

    def _canvas(self, shows: Shows) -> Canvas:
        return self.canvases[displays(self.deliverable)[shows]]

    def _linear(self, canvas: Canvas) -> Floats:
        """Display-linear planes of the frame, at its size."""
        assert canvas.linear is not None  # asked for by whoever needs it
        frame = self.frame
        part = canvas.linear[:, frame.top : frame.bottom, frame.left : frame.right]
        return resize_linear(part, frame.width, frame.height) if frame.is_resized else part.copy()
