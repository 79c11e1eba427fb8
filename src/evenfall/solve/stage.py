"""A view as small pictures of its lights, developed again and again while gains are sought.

The way is the run's own: gains and tints in the passes' primaries, the camera, and the whole look.
Only the pictures are small: blocks of the survey, so that a view is shown in milliseconds.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from evenfall.camera.white_balance import white_balance_matrix
from evenfall.light.cielab import cie_lightness
from evenfall.light.output_spaces import output_space
from evenfall.light.primaries import RgbSpace, luminance_weights
from evenfall.look.chain import LookChain, build_chain
from evenfall.prove.blocks import pool
from evenfall.recipe import Look, WhiteBalance
from evenfall.solve.problem import Limit, Moves, Sense

__all__ = ["Problem", "Rule", "Shown", "Stage", "burns"]

Floats = npt.NDArray[np.float32]
Mask = npt.NDArray[np.bool_]
Rgb = tuple[float, float, float]

_MOST_PIXELS = 4000
_MOST_EXPOSURE = 2.0**90
_DARK = 1e-6  # of the brightest: nothing shines there in any pass
_TOP = 254.5 / 255
_WHITE = 96.0  # CIE L*
_TINY = 1e-12
_FURTHEST, _HALVINGS = 16.0, 12  # stops, to a hundredth


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


@dataclass(frozen=True, eq=False)
class Rule:
    """What a first balance asks of a part of the picture.

    Parameters
    ----------
    where : ndarray of bool, shape (h, w)
        The part.
    share : float
        Of its pixels, that lie below the quantile that is judged.
    lightness : float or None
        CIE L* there; None is where it burns.
    sense : {"at least", "at most", "just"}
        On which side of it the quantile is to lie.
    weight : float
        How much it counts.
    """

    where: Mask
    share: float
    lightness: float | None
    sense: Sense
    weight: float


def burns(where: Mask, share: float, weight: float) -> Rule:
    """Let a part of the picture burn in no more than a share of the whole picture."""
    allowed = min(share * where.size / max(int(where.sum()), 1), 1.0)
    return Rule(where, 1 - allowed, None, "at most", weight)


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
    folder : Path, optional
        Where names of files in the look start.

    Examples
    --------
    >>> from evenfall.light.primaries import BT709
    >>> stage = Stage({"lamp": np.full((3, 40, 60), 0.5)}, BT709, Look())
    >>> grey = stage.show({"lamp": (1, 1, 1)}, exposure=0.18 / 0.5)
    >>> round(grey.median(stage.lit))
    49
    """

    def __init__(
        self,
        pictures: Mapping[str, npt.NDArray[np.floating]],
        space: RgbSpace,
        look: Look,
        folder: Path | None = None,
    ) -> None:
        rows, columns = next(iter(pictures.values())).shape[1:]
        factor = max(1, int(np.ceil((rows * columns / _MOST_PIXELS) ** 0.5)))
        self.pictures: dict[str, Floats] = {
            light: np.ascontiguousarray(pool(np.asarray(picture, np.float64), factor), np.float32)
            for light, picture in pictures.items()
        }
        self.space, self._look, self._folder = space, look, folder or Path()
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
        chain = self._chain(min(exposure, _MOST_EXPOSURE) * self.white(white_kelvin))
        return self.shown(chain, chain.whole(self._mix(gains)))

    def white(self, kelvin: float | None) -> npt.NDArray[np.float64]:
        """Give the matrix of a white balance; shape (3, 3)."""
        balance = None if kelvin is None else WhiteBalance(kelvin=kelvin)
        return white_balance_matrix(balance, self.space)

    def _mix(self, gains: Mapping[str, Rgb]) -> Floats:
        mix = np.zeros((3, *self.lit.shape), np.float32)
        for light, factors in gains.items():
            mix += self.pictures[light] * np.asarray(factors, np.float32)[:, None, None]
        return mix

    def _chain(self, camera_matrix: npt.NDArray[np.float64]) -> LookChain:
        height, width = self.lit.shape
        return build_chain(
            self._look,
            source=self.space,
            camera_matrix=camera_matrix,
            output=self._output,
            size=(width, height),
            recipe_folder=self._folder,
        )

    def shown(self, chain: LookChain, exposed: Floats) -> Shown:
        """Look at exposed light through a chain of the stage."""
        planes = np.ascontiguousarray(exposed)
        linear = chain.linear_rows(planes, 0, exposed=True)
        if chain.encodes_last:
            encoded = self._output.encode(linear)
        else:
            encoded = chain.encode_rows(planes, 0, exposed=True)
        lightness = self._lightness_of(linear)
        return Shown(lightness, np.any(encoded >= _TOP, axis=0) | (lightness >= _WHITE))

    def lightness(self, chain: LookChain, exposed: Floats) -> Floats:
        """Give the CIE L* of exposed light through a chain of the stage; shape (h, w)."""
        planes = np.ascontiguousarray(exposed)
        return self._lightness_of(chain.linear_rows(planes, 0, exposed=True))

    def _lightness_of(self, linear: Floats) -> Floats:
        weights = luminance_weights(self._output.rgb).astype(np.float32)
        return cie_lightness(np.einsum("c,chw->hw", weights, linear))

    def problem(
        self,
        gains: Mapping[str, Rgb],
        turned: Sequence[str],
        exposure_stops: float,
        white_kelvin: float | None,
        reach: float,
    ) -> Problem:
        """Put the picture as it comes out before the solver: rules become demands of stops.

        Parameters
        ----------
        gains : mapping of str to (float, float, float)
            Factors by light that is on.
        turned : sequence of str
            Lights that are turned together; none where only the camera is.
        exposure_stops, white_kelvin : float
            The camera.
        reach : float
            Most stops that anything is turned.
        """
        matrix = min(2.0**exposure_stops, _MOST_EXPOSURE) * self.white(white_kelvin)
        chain = self._chain(matrix)
        exposed = chain.whole(self._mix(gains))
        return Problem(self, gains, tuple(turned), matrix, chain, exposed, reach)


