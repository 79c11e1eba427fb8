"""The mood of colour of another picture: what tints give a view its warm lights and cool shadows.

The two pictures show different places, so nothing lies over anything. What is compared is how
colour goes with lightness: pixels are ranked by lightness, cut into five bands of equal size from
the darkest to the lightest, and the mean and the spread of OKLab a and b in each are brought
together (Ottosson 2020; statistics of colour carried from picture to picture go back to Reinhard,
Ashikhmin, Gooch and Shirley 2001). Gains stay, so lightness does, but for what colour itself does.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import numpy.typing as npt

from evenfall.compare.reading import read_reduced
from evenfall.errors import Fault, UsageError
from evenfall.light.oklab import bt709_to_oklab
from evenfall.light.output_spaces import output_space
from evenfall.light.primaries import ACESCG, BT709, conversion_matrix, luminance_weights
from evenfall.solve.fitting import Fitter
from evenfall.solve.problem import Moves, Vector
from evenfall.solve.screen import Screen

__all__ = ["BANDS", "colour_bands", "fit_colours", "read_colours"]

Floats = npt.NDArray[np.float32]

BANDS = ("shadows", "dark tones", "middle tones", "light tones", "lights")
"""Fifths of a picture, by lightness."""

_WIDTH = 240
_SEEN = 0.01  # OKLab: what an eye just sees side by side
_SPREAD_WEIGHT = 0.3
_STEP = 0.05  # stops
_CHARGE = 0.6  # what a stop of red against blue costs, in differences that are just seen


def read_colours(path: Path) -> npt.NDArray[np.float64]:
    """Read the bands of a reference of any shape; as `colour_bands`.

    Raises
    ------
    PixelSourceError
        When it cannot be read.
    UsageError
        When it is no displayed picture, or black.
    """
    if path.suffix.lower() in (".exr", ".hdr", ".pfm"):
        found = "scene-linear light has no mood of colour before it is shown"
        raise UsageError(Fault(str(path), "", found, "a displayed picture: JPEG, PNG, TIFF"))
    picture = read_reduced(path, _WIDTH)
    matrix = conversion_matrix(picture.space, BT709).astype(np.float32)
    linear = np.clip(np.tensordot(matrix, picture.planes, axes=1), 0, 1)
    if not linear.max() > 0:
        raise UsageError(Fault(str(path), "", "the picture is black, so it has no colours"))
    return colour_bands(linear)


def colour_bands(linear: Floats) -> npt.NDArray[np.float64]:
    """Give mean and spread of OKLab a and b in five bands of lightness, the darkest first.

    Parameters
    ----------
    linear : ndarray, shape (3, h, w)
        Display-linear BT.709 values.

    Returns
    -------
    ndarray, shape (5, 4)
        Mean a, mean b, spread of a, spread of b.

    Examples
    --------
    >>> grey = np.linspace(0, 1, 100, dtype=np.float32).reshape(1, 10, 10).repeat(3, axis=0)
    >>> bool(np.abs(colour_bands(grey)).max() < 1e-4)
    True
    """
    lab = bt709_to_oklab(np.moveaxis(linear, 0, -1).reshape(-1, 3).astype(np.float64))
    order = np.argsort(lab[:, 0], kind="stable")
    found = []
    for band in np.array_split(order, len(BANDS)):
        colours = lab[band, 1:]
        found.append([*colours.mean(axis=0), *colours.std(axis=0)])
    return np.array(found)


def fit_colours(
    screen: Screen, moves: Moves, gains: int, wanted: npt.NDArray[np.float64]
) -> tuple[Vector, npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Find tints that bring the bands of a mood to those of a reference.

    Parameters
    ----------
    screen : Screen
        Shows the mood, encoded for sRGB.
    moves : Moves
        Gains first, then tints.
    gains : int
        How many of the unknowns are gains; these only hold the luminance of each light.
    wanted : ndarray, shape (5, 4)
        Of the reference.

    Returns
    -------
    unknowns : ndarray
        Stops of each.
    before, after : ndarray, shape (5, 4)
        Bands of the mood.
    """
    from scipy.optimize import least_squares

    none = np.zeros((3, screen.lights.shape[2], screen.lights.shape[3]), np.float32)
    fitter = Fitter(screen, moves, none, np.ones(none.shape[1:], bool))
    means = screen.lights.mean(axis=(2, 3), dtype=np.float64)
    own = _luminances(means, moves, np.zeros(moves.charge.size), fitter)
    weights = np.array([1, 1, _SPREAD_WEIGHT, _SPREAD_WEIGHT])

    def whole(tints: Vector) -> Vector:
        """Give tints with the gains that hold the luminance of what moves."""
        unknowns = np.concatenate([np.zeros(gains), tints])
        now = _luminances(means, moves, unknowns, fitter)
        unknowns[:gains] = np.log2(own / now)
        return unknowns

    def bands(tints: Vector) -> npt.NDArray[np.float64]:
        shown = screen.show(fitter.total_at(whole(tints)))
        return colour_bands(output_space("sRGB").decode(np.ascontiguousarray(shown)))

    def residuals(tints: Vector) -> Vector:
        off = (bands(tints) - wanted) * weights / _SEEN
        return np.concatenate([off.ravel(), _CHARGE * tints])

    def slopes(tints: Vector) -> npt.NDArray[np.float64]:
        here = residuals(tints)
        steps = _STEP * np.eye(tints.size)
        return np.stack([(residuals(tints + step) - here) / _STEP for step in steps], axis=1)

    count = moves.charge.size - gains
    found = least_squares(
        residuals,
        np.zeros(count),
        slopes,
        bounds=(moves.low[gains:], moves.high[gains:]),
        max_nfev=15,
        xtol=1e-3,
        ftol=1e-3,
    )
    return whole(found.x), bands(np.zeros(count)), bands(found.x)


def _luminances(
    means: npt.NDArray[np.float64], moves: Moves, unknowns: Vector, fitter: Fitter
) -> Vector:
    """Give the luminance of the lights of each gain, after a move."""
    moved = (fitter.factors_at(unknowns) @ means[..., None])[..., 0]
    total = moved @ luminance_weights(ACESCG)
    gains = [number for number in range(unknowns.size) if fitter.is_gain(number)]
    member = moves.ways[:, 0, gains] > 0
    found: Vector = np.maximum(member.T @ total, 1e-12)
    return found
