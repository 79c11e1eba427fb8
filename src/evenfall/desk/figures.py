"""Figures of a brief: what each says, whom it is for, and by what it turns."""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal, assert_never

from evenfall.change.dials import Dial

__all__ = [
    "Figure",
    "Kind",
    "Size",
    "turned",
    "turned_kelvin",
    "turned_ratio",
    "turned_share",
    "turned_stops",
]

Kind = Literal[
    "gain", "off", "ratio", "kelvin", "shift", "colour", "stops", "white", "number", "aim"
]
"""What a figure says: how strong a light is, or that it is off, or in a ratio; its temperature, or
a shift of it, or another colour; the exposure; the white balance; a number of the look; or what an
area of the picture should be."""

Size = Literal["tenth", "third", "stop"]
"""How far one turn goes: a tenth, a third, or a whole stop, and what answers to them elsewhere."""

_STOPS: dict[Size, Fraction] = {
    "tenth": Fraction(1, 10),
    "third": Fraction(1, 3),
    "stop": Fraction(1),
}
_MIREDS: dict[Size, int] = {"tenth": 2, "third": 8, "stop": 25}
_WARMEST, _COLDEST = 1000, 25_000
_PARTS: dict[Size, float] = {"tenth": 0.01, "third": 0.05, "stop": 0.2}
_PER_CENT: dict[Size, float] = {"tenth": 0.1, "third": 0.5, "stop": 2.0}
_LARGEST_RATIO = 1000.0


@dataclass(frozen=True)
class Figure:
    """One figure in a sentence.

    Parameters
    ----------
    key : str
        Tells it from others of the mood, whatever it says.
    kind : str
        What it says.
    text : str
        As it stands in the sentence.
    label : str
        What a screen reader calls it: ``"Sky, strength"``.
    subjects : tuple of str
        Names by which `change` knows what it is for.
    lights : tuple of str
        Lights that it governs; none for the camera and the look.
    value : float
        Number behind it, in its unit; 0 where there is none.
    source : str
        Mood that it is taken from, or "the recipe"; empty where it is the mood's own.
    dial : Dial or None
        Of a figure of the camera or the look.
    area : tuple of float
        Of an aim's rectangle: left, top, right and bottom as shares of the picture.
    """

    key: str
    kind: Kind
    text: str
    label: str
    subjects: tuple[str, ...]
    lights: tuple[str, ...] = ()
    value: float = 0.0
    source: str = ""
    dial: Dial | None = None
    area: tuple[float, ...] = ()


def turned(figure: Figure, size: Size, count: int) -> list[str]:
    """Say what a turn of a figure is, in the words of `change`; nothing where it cannot turn.

    Parameters
    ----------
    figure : Figure
        What is turned.
    size : str
        How far one turn goes.
    count : int
        How many; below 0 is down, and towards lower temperatures.

    Examples
    --------
    >>> sky = Figure("gain:sky", "gain", "2 stops down", "Sky, strength", ("sky",), ("sky",), -2.0)
    >>> turned(sky, "third", -2), turned(sky, "tenth", 3)
    (['sky down 2/3'], ['sky up 0.3'])
    >>> turned(Figure("tint:sky", "kelvin", "2700 K", "", ("sky",), ("sky",), 2700.0), "third", 1)
    ['sky 2750 K']
    """
    command = _command(figure, size, count)
    return [f"{subject} {command}" for subject in figure.subjects] if command else []


def _command(figure: Figure, size: Size, count: int) -> str:
    if count == 0:
        return ""
    match figure.kind:
        case "off":
            return "on" if count > 0 else ""
        case "gain" | "ratio" | "stops":
            return f"{'down' if count < 0 else 'up'} {_stops(abs(count) * _STOPS[size])}"
        case "kelvin" | "white":
            return f"{turned_kelvin(figure.value, size, count)} K"
        case "shift" | "colour":
            return f"{'cooler' if count > 0 else 'warmer'} {abs(count) * _MIREDS[size]}"
        case "number":
            return f"= {_number(figure.value, size, count)}"
        case "aim":
            return ""  # no phrase: what it turns to is put into the aim
        case _:
            assert_never(figure.kind)


