"""Tint: three factors that turn a light's colour as rendered into the colour asked for.

A light rendered at colour A and asked for colour B is multiplied by rgb(B) / rgb(A), channel by
channel, in the passes' own primaries: what the renderer would have done with a lamp of that
colour, as far as three channels can tell.

Luminance. When it is held, A and B are both taken at luminance Y = 1, so the lamp gives the same
luminous flux in another colour. Light that a neutral surface sends back keeps its luminance
exactly; a coloured surface rightly becomes lighter or darker. When it is not held, A and B are
taken with their largest component at 1, as a colour that was picked beside a lamp's strength;
a hex colour then keeps its own brightness.

Gamut. A colour outside the passes' primaries has a negative component: that one becomes 0 and the
rest is scaled to the same luminance, and the result says so. A component of the rendered colour
below 0.002 of its luminance counts as 0.002, because nothing can be multiplied out of no light.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import assert_never

import numpy as np
import numpy.typing as npt

from evenfall.light.colour import (
    hex_to_bt709,
    kelvin_to_xy,
    lamp_class_xy,
    mired,
    xy_to_kelvin_duv,
)
from evenfall.light.primaries import (
    BT709,
    RgbSpace,
    Xy,
    conversion_matrix,
    luminance_weights,
    rgb_to_xyz,
    xy_to_xyz,
)
from evenfall.recipe.lights import LightSetting, Rendered
from evenfall.recipe.tints import (
    AtXy,
    HexTint,
    InKelvin,
    LampClassTint,
    MiredShift,
    PlainRgb,
    Untinted,
)

__all__ = ["TintResult", "light_rgb", "rendered_xy", "rgb_to_xy", "tint_factors"]

Vector = npt.NDArray[np.float64]

_LEAST_RENDERED = 0.002
_NOMINAL = 0.005  # colour temperatures closer than this are the same to a person
_NEGLIGIBLE = 1e-6


@dataclass(frozen=True)
class TintResult:
    """What a tint comes to.

    Parameters
    ----------
    factors : tuple of 3 floats
        For R, G, B in the passes' primaries, relative to the pass as rendered.
    xy : tuple of float or None
        CIE 1931 chromaticity of the light after the tint; None when nothing is known of it.
    kelvin, duv : float or None
        The same as correlated colour temperature, when that has a meaning. Where it is the one
        that was asked for, it is said as it was asked: daylight of 15,000 K correlates to 14,976 K.
    notes : tuple of str
        What a person should know: colours cut off.
    before_xy : tuple of float or None
        Chromaticity that it was rendered with; None when that is not known.
    assumed : bool
        Whether the rendered colour is not known and counts as the passes' own white: `factors` are
        then a change, and `xy` and `kelvin` no colour of the light.
    """

    factors: tuple[float, float, float]
    xy: Xy | None
    kelvin: float | None
    duv: float | None
    notes: tuple[str, ...] = ()
    before_xy: Xy | None = None
    assumed: bool = False


def rendered_xy(rendered: Rendered) -> Xy | None:
    """Chromaticity that a light was rendered with, or None when the recipe does not say.

    Examples
    --------
    >>> rendered_xy(Rendered(xy=(0.31, 0.33)))
    (0.31, 0.33)
    """
    if rendered.xy is not None:
        return rendered.xy
    if rendered.kelvin is not None:
        return kelvin_to_xy(rendered.kelvin, rendered.duv, rendered.locus or "auto")
    return None


def light_rgb(xy: Xy, space: RgbSpace) -> tuple[Vector, float]:
    """Components of a light's colour at luminance 1, held inside the primaries.

    Parameters
    ----------
    xy : tuple of float
        CIE 1931 chromaticity.
    space : RgbSpace
        Primaries and white; the light is not adapted to that white.

    Returns
    -------
    rgb : ndarray of shape (3,)
        Components of 0 or more with luminance 1.
    cut : float
        How far below 0 the lowest component was before it was cut, 0 for a colour inside.

    Examples
    --------
    >>> rgb, cut = light_rgb((0.53778, 0.41120), BT709)
    >>> rgb.round(4).tolist(), cut > 0
    ([2.6394, 0.6135, 0.0], True)
    """
    rgb = np.linalg.solve(rgb_to_xyz(space), xy_to_xyz(xy))
    cut = max(0.0, -float(rgb.min()))
    if cut:
        rgb = np.maximum(rgb, 0.0)
        rgb /= float(luminance_weights(space) @ rgb)
    return np.asarray(rgb, dtype=np.float64), cut


def rgb_to_xy(rgb: npt.ArrayLike, space: RgbSpace) -> Xy | None:
    """Chromaticity of linear components; None when they hold no light.

    Examples
    --------
    >>> tuple(round(c, 4) for c in rgb_to_xy((1, 1, 1), BT709))
    (0.3127, 0.329)
    """
    x, y, z = (float(c) for c in rgb_to_xyz(space) @ np.asarray(rgb, dtype=np.float64))
    total = x + y + z
    return (x / total, y / total) if y > 0 and total > 0 else None


@lru_cache(maxsize=4096)
def tint_factors(
    setting: LightSetting, rendered: Rendered, space: RgbSpace, start_xy: Xy | None = None
) -> TintResult:
    """Factors for R, G, B that bring a light from its rendered colour to the one asked for.

    Parameters
    ----------
    setting : LightSetting
        What the mood asks; only its tint is looked at.
    rendered : Rendered
        How the light was rendered. Without a colour there it counts as the passes' own white, and
        the result says so.
    space : RgbSpace
        The passes' primaries.
    start_xy : tuple of float or None
        The colour that the setting starts from when it is not the rendered one (daylight).

    Raises
    ------
    ValueError
        When a mired shift leaves 1000 K to 25000 K, or the light has no colour temperature that
        could be shifted. The message is for people.

    Examples
    --------
    >>> warm = tint_factors(LightSetting(kelvin=2700), Rendered(kelvin=4000), BT709)
    >>> [round(f, 4) for f in warm.factors], round(warm.kelvin)
    ([1.3685, 0.8696, 0.3596], 2700)
    """
    known, tint = rendered_xy(rendered), setting.tint
    if isinstance(tint, Untinted) and start_xy is None:
        as_it_is = _result(np.ones(3), known, [], nominal_kelvin=rendered.kelvin)
        return replace(as_it_is, before_xy=known)
    before_xy = known or space.white
    start = start_xy or before_xy
    before, before_cut = light_rgb(before_xy, space)
    notes: list[str] = []
    if isinstance(tint, PlainRgb):
        factors = _plain_factors(setting, tint, before, start, space)
    else:
        after, cut = _colour_asked(tint, start, space)
        if cut > _NEGLIGIBLE:
            notes.append(
                f"the colour lies outside the passes' primaries ({space.name}) and was cut"
            )
        held = setting.hold_luminance is not False
        factors = _ratio(after, before, tint, held=held)
        if held:
            factors = factors / float(luminance_weights(space) @ (factors * before))
    if before_cut > _NEGLIGIBLE:
        notes.append(f"its rendered colour lies outside the passes' primaries ({space.name})")
    after_xy = rgb_to_xy(factors * before, space) if known or start_xy or setting.tint_key else None
    found = _result(factors, after_xy, notes, nominal_kelvin=setting.kelvin)
    assumed = known is None and not isinstance(tint, PlainRgb | Untinted)
    return replace(found, before_xy=known, assumed=assumed)


def _plain_factors(
    setting: LightSetting, tint: PlainRgb, before: Vector, start: Xy, space: RgbSpace
) -> Vector:
    factors = np.array(tint.factors) * _safe_ratio(light_rgb(start, space)[0], before)
    if setting.hold_luminance:
        luminance = float(luminance_weights(space) @ (factors * before))
        if luminance <= 0:
            raise ValueError("factors that leave no light cannot hold luminance")
        factors = factors / luminance
    return factors


_Colour = Untinted | InKelvin | MiredShift | AtXy | HexTint | LampClassTint


def _colour_asked(tint: _Colour, start: Xy, space: RgbSpace) -> tuple[Vector, float]:
    """Components of the colour asked for, and how far it had to be cut."""
    if isinstance(tint, HexTint):
        rgb = conversion_matrix(BT709, space) @ np.array(hex_to_bt709(tint.text))
        if float(luminance_weights(space) @ rgb) <= 0:
            raise ValueError("black is no colour of light; switch the light off instead")
        return np.maximum(rgb, 0.0), max(0.0, -float(rgb.min()))
    return light_rgb(_xy_asked(tint, start), space)


def _xy_asked(tint: Untinted | InKelvin | MiredShift | AtXy | LampClassTint, start: Xy) -> Xy:
    match tint:
        case Untinted():
            return start
        case InKelvin(kelvin, duv, locus):
            return kelvin_to_xy(kelvin, duv, locus or "auto")
        case AtXy(xy):
            return xy
        case LampClassTint(name):
            return lamp_class_xy(name)
        case MiredShift(shift):
            return _shifted(start, shift)
        case _:
            assert_never(tint)


def _shifted(start: Xy, shift: float) -> Xy:
    found = xy_to_kelvin_duv(start)
    if found is None:
        raise ValueError("the light's colour has no colour temperature that could be shifted")
    kelvin, duv = found
    target = mired(kelvin) + shift
    if not 40 <= target <= 1000:
        raise ValueError(
            f"a shift of {shift:+g} mired from {kelvin:.0f} K leaves 1000 K to 25000 K"
        )
    x, y = kelvin_to_xy(1e6 / target, duv)
    if x + y >= 1:
        raise ValueError(
            f"a shift of {shift:+g} mired from {kelvin:.0f} K, Duv {duv:+.3f}, is no colour"
        )
    return x, y


def _ratio(after: Vector, before: Vector, tint: _Colour, *, held: bool) -> Vector:
    if held:
        return _safe_ratio(after, before)
    own_brightness = isinstance(tint, HexTint)
    top = after if own_brightness else after / after.max()
    return _safe_ratio(top, before / before.max())


def _safe_ratio(after: Vector, before: Vector) -> Vector:
    least = np.where(before < _LEAST_RENDERED, _LEAST_RENDERED, 0.0)
    ratio: Vector = np.maximum(after, least) / np.maximum(before, least)
    return ratio


def _result(
    factors: Vector, xy: Xy | None, notes: list[str], *, nominal_kelvin: float | None
) -> TintResult:
    found = xy_to_kelvin_duv(xy) if xy else None
    kelvin, duv = found if found else (None, None)
    if kelvin and nominal_kelvin and abs(kelvin / nominal_kelvin - 1) < _NOMINAL:
        kelvin = nominal_kelvin
    red, green, blue = (float(f) for f in factors)
    return TintResult((red, green, blue), xy, kelvin, duv, tuple(notes))
