"""A view as small pictures of its lights, developed again and again while gains are sought.

The way is the run's own: gains and tints in the passes' primaries, the camera, and the whole look.
Only the pictures are small: blocks of the survey, so that a view is shown in milliseconds.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from evenfall.camera.white_balance import white_balance_matrix
from evenfall.light.cielab import cie_lightness
from evenfall.light.output_spaces import output_space
from evenfall.light.primaries import RgbSpace, luminance_weights
from evenfall.look.chain import build_chain
from evenfall.prove.blocks import pool
from evenfall.recipe import Look, WhiteBalance

__all__ = ["Shown", "Stage"]

Floats = npt.NDArray[np.float32]
Mask = npt.NDArray[np.bool_]
Rgb = tuple[float, float, float]

_MOST_PIXELS = 4000
_MOST_EXPOSURE = 2.0**90
_DARK = 1e-6  # of the brightest: nothing shines there in any pass
_TOP = 254.5 / 255
_WHITE = 96.0  # CIE L*


@dataclass(frozen=True, eq=False)
class Shown:
    """A small developed picture.

    Parameters
    ----------
    lightness : ndarray, shape (h, w)
        CIE L* of the displayed picture.
    burnt : ndarray of bool, shape (h, w)
        Where it is as good as white, or a displayed channel is at its top.
    """

    lightness: Floats
    burnt: Mask

    def median(self, where: Mask) -> float:
        """Median CIE L* in a part of the picture."""
        return self.quantile(where, 0.5)

    def quantile(self, where: Mask, share: float) -> float:
        """CIE L* that a share of a part of the picture lies below."""
        return float(np.quantile(self.lightness[where], share)) if where.any() else 0.0


class Stage:
    """The lights of a view, and a look to show them through.

    Parameters
    ----------
    pictures : mapping of str to ndarray, shape (3, h, w)
        Scene-linear means of blocks, by light, in the passes' primaries.
    space : RgbSpace
        Those primaries.
    look : Look
        What the recipe will say of the look.

    Examples
    --------
    >>> from evenfall.light.primaries import BT709
    >>> stage = Stage({"lamp": np.full((3, 40, 60), 0.5)}, BT709, Look())
    >>> grey = stage.show({"lamp": (1, 1, 1)}, exposure=0.18 / 0.5)
    >>> round(grey.median(stage.lit))
    49
    """

    def __init__(
        self, pictures: Mapping[str, npt.NDArray[np.float64]], space: RgbSpace, look: Look
    ):
        rows, columns = next(iter(pictures.values())).shape[1:]
        factor = max(1, int(np.ceil((rows * columns / _MOST_PIXELS) ** 0.5)))
        self.pictures: dict[str, Floats] = {
            light: np.ascontiguousarray(pool(picture, factor), np.float32)
            for light, picture in pictures.items()
        }
        self._space, self._look = space, look
        self._weights = luminance_weights(space).astype(np.float32)
        self._output = output_space("sRGB")
        everything = self.luminance(self.pictures)
        self.lit: Mask = everything > _DARK * float(everything.max(initial=0.0))

    def luminance(self, lights: Mapping[str, object]) -> Floats:
        """Luminance of some lights together, as rendered; shape (h, w)."""
        height, width = next(iter(self.pictures.values())).shape[1:]
        total = np.zeros((height, width), np.float32)
        for light in lights:
            total += np.einsum("c,chw->hw", self._weights, self.pictures[light])
        return total

    def show(
        self, gains: Mapping[str, Rgb], exposure: float, white_kelvin: float | None = None
    ) -> Shown:
        """Develop the view.

        Parameters
        ----------
        gains : mapping of str to (float, float, float)
            Factors of R, G, B by light that is on.
        exposure : float
            Factor of the camera; what is beyond single precision is held within it.
        white_kelvin : float or None
            White balance of the camera.
        """
        height, width = self.lit.shape
        mix = np.zeros((3, height, width), np.float32)
        for light, factors in gains.items():
            mix += self.pictures[light] * np.asarray(factors, np.float32)[:, None, None]
        balance = None if white_kelvin is None else WhiteBalance(kelvin=white_kelvin)
        factor = min(exposure, _MOST_EXPOSURE)
        chain = build_chain(
            self._look,
            source=self._space,
            camera_matrix=factor * white_balance_matrix(balance, self._space),
            output=self._output,
            size=(width, height),
            recipe_folder=Path(),
        )
        whole = chain.needs_whole
        planes = chain.whole(mix) if whole else mix
        linear = chain.linear_rows(np.ascontiguousarray(planes), 0, exposed=whole)
        encoded = chain.encode_rows(np.ascontiguousarray(planes), 0, exposed=whole)
        weights = luminance_weights(self._output.rgb).astype(np.float32)
        lightness = cie_lightness(np.einsum("c,chw->hw", weights, linear))
        return Shown(lightness, np.any(encoded >= _TOP, axis=0) | (lightness >= _WHITE))
