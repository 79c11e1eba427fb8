"""Settings as they are said in a sentence: "2 stops down", "off", "at 2700 K"."""

from __future__ import annotations

from typing import assert_never

from evenfall.recipe.gains import (
    AsRendered,
    Candela,
    Counted,
    Factor,
    InStops,
    Lumens,
    Match,
    Off,
    Watts,
)
from evenfall.recipe.lights import LightSetting
from evenfall.recipe.words.wording import counted_words, lamp_words, stops_words, tint_words

__all__ = ["gain_prose", "kelvin_prose", "name_prose", "size_prose", "stops_prose", "tint_prose"]

_NARROW_SPACE = "\u202f"


def size_prose(stops: float) -> str:
    """Say how many stops, whichever way; hundredths only where there are some.

    Examples
    --------
    >>> size_prose(-0.9), size_prose(4 / 3), size_prose(0)
    ('0.9', '1 1/3', '0')
    """
    size = stops_words(abs(stops)).removeprefix("+")
    return size.rstrip("0") if "." in size else size


def stops_prose(stops: float, *, nothing: str = "as rendered") -> str:
    """Say stops with their way.

    Examples
    --------
    >>> stops_prose(-2), stops_prose(1 / 3), stops_prose(1), stops_prose(0)
    ('2 stops down', '1/3 up', '1 stop up', 'as rendered')
    """
    size = size_prose(stops)
    if size == "0":
        return nothing
    unit = "" if abs(stops) < 0.999 else " stop" if size == "1" else " stops"
    return f"{size}{unit} {'down' if stops < 0 else 'up'}"


def kelvin_prose(kelvin: float) -> str:
    """Say a colour temperature; five digits are set apart.

    Examples
    --------
    >>> kelvin_prose(2700), kelvin_prose(10000).replace(chr(0x202F), " ")
    ('2700 K', '10 000 K')
    """
    whole = f"{kelvin:.0f}"
    if len(whole) > 4:
        whole = f"{int(whole):,}".replace(",", _NARROW_SPACE)
    return f"{whole} K"


def gain_prose(setting: LightSetting) -> str:
    """Say how strong a light is.

    Examples
    --------
    >>> gain_prose(LightSetting(stops=-2)), gain_prose(LightSetting(lumens=1200))
    ('2 stops down', '1200 lm')
    >>> gain_prose(LightSetting(match={"to": "sun", "ratio": "3:1"})), gain_prose(LightSetting())
    ('at 3:1 from the sun', 'as rendered')
    """
    if setting.counted is not None:
        return counted_words(setting.counted)
    gain = setting.gain
    match gain:
        case AsRendered() | Counted():
            return "as rendered"
        case Off():
            return "off"
        case InStops(stops):
            return stops_prose(stops)
        case Factor(factor):
            return f"times {factor:g}"
        case Lumens() | Watts() | Candela():
            return lamp_words(gain)
        case Match():
            return f"at {gain.ratio} from the {name_prose(gain.to)}"
        case _:
            assert_never(gain)


def tint_prose(setting: LightSetting) -> str:
    """Say what colour a light is given; empty for as rendered.

    Examples
    --------
    >>> tint_prose(LightSetting(kelvin=2700)), tint_prose(LightSetting(mired_shift=20))
    ('2700 K', '20 mired warmer')
    """
    if setting.kelvin is not None and not setting.duv:
        return kelvin_prose(setting.kelvin)
    shift = setting.mired_shift
    if shift is not None:
        return f"{abs(shift):g} mired {'cooler' if shift < 0 else 'warmer'}" if shift else ""
    return tint_words(setting)


def name_prose(name: str) -> str:
    """Write the name of a light as it stands within a sentence; shouted initials stay.

    Examples
    --------
    >>> name_prose("Floor lamp"), name_prose("shelf_strip"), name_prose("LED strip")
    ('floor lamp', 'shelf strip', 'LED strip')
    """
    plain = " ".join(name.replace("_", " ").split())
    begins = plain[:2]
    return plain if begins != begins.capitalize() else plain[:1].lower() + plain[1:]