def turned_stops(stops: float, size: Size, count: int) -> float:
    """Go some steps from a number of stops.

    Examples
    --------
    >>> turned_stops(-1.25, "third", 1), turned_stops(-1.0, "tenth", -2)
    (-0.92, -1.2)
    """
    return round(stops + float(count * _STOPS[size]), 2)


def turned_ratio(ratio: float, size: Size, count: int) -> float:
    """Go some steps from a ratio of light: a stop doubles it.

    Thirds go along the preferred numbers R10 of ISO 3 as lighting has them, doubled: 1, 1.25, 1.6,
    2, 2.5, 3.2, 4, 5, 6.4, 8. A ratio below 1 is one the other way round.

    Examples
    --------
    >>> turned_ratio(4.0, "third", 1), turned_ratio(4.0, "third", -2), turned_ratio(3.0, "stop", 1)
    (5.0, 2.5, 6.0)
    >>> turned_ratio(3.0, "third", 1), turned_ratio(1.0, "third", -1), turned_ratio(2.0, "tenth", 1)
    (3.2, 0.8, 2.14)
    """
    if size != "third":
        return _held_ratio(float(f"{ratio * 2.0 ** float(count * _STOPS[size]):.3g}"))
    way = 1 if count > 0 else -1
    near = round(3 * math.log2(ratio)) + way
    while (_ratio_of(near - way) - ratio) * way > 1e-3 * ratio:  # the next that lies that way
        near -= way
    return _held_ratio(_ratio_of(near + count - way))


def _ratio_of(thirds: int) -> float:
    """Give the ratio that is so many thirds of a stop, in round numbers."""
    if thirds < 0:
        return 1 / _ratio_of(-thirds)
    doublings, rest = divmod(thirds, 3)
    return float((1.0, 1.25, 1.6)[rest] * 2**doublings)


def _held_ratio(ratio: float) -> float:
    return min(max(ratio, 1 / _LARGEST_RATIO), _LARGEST_RATIO)


def turned_share(share: float, size: Size, count: int) -> float:
    """Go some steps from a share: by half per cents, tenths of one, or two.

    Examples
    --------
    >>> turned_share(0.03, "third", 1), turned_share(0.03, "tenth", -1)
    (0.035, 0.029)
    """
    return round(min(max(share + count * _PER_CENT[size] / 100, 0.0), 1.0), 4)


def _stops(size: Fraction) -> str:
    if size.denominator > 3:
        return f"{float(size):g}"
    whole, rest = divmod(size, 1)
    fraction = f"{rest.numerator}/{rest.denominator}" if rest else ""
    return " ".join(part for part in (str(whole) if whole else "", fraction) if part)


def turned_kelvin(kelvin: float, size: Size, count: int) -> int:
    """Go some steps along a scale whose steps look about alike, and are round figures.

    Examples
    --------
    >>> turned_kelvin(2700, "third", 1), turned_kelvin(6500, "stop", -1)
    (2750, 6000)
    """
    for _ in range(abs(count)):
        step = _round_step(kelvin * kelvin * _MIREDS[size] / 1e6)
        up = math.floor(kelvin / step + 1e-6) + 1
        down = math.ceil(kelvin / step - 1e-6) - 1
        kelvin = step * (up if count > 0 else down)
    return round(min(max(kelvin, _WARMEST), _COLDEST))


def _round_step(step: float) -> float:
    """Bring a step to 1, 2 or 5 times a power of ten, and to no less than 10."""
    power = 10.0 ** math.floor(math.log10(max(step, 1.0)))
    nearest = min((1, 2, 5, 10), key=lambda times: abs(math.log(step / (times * power))))
    return max(10.0, nearest * power)


def _number(value: float, size: Size, count: int) -> str:
    """Go some steps along the decimals of a number, finer where it is small."""
    scale = 10.0 ** round(math.log10(value)) if value > 0 else 0.1
    step = _PARTS[size] * scale
    return f"{max(0.0, round(value / step + count) * step):.6g}"
