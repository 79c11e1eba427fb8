"""Figures as a person would write them: thirds as text, few digits, in the spelling that stood."""

from __future__ import annotations

from fractions import Fraction

__all__ = ["number_value", "stops_value"]

_EXACT = 1e-6
_FINEST = 6  # thirds and halves, and what they add up to
_DIGITS = 4


def stops_value(stops: float, like: object = None) -> int | float | str:
    """Write stops for a recipe: whole ones and halves as numbers, thirds as text.

    Parameters
    ----------
    stops : float
        The value.
    like : object
        What stood there; text stays text, and keeps or leaves out its sign.

    Examples
    --------
    >>> stops_value(-2.0), stops_value(1 / 3), stops_value(-1.5, "-2"), stops_value(2 / 3, "1")
    (-2, '+1/3', '-1 1/2', '2/3')
    >>> stops_value(0.584962), stops_value(-1.8)
    (0.585, -1.8)
    """
    near = Fraction(stops).limit_denominator(_FINEST)
    plain = abs(stops - near) < _EXACT and _FINEST % near.denominator == 0
    is_text = isinstance(like, str) and like not in ("on", "off")
    if plain and (is_text or near.denominator not in (1, 2)):
        return _text(near, signed=not is_text or str(like).lstrip()[:1] in "+-")
    if plain:
        return near.numerator if near.denominator == 1 else float(near)
    return round(stops, _DIGITS)


def _text(stops: Fraction, *, signed: bool) -> str:
    whole, rest = divmod(abs(stops), 1)
    fraction = f"{rest.numerator}/{rest.denominator}" if rest else ""
    parts = [part for part in (str(whole) if whole or not rest else "", fraction) if part]
    sign = "-" if stops < 0 else "+" if signed and stops else ""
    return sign + " ".join(parts)


def step_value(stops: float) -> str:
    """Write a step from another mood.

    Examples
    --------
    >>> step_value(-1.5), step_value(1 / 3), step_value(0.585)
    ('down 1 1/2', 'up 1/3', 'up 0.585')
    """
    return f"{'down' if stops < 0 else 'up'} {stops_value(abs(stops), '0')}"


def number_value(value: float, like: object = None) -> int | float:
    """Write a number in four digits; a whole one as such, unless a decimal point stood there.

    Examples
    --------
    >>> number_value(1259.921), number_value(2.0), number_value(2.0, 1.0)
    (1260, 2, 2.0)
    """
    rounded = float(f"{value:.{_DIGITS}g}")
    if rounded.is_integer() and not isinstance(like, float):
        return int(rounded)
    return rounded
