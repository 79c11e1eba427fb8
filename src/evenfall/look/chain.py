"""The chain of the look: from the mix, through the camera, to display light."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from evenfall.light.primaries import RgbSpace, conversion_matrix
from evenfall.look.arrays import Matrix, Planes, apply_matrix
from evenfall.look.output import OutputSpace
from evenfall.look.rendering import WORKING_SPACE, make_rendering
from evenfall.look.scratch import blocks, buffer
from evenfall.recipe.look import Look

__all__ = ["WORKING_SPACE", "LookChain", "build_chain"]


class LookChain:
    """All steps of a look for one mood, one output space and one size.

    Made by `build_chain`.
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
    ) -> None:
        self.look = look
        self.output = output
        self.size = size
        self._to_working = conversion_matrix(source, WORKING_SPACE) @ camera_matrix
        self._render = make_rendering(look, output.rgb)

    def linear_rows(self, planes: Planes, first_row: int, *, exposed: bool = False) -> Planes:
        """Display-linear values in the output's primaries, 0 to 1.

        Parameters
        ----------
        planes : ndarray of float32, shape (3, h, W)
            Rows of the mix in the passes' primaries, or of what `whole` returned.
        first_row : int
            Row of the picture at which the strip starts.
        exposed : bool
            Whether the rows come from `whole`.
        """
        return self._rows(planes, first_row, exposed=exposed, encoded=False)

    def encode_rows(self, planes: Planes, first_row: int, *, exposed: bool = False) -> Planes:
        """Display-encoded values, 0 to 1; otherwise as `linear_rows`."""
        return self._rows(planes, first_row, exposed=exposed, encoded=True)

    def _rows(self, planes: Planes, first_row: int, *, exposed: bool, encoded: bool) -> Planes:
        result = np.empty(planes.shape, np.float32)
        flat, flat_result = planes.reshape(3, -1), result.reshape(3, -1)
        for block in blocks(flat.shape[1]):
            source = flat[:, block]
            working = buffer("working", source.shape)
            if exposed:
                np.copyto(working, source)
            else:
                apply_matrix(self._to_working, source, out=working)
            display = self._render(working)
            if encoded:
                self.output.encode(display, out=display)
                flat_result[:, block] = display
            else:
                np.clip(display, np.float32(0), np.float32(1), out=flat_result[:, block])
        return result


def build_chain(
    look: Look,
    *,
    source: RgbSpace,
    camera_matrix: Matrix,
    output: OutputSpace,
    size: tuple[int, int],
    recipe_folder: Path,
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
        Where relative names of LUT and CDL files start.

    Examples
    --------
    >>> from evenfall.light.primaries import BT709
    >>> from evenfall.look.output import output_space
    >>> chain = build_chain(Look(), source=BT709, camera_matrix=np.eye(3),
    ...                     output=output_space("sRGB"), size=(4, 2), recipe_folder=Path())
    >>> chain.encode_rows(np.full((3, 2, 4), 0.18, np.float32), 0)[:, 0, 0].round(4)
    array([0.4614, 0.4614, 0.4614], dtype=float32)
    """
    return LookChain(
        look,
        source=source,
        camera_matrix=camera_matrix,
        output=output,
        size=size,
        recipe_folder=recipe_folder,
    )
