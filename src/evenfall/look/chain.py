"""The chain of the look: from the mix, through the camera, to display light.

The order of steps::

    mix (passes' primaries)
      -> camera matrix, working space ACEScg          one matrix product
      -> regions, plate, cut-outs, fringe, glare, sharpening      only if asked; whole picture
      -> vignette
      -> contrast, saturation, split tint, CDL
      -> LUTs at place "scene"
      -> tone curve, output's primaries, gamut        or ACES 2.0, or a view of a studio's config
      -> display encoding
      -> LUTs at place "display"
      -> grain

Everything but the steps of the whole picture is pointwise: the bytes of a pixel do not depend on
how the picture is cut into strips.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np

from evenfall.light.output_spaces import OutputSpace
from evenfall.light.primaries import ACESCG, RgbSpace, conversion_matrix
from evenfall.look.additions import Additions, needs_whole
from evenfall.look.arrays import Matrix, Plane, Planes, apply_matrix
from evenfall.look.grade import apply_contrast, apply_split_tint, saturation_matrix
from evenfall.look.grain import Grain
from evenfall.look.rendering import Rendering, make_rendering
from evenfall.look.vignette import Vignette, needs_vignette
from evenfall.recipe.look import Look, View
from evenfall.system.overtaken import going_on
from evenfall.system.scratch import blocks, buffer

__all__ = ["LookChain", "build_chain"]

InPlace = Callable[[Planes], None]

_WHOLE_LIMIT = np.float32(2.0**60)  # of which sums over a picture are still finite
_SCENE_LIMIT = np.float32(2.0**20)  # over 22 stops above grey; a power of more might overflow


class LookChain:
    """All steps of a look for one mood, one output space and one size; made by `build_chain`.

    Safe to use from several threads at once.
    """

    def __init__(
        self,
        look: Look,
        *,
        source: RgbSpace,
        camera_matrix: Matrix,
        output: OutputSpace,
        size: tuple[int, int],
        recipe_folder: Path,
        peak: float = 1.0,
    ) -> None:
        self.look = look
        self.output = output
        self.size = size
        self.peak = peak
        self._to_working = conversion_matrix(source, ACESCG) @ camera_matrix
        self._vignette = Vignette(look.vignette, size) if needs_vignette(look.vignette) else None
        self._scene_steps = _scene_steps(look, recipe_folder)
        self._rendering_encodes = look.view is not None
        if look.view is not None:
            self._render: Rendering = _view_rendering(look.view, source, recipe_folder)
        else:
            self._render = make_rendering(look, output.rgb, peak=peak)
        from_working = conversion_matrix(ACESCG, self._render.space)
        self._matrices = {False: from_working @ self._to_working, True: from_working}
        self._display_steps = _lut_steps(look, "display", recipe_folder)
        self._grain = Grain(look.grain, size) if look.grain.strength > 0 else None

    @property
    def needs_whole(self) -> bool:
        """Whether `whole` has something to do even without additions."""
        return needs_whole(self.look)

    @property
    def encodes_last(self) -> bool:
        """Whether encoded rows are linear ones, encoded: nothing works on encoded values."""
        works = self._display_steps or self._grain is not None
        return not (self._rendering_encodes or works)

    def whole(
        self,
        planes: Planes,
        alpha: Plane | None = None,
        additions: Additions | None = None,
        *,
        workers: int = 1,
    ) -> Planes:
        """Expose a mix and apply the steps that need the whole picture.

        Parameters
        ----------
        planes : ndarray of float32, shape (3, H, W)
            The mix, in the passes' primaries; left as it is.
        alpha : ndarray, shape (H, W), optional
            Coverage of the view, by which `planes` are premultiplied.
        additions : Additions, optional
            Regions, plate, cut-outs.
        workers : int
            Threads; the result does not depend on them.

        Returns
        -------
        ndarray of float32, shape (3, H, W)
            Exposed scene-linear ACEScg: give it to `encode_rows` with ``exposed=True``.
        """
        from evenfall.look.whole import apply_whole

        exposed = np.empty(planes.shape, np.float32)
        flat, flat_exposed = planes.reshape(3, -1), exposed.reshape(3, -1)
        go_on = going_on()

        def expose(block: slice) -> None:
            go_on()
            ready = flat_exposed[:, block]
            _apply_boundless(self._to_working, flat[:, block], ready)
            _hold(ready, _WHOLE_LIMIT)

        with ThreadPoolExecutor(workers, "expose") as pool:
            list(pool.map(expose, blocks(flat.shape[1])))
        return apply_whole(exposed, alpha, self.look, additions or Additions(), workers)

    def linear_rows(
        self, planes: Planes, first_row: int, *, exposed: bool = False, out: Planes | None = None
    ) -> Planes:
        """Display-linear values in the output's primaries, 0 to 1 (or to the chain's peak).

        What is seen is the same as after `encode_rows`; this is what may be resized.

        Parameters
        ----------
        planes : ndarray of float32, C-contiguous, shape (3, h, W)
            Rows of the mix in the passes' primaries, or of what `whole` returned.
        first_row : int
            Row of the picture at which the strip starts.
        exposed : bool
            Whether the rows come from `whole`.
        out : ndarray of float32, C-contiguous, shape (3, h, W), optional
            Where the result goes.
        """
        return self._rows(planes, first_row, exposed=exposed, encoded=False, out=out)

    def encode_rows(
        self, planes: Planes, first_row: int, *, exposed: bool = False, out: Planes | None = None
    ) -> Planes:
        """Display-encoded values, 0 to 1; otherwise as `linear_rows`."""
        return self._rows(planes, first_row, exposed=exposed, encoded=True, out=out)

    def _rows(
        self, planes: Planes, first_row: int, *, exposed: bool, encoded: bool, out: Planes | None
    ) -> Planes:
        result = np.empty(planes.shape, np.float32) if out is None else out
        rows, width = planes.shape[1:]
        flat, flat_result = planes.reshape(3, -1), result.reshape(3, -1)
        grain = None if self._grain is None else self._grain.rows(first_row, rows).reshape(3, -1)
        for block in blocks(flat.shape[1]):
            ready = self._until_rendering(flat[:, block], first_row * width + block.start, exposed)
            shown = self._render(ready)
            specks = None if grain is None else grain[:, block]
            self._finish(shown, specks, flat_result[:, block], encoded=encoded)
        return result

    def _until_rendering(self, source: Planes, first_pixel: int, exposed: bool) -> Planes:
        """Exposed, graded scene-linear values in the primaries that the rendering takes."""
        ready: Planes = buffer("ready", source.shape)
        if not self._scene_steps:
            _apply_boundless(self._matrices[exposed], source, ready)
            self._darken_corners(ready, first_pixel)
        else:
            working = buffer("working", source.shape)
            if exposed:
                np.copyto(working, source)
            else:
                _apply_boundless(self._to_working, source, working)
            np.clip(working, -_SCENE_LIMIT, _SCENE_LIMIT, out=working)
            self._darken_corners(working, first_pixel)
            for step in self._scene_steps:
                step(working)
            _hold(working, _SCENE_LIMIT)
            apply_matrix(self._matrices[True], working, out=ready)
        return ready

    def _darken_corners(self, planes: Planes, first_pixel: int) -> None:
        if self._vignette is not None:
            self._vignette(planes, first_pixel)

    def _finish(self, shown: Planes, grain: Planes | None, out: Planes, *, encoded: bool) -> None:
        """Apply what works on encoded values, and write what is asked for; `shown` is used up.

        LUTs and grain know no light above white: it is taken off before them and put back after.
        """
        is_encoded, above_white = self._rendering_encodes, None
        if self._display_steps or self._grain is not None:
            if not is_encoded:
                if self.peak > 1 and not encoded:
                    above_white = np.clip(shown, np.float32(1), np.float32(self.peak))
                    above_white -= np.float32(1)
                self.output.encode(shown, out=shown)
            is_encoded = True
            for step in self._display_steps:
                step(shown)
            if self._grain is not None and grain is not None:
                self._grain.add(shown, grain)
        if is_encoded == encoded:
            np.clip(shown, np.float32(0), np.float32(1.0 if encoded else self.peak), out=out)
            return
        convert = self.output.encode if encoded else self.output.decode
        for values, row in zip(shown, out, strict=True):
            convert(values, out=row)
        if above_white is not None:
            out += above_white


def _apply_boundless(matrix: Matrix, planes: Planes, out: Planes) -> None:
    """Apply a matrix; pixels near the largest number may become Inf or NaN."""
    with np.errstate(over="ignore", invalid="ignore"):
        apply_matrix(matrix, planes, out=out)


def _hold(planes: Planes, limit: np.float32) -> None:
    """Hold values within a limit, which also stands where steep steps overflowed to NaN."""
    np.fmin(planes, limit, out=planes)
    np.fmax(planes, -limit, out=planes)


def _scene_steps(look: Look, folder: Path) -> list[InPlace]:
    grade = look.grade
    steps: list[InPlace] = []
    if grade.contrast != 1:
        steps.append(lambda planes: apply_contrast(planes, grade.contrast))
    if grade.saturation != 1:
        matrix = saturation_matrix(grade.saturation)
        steps.append(lambda planes: _multiply(planes, matrix))
    if (tint := grade.split_tint) is not None:
        steps.append(lambda planes: apply_split_tint(planes, tint))
    if (cdl := grade.cdl) is not None:
        from evenfall.look.opencolorio import cdl_processor

        steps.append(cdl_processor(cdl, folder))
    return steps + _lut_steps(look, "scene", folder)


def _lut_steps(look: Look, place: str, folder: Path) -> list[InPlace]:
    chosen = [lut for lut in look.grade.luts if lut.place == place]
    if not chosen:
        return []
    from evenfall.look.opencolorio import LutStep

    return [LutStep(lut, folder / lut.file) for lut in chosen]


def _view_rendering(view: View, source: RgbSpace, folder: Path) -> Rendering:
    from evenfall.look.opencolorio import ViewRendering

    return ViewRendering(view, source, folder)


def _multiply(planes: Planes, matrix: Matrix) -> None:
    product = apply_matrix(matrix, planes, out=buffer("product", planes.shape))
    np.copyto(planes, product)


def build_chain(
    look: Look,
    *,
    source: RgbSpace,
    camera_matrix: Matrix,
    output: OutputSpace,
    size: tuple[int, int],
    recipe_folder: Path,
    peak: float = 1.0,
) -> LookChain:
    """Make the chain of a look.

    Parameters
    ----------
    look : Look
        From the recipe.
    source : RgbSpace
        Primaries of the passes.
    camera_matrix : ndarray of float, shape (3, 3)
        Exposure and white balance, in the passes' primaries.
    output : OutputSpace
        What the deliverable is encoded for.
    size : tuple of int
        Width and height of the whole picture in pixels.
    recipe_folder : Path
        Where relative names of LUT, CDL and config files start.
    peak : float
        Display-linear value of the brightest white, for displays with headroom; 1 otherwise.
        Our own curve and ACES use all of it, clip and Reinhard's curve what their formulae give
        above 1; the others end at 1. Only `linear_rows` goes beyond 1.

    Raises
    ------
    PixelSourceError
        If a LUT, CDL or config file cannot be used.

    Examples
    --------
    >>> from evenfall.light.primaries import BT709
    >>> from evenfall.light.output_spaces import output_space
    >>> chain = build_chain(Look(), source=BT709, camera_matrix=np.eye(3),
    ...                     output=output_space("sRGB"), size=(4, 2), recipe_folder=Path())
    >>> encoded = chain.encode_rows(np.full((3, 2, 4), 0.18, np.float32), 0)
    >>> encoded[:, 0, 0].astype(float).round(4).tolist()
    [0.4614, 0.4614, 0.4614]
    """
    return LookChain(
        look,
        source=source,
        camera_matrix=camera_matrix,
        output=output,
        size=size,
        recipe_folder=recipe_folder,
        peak=peak,
    )
