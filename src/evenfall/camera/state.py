"""The camera as set for one mood: exposure and white balance in one matrix."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from evenfall.camera.exposure import equivalent_ev100, own_place, settings_factor
from evenfall.camera.meter import Reading
from evenfall.camera.white_balance import white_balance_matrix
from evenfall.errors import RecipeError
from evenfall.light.primaries import RgbSpace
from evenfall.recipe import Recipe, ResolvedMood
from evenfall.recipe.places import dotted

__all__ = ["CameraState", "Taken", "camera_state"]

Matrix = npt.NDArray[np.float64]

_MOST_STOPS = 90  # far within single precision, also for bright pixels


@dataclass(frozen=True)
class Taken:
    """An exposure that is taken from another view.

    Parameters
    ----------
    factor : float
        What that view's mix is multiplied by.
    luminance_scale : float or None
        cd/m2 of a pixel of luminance 1 in that view's passes, when known.
    notes : tuple of str
        What a person should know.
    """

    factor: float
    luminance_scale: float | None = None
    notes: tuple[str, ...] = ()

    def factor_for(self, luminance_scale: float | None) -> float:
        """Give the factor by which passes of another scale show the same light as bright.

        Examples
        --------
        >>> Taken(0.5, luminance_scale=1.0).factor_for(100.0)  # passes in hundreds of cd/m2
        50.0
        """
        if self.luminance_scale and luminance_scale:
            return self.factor * luminance_scale / self.luminance_scale
        return self.factor


@dataclass(frozen=True, eq=False)
class CameraState:
    """How a mood's mix is exposed and balanced.

    Parameters
    ----------
    exposure_factor : float
        What the mix is multiplied by, `exposure_stops` included.
    matrix : ndarray of shape (3, 3)
        White balance and exposure together, from and to the passes' primaries: multiply with R, G,
        B of the mix.
    reading : Reading or None
        What the meter read, when it was asked.
    ev100 : float or None
        EV at ISO 100 of camera settings that expose the same (K = 12.5 lands on 18 %), when the
        passes' scale in cd/m2 is known.
    notes : tuple of str
        What a person should know.
    """

    exposure_factor: float
    matrix: Matrix
    reading: Reading | None = None
    ev100: float | None = None
    notes: tuple[str, ...] = ()


def camera_state(
    recipe: Recipe,
    mood: ResolvedMood,
    space: RgbSpace,
    *,
    reading: Reading | None = None,
    luminance_scale: float | None = None,
    neutral_rgb: npt.ArrayLike | None = None,
    taken: Taken | None = None,
) -> CameraState:
    """Set the camera for a mood.

    Parameters
    ----------
    recipe : Recipe
        For the messages of errors.
    mood : ResolvedMood
        Its camera is complete.
    space : RgbSpace
        The passes' primaries.
    reading : Reading or None
        What the meter read for this mood's plan; None when it has none.
    luminance_scale : float or None
        cd/m2 of a pixel of luminance 1, when known.
    neutral_rgb : array of shape (3,) or None
        Mean of the mix in the neutral spot of the white balance.
    taken : Taken or None
        The exposure of another view, where it is taken from there.

    Raises
    ------
    RecipeError
        When camera settings are asked for and the passes' scale is not known, there is nothing in
        the neutral spot, or the exposure is absurd.
    """
    camera = mood.camera
    base = _base_exposure(recipe, mood, reading, luminance_scale)
    if taken is not None:
        base = taken.factor_for(luminance_scale)
    factor = base * math.exp2(camera.exposure_stops)
    if not 2.0**-_MOST_STOPS <= factor <= 2.0**_MOST_STOPS:
        place = dotted(("moods", mood.name, "camera"))
        found = f"the exposure comes to a factor of {factor:.3g}"
        hint = "look for absurd gains, pixel values or camera settings"
        raise RecipeError(recipe.fault(place, found, f"it is within {_MOST_STOPS} stops", hint))
    try:
        balance = white_balance_matrix(camera.white_balance, space, neutral_rgb)
    except ValueError as error:
        place = dotted(("moods", mood.name, "camera", "white_balance"))
        raise RecipeError(recipe.fault(place, str(error))) from None
    ev100 = equivalent_ev100(factor, luminance_scale) if luminance_scale else None
    notes = reading.notes if reading else () if taken is None else taken.notes
    return CameraState(factor, factor * balance, reading, ev100, notes)


def _base_exposure(
    recipe: Recipe, mood: ResolvedMood, reading: Reading | None, luminance_scale: float | None
) -> float:
    settings = mood.camera.settings
    if settings is None:
        return reading.factor if reading is not None else 1.0
    if luminance_scale is None:
        raise RecipeError(
            recipe.fault(
                own_place(mood, "settings"),
                "the passes' scale in cd/m2 is not known",
                "camera settings need files with whiteLuminance or passes.luminance_scale",
                "say passes.luminance_scale = 1.0 if the renderer wrote cd/m2, or use the meter",
            )
        )
    try:
        return settings_factor(settings, luminance_scale)
    except (ArithmeticError, ValueError):
        return math.inf
