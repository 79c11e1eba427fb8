"""Settings said in the words of the trade, for tables, sheets and reports."""

from __future__ import annotations

from fractions import Fraction

from evenfall.recipe.lights import Counted, LightSetting, Match

__all__ = [
    "counted_words",
    "gain_words",
    "percent_words",
    "setting_words",
    "step_words",
    "stops_words",
    "tint_words",
]

_NEAR_A_THIRD = 0.005


def stops_words(stops: float) -> str:
    """Write stops with a sign, in thirds and halves where they are such.

    Examples
    --------
    >>> stops_words(4 / 3), stops_words(-0.5), stops_words(0), stops_words(-2.15)
    ('+1 1/3', '-1/2', '0', '-2.15')
    """
    sign = "-" if stops < 0 else "+"
    size = abs(stops)
    if size < _NEAR_A_THIRD:
        return "0"
    near = Fraction(size).limit_denominator(3)
    if abs(size - near) > _NEAR_A_THIRD:
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
    parts = (_plain_gain_words(setting, light), counted_words(setting.counted))
    return ", ".join(part for part in parts if part)


def _plain_gain_words(setting: LightSetting, light: str) -> str:
    if setting.stops is not None:
        words = stops_words(setting.stops)
        return f"{words} {'stop' if 0 < abs(setting.stops) <= 1 else 'stops'}"
    if setting.match is not None:
        return _match_words(setting.match, light)
    if setting.watts is not None:
        return f"{setting.watts:g} W at {setting.lumens_per_watt:g} lm/W"
    if setting.factor is not None:
        return f"x {setting.factor:g}"
    if setting.lumens is not None:
        return f"{setting.lumens:g} lm"
    return "off" if setting.off else ""


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
    if setting.kelvin is not None:
        duv = f", Duv {setting.duv:+g}" if setting.duv else ""
        return f"{setting.kelvin:g} K{duv}"
    if setting.mired_shift is not None:
        return f"{setting.mired_shift:+g} mired"
    if setting.xy is not None:
        return f"xy {setting.xy[0]:g}, {setting.xy[1]:g}"
    if setting.rgb is not None:
        return "RGB x " + ", ".join(f"{factor:g}" for factor in setting.rgb)
    if setting.lamp_class is not None:
        return f"{setting.lamp_class} K class"
    return setting.hex or ""


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