@dataclass(frozen=True, eq=False)
class Problem:
    """A picture as it comes out, and what turning the camera and some lights does to it.

    Made by `Stage.problem`.
    """

    stage: Stage
    gains: Mapping[str, Rgb]
    turned: tuple[str, ...]
    matrix: npt.NDArray[np.float64]
    chain: LookChain
    exposed: Floats
    reach: float

    def moves(self, charge: float) -> Moves:
        """Give the unknowns: stops of the camera and, where there are such, of turned lights."""
        count = 2 if self.turned else 1
        ways = np.zeros((len(self.gains), 3, count))
        for number, light in enumerate(self.gains):
            ways[number, :, 1:] = light in self.turned
        high = np.full(count, self.reach)
        exposure = np.eye(count)[0]
        factors = np.array(list(self.gains.values()))
        return Moves(factors, ways, -high, high, np.full(count, charge), exposure)

    def demand(self, rule: Rule) -> Limit:
        """Turn a rule into stops: from each pixel to where the whole look shows what is asked."""
        weights = luminance_weights(self.stage.space) @ self.matrix
        planes = np.stack([self.stage.pictures[light] for light in self.gains])
        pixels = (planes * weights[:, None, None]).astype(np.float32)[:, :, rule.where]
        factors = np.array(list(self.gains.values()), np.float32)
        now = np.log2(np.maximum(np.einsum("lc,lcp->p", factors, pixels), np.float32(_TINY)))
        room = now + self._stops_until(rule)[rule.where]
        return Limit(rule.weight, pixels, room, rule.share, rule.sense)

    def _stops_until(self, rule: Rule) -> Floats:
        low = np.full(rule.where.shape, -_FURTHEST, np.float32)
        high = -low
        for _ in range(_HALVINGS):
            middle = (low + high) / 2
            exposed = self.exposed * np.exp2(middle)
            if rule.lightness is None:
                there = self.stage.shown(self.chain, exposed).burnt
            else:
                there = self.stage.lightness(self.chain, exposed) >= rule.lightness
            high, low = np.where(there, middle, high), np.where(there, low, middle)
        return np.asarray((low + high) / 2, np.float32)
