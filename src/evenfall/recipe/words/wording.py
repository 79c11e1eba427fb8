"""Settings said in the words of the trade, for tables, sheets and reports."""

from __future__ import annotations

from fractions import Fraction
from typing import assert_never

from evenfall.recipe.gains import (
    AsRendered,
    Candela,
    Counted,
    Factor,
    Gain,
    InStops,
    Lumens,
    Match,
    Off,
    Watts,
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

__all__ = [
    "counted_words",
    "gain_words",
    "lamp_words",
    "percent_words",
    "rendered_words",
    "setting_words",
    "step_words",
    "stops_words",
    "tint_words",
]

_NEAR_A_THIRD = 0.005
_NEAR_A_SIXTH = 0.0005


def stops_words(stops: float) -> str:
    """Write stops with a sign, in thirds and halves where they are such, and what those add up to.

    Examples
    --------
    >>> stops_words(4 / 3), stops_words(-0.5), stops_words(0), stops_words(-2.15)
    ('+1 1/3', '-1/2', '0', '-2.15')
    >>> stops_words(1 / 2 - 1 / 3), stops_words(0.17)
    ('+1/6', '+0.17')
    """
    sign = "-" if stops < 0 else "+"
    size = abs(stops)
    if size < _NEAR_A_THIRD:
        return "0"
    near = Fraction(size).limit_denominator(3)
    if abs(size - near) > _NEAR_A_THIRD:
        near = Fraction(size).limit_denominator(6)
        if near.denominator != 6 or abs(size - near) > _NEAR_A_SIXTH:
            return f"{sign}{size:.2f}"
    whole, rest = divmod(near, 1)
    fraction = f"{rest.numerator}/{rest.denominator}" if rest else ""
    return sign + " ".join(part for part in (str(whole) if whole else "", fraction) if part)


def step_words(stops: float) -> str:
    """Write a step as a recipe holds it.

    Examples
    --------
    >>> step_words(-1.5), step_words(1 / 3)
    ('down 1 1/2', 'up 1/3')
    """
    return f"{'down' if stops < 0 else 'up'} {stops_words(abs(stops)).removeprefix('+')}"


def percent_words(share: float) -> str:
    """Write a share in per cent: to a tenth from 1 % on, in two digits below.

    Examples
    --------
    >>> percent_words(0.123), percent_words(0.00456), percent_words(0)
    ('12.3 %', '0.46 %', '0.0 %')
    """
    percent = 100 * share
    return f"{percent:.1f} %" if percent >= 1 or percent == 0 else f"{percent:.2g} %"


def counted_words(counted: Counted | None) -> str:
    """Say from which mood a gain or an exposure counts; empty when from none.

    Examples
    --------
    >>> counted_words(Counted("day", -2.0)), counted_words(Counted("dusk", 1 / 3))
    ('2 down from day', '1/3 up from dusk')
    """
    if counted is None:
        return ""
    size = stops_words(abs(counted.stops)).removeprefix("+")
    if size == "0":
        return f"as in {counted.mood}"
    return f"{size} {'down' if counted.stops < 0 else 'up'} from {counted.mood}"


def gain_words(setting: LightSetting, light: str = "it") -> str:
    """Say how strong a light is, a light that is matched by its name; empty for as rendered.

    Examples
    --------
    >>> gain_words(LightSetting(stops=-2)), gain_words(LightSetting(stops=0))
    ('-2 stops', '0 stops')
    >>> gain_words(LightSetting(off=True))
    'off'
    >>> gain_words(LightSetting(match={"to": "sun", "ratio": "3:1"}), "fill")
    'sun to fill 3:1'
    >>> gain_words(LightSetting(stops=-3, counted=Counted("day", -2.0)))
    '-3 stops, 2 down from day'
    """
    parts = (_plain_gain_words(setting.gain, light), counted_words(setting.counted))
    return ", ".join(part for part in parts if part)


def _plain_gain_words(gain: Gain, light: str) -> str:
    match gain:
        case AsRendered() | Counted():
            return ""
        case Off():
            return "off"
        case InStops(stops):
            return f"{stops_words(stops)} {'stop' if 0 < abs(stops) <= 1 else 'stops'}"
        case Factor(factor):
            return f"x {factor:g}"
        case Lumens() | Watts() | Candela():
            return lamp_words(gain)
        case Match():
            return _match_words(gain, light)
        case _:
            assert_never(gain)


def lamp_words(gain: Lumens | Watts | Candela) -> str:
    """Say how strong a lamp is in a unit of its own.

    Examples
    --------
    >>> lamp_words(Lumens(800)), lamp_words(Watts(10, 80))
    ('800 lm', '10 W at 80 lm/W')
    """
    match gain:
        case Lumens(lumens):
            return f"{lumens:g} lm"
        case Watts(watts, per_watt):
            return f"{watts:g} W at {per_watt:g} lm/W"
        case Candela(candela):
            return f"{candela:g} cd"
        case _:
            assert_never(gain)


def _match_words(match: Match, light: str) -> str:
    """Say a ratio with its two sides in the order of its numbers."""
    first = match.to if match.convention == "key:fill" else f"{match.to} + {light}"
    return f"{first} to {light} {match.ratio}"


def tint_words(setting: LightSetting) -> str:
    """Say what colour a light is given; empty for as rendered.

    Examples
    --------
    >>> tint_words(LightSetting(kelvin=2700, duv=-0.003))
    '2700 K, Duv -0.003'
    """
    tint = setting.tint
    match tint:
        case Untinted():
            return ""
        case InKelvin(kelvin, duv):
            return _kelvin_words(kelvin, duv)
        case MiredShift(mired):
            return f"{mired:+g} mired"
        case AtXy((x, y)):
            return f"xy {x:g}, {y:g}"
        case PlainRgb(factors):
            return "RGB x " + ", ".join(f"{factor:g}" for factor in factors)
        case LampClassTint(name):
            return f"{name} K class"
        case HexTint(text):
            return text
        case _:
            assert_never(tint)


def _kelvin_words(kelvin: float, duv: float | None) -> str:
    return f"{kelvin:g} K, Duv {duv:+g}" if duv else f"{kelvin:g} K"


def rendered_words(rendered: Rendered) -> str:
    """Say how a light was or is to be rendered; empty where nothing is known.

    Examples
    --------
    >>> rendered_words(Rendered(kelvin=3000, candela=1600))
    '3000 K, 1600 cd'
    """
    said = []
    if rendered.kelvin is not None:
        said.append(_kelvin_words(rendered.kelvin, rendered.duv))
    if rendered.xy is not None:
        said.append(f"xy {rendered.xy[0]:g}, {rendered.xy[1]:g}")
    if rendered.lumens is not None:
        said.append(f"{rendered.lumens:g} lm")
    if rendered.candela is not None:
        said.append(f"{rendered.candela:g} cd")
    if rendered.sun_altitude_degrees is not None:
        said.append(f"sun at {rendered.sun_altitude_degrees:g} degrees")
    return ", ".join(said)


def setting_words(setting: LightSetting, light: str = "it") -> str:
    """Say gain and tint in one; 'as rendered' when a setting changes nothing.

    Examples
    --------
    >>> setting_words(LightSetting(stops="+1 1/3", kelvin=2700))
    '+1 1/3 stops, 2700 K'
    """
    gain = gain_words(setting, light)
    tint = "" if setting.off else tint_words(setting)
    return ", ".join(part for part in (gain, tint) if part) or "as rendered"
