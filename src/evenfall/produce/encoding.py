"""A mood's finished pixels, as a format asks for them."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from evenfall.camera.state import CameraState
from evenfall.deliver.composition import draw_guides
from evenfall.deliver.finished import Codes, Layers, SceneLinear
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
from evenfall.produce.object_numbers import object_numbers
from evenfall.recipe import Deliverable
from evenfall.recipe.formats import Shows

__all__ = ["Apart", "FinishedMood"]

Floats = npt.NDArray[np.float32]


@dataclass(frozen=True)
class Apart:
    """Where the layers of a file come from.

    Parameters
    ----------
    lights : callable
        Gives name and planes of every light in the mix, one after the other.
    ids : Path or None
        File of object numbers.
    left_out : str
        What the mood's picture shows that is in no layer.
    """

    lights: Callable[[], Iterator[tuple[str, Floats]]]
    ids: Path | None
    left_out: str


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
    apart : Apart or None
        Its lights, for formats that hold them.
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
    apart: Apart | None
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
            codes = quantise(encoded, 16 if bits == 16 else 8, dither=dither, phase=canvas.phase)
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
        frame, alpha = self.frame, self.mix.alpha
        cover = None
        if alpha is not None:
            cover = self._averaged(self._cut(alpha[None]).astype(np.float32))[0]
        # The camera changes the scale.
        scale = None if self.deliverable.camera else self.luminance_scale
        part = self._before_look(self.mix.planes)
        return SceneLinear(part, cover, self.space.chromaticities, scale, frame.pixel_aspect)

    def layers(self) -> Layers:
        """Return the lights of the mix as `scene_linear` returns their sum."""
        assert self.apart is not None  # kept for whatever format holds it
        lights = ((light, self._before_look(planes)) for light, planes in self.apart.lights())
        ids = None if self.apart.ids is None else self._object_numbers(self.apart.ids)
        return Layers(lights, ids, self.apart.left_out)

    def _before_look(self, planes: Floats) -> Floats:
        part = self._cut(planes)
        if self.deliverable.camera:
            part = apply_matrix(self.camera.matrix, part)
        return self._averaged(part)

    def _object_numbers(self, path: Path) -> npt.NDArray[np.uint32]:
        """Object numbers of the frame: never averaged, the nearest of each pixel is taken."""
        assert self.mix is not None  # kept for whatever format holds layers
        height, width = self.mix.planes.shape[1:]
        frame = self.frame
        ids: npt.NDArray[np.uint32]
        ids = self._cut(object_numbers(path, (width, height))[None])[0]
        if frame.is_resized:
            height, width = ids.shape
            rows = (np.arange(frame.height) * 2 + 1) * height // (2 * frame.height)
            columns = (np.arange(frame.width) * 2 + 1) * width // (2 * frame.width)
            ids = ids[rows[:, None], columns]
        return ids

    def _cut(self, planes: npt.NDArray[Any]) -> npt.NDArray[Any]:
        frame = self.frame
        return planes[:, frame.top : frame.bottom, frame.left : frame.right]

    def _averaged(self, planes: Floats) -> Floats:
        frame = self.frame
        if not frame.is_resized:
            return planes
        return resize_linear(planes, frame.width, frame.height, kernel="area")

    def _canvas(self, shows: Shows) -> Canvas:
        return self.canvases[displays(self.deliverable)[shows]]

    def _linear(self, canvas: Canvas) -> Floats:
        """Display-linear planes of the frame, at its size."""
        assert canvas.linear is not None  # asked for by whoever needs it
        frame = self.frame
        part = canvas.linear[:, frame.top : frame.bottom, frame.left : frame.right]
        return resize_linear(part, frame.width, frame.height) if frame.is_resized else part.copy()
