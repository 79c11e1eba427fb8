"""A handback written down: a table to read, CSV for a spreadsheet, JSON for a script."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import asdict
from textwrap import wrap

from evenfall.handback.lamps import Handback, HandbackLight
from evenfall.recipe.words.wording import stops_words

__all__ = ["as_csv", "as_json", "as_text", "lamp_words"]

_HEADINGS = ("light", "power", "stops", "lamp now", "R, G, B")
_GAP = "   "
_COLUMNS = (
    *("light", "title", "role", "prims", "power", "stops", "lumens", "candela", "watts"),
    *("kelvin", "duv", "red", "green", "blue"),
)


def as_text(handback: Handback, *, width: int = 76) -> str:
    """Write a table, a lamp schedule, and the caution.

    Parameters
    ----------
    handback : Handback
    width : int
        Of the caution, in characters; the table is as wide as its longest words.

    Examples
    --------
    >>> from evenfall.handback.lamps import HandbackLight
    >>> lamp = HandbackLight("pendants", "Pendants", "fixture", (), 2.25, (2.9, 2.2, 1.0), 1800.0,
    ...                      None, None, 2700.0, 0.0, 2700.0)
    >>> print(as_text(Handback("view.toml", "dusk", "Dusk", "BT.709", (lamp,))))
    Dusk, from view.toml
    <BLANKLINE>
    light      power    stops   lamp now          R, G, B
    Pendants   x 2.25   +1.17   1800 lm, 2700 K   2.900  2.200  1.000
    <BLANKLINE>
    Power, stops and R, G, B are relative to how the light was rendered; R, G,
    B hold power and colour together, in BT.709.
    These figures follow from a balance that was found by eye. Read from a
    picture: this is no lighting calculation. Stairs, escape routes and work
    places need a qualified lighting designer.
    """
    rows = [_HEADINGS, *(_row(light) for light in handback.lights)]
    widths = [max(len(row[column]) for row in rows) for column in range(len(_HEADINGS))]
    lines = [
        _GAP.join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
        for row in rows
    ]
    head = f"{handback.title}, from {handback.recipe}"
    about = (
        "Power, stops and R, G, B are relative to how the light was rendered; R, G, B hold power "
        f"and colour together, in {handback.space}."
    )
    notes = [*wrap(about, width), *wrap(handback.caution, width)]
    return "\n".join([head, "", *lines, "", *notes])


def lamp_words(light: HandbackLight) -> str:
    """Say what lamp a light comes to: '1800 lm, 2700 K'; empty when nothing is known of it.

    Examples
    --------
    >>> lamp_words(HandbackLight("spot", "Spot", "fixture", (), 1.0, (1.0, 1.0, 1.0), None, 2400.0,
    ...                          None, 3000.0, 0.0, None))
    '2400 cd, 3000 K'
    """
    figures = (
        (light.lumens, "lm"),
        (light.candela, "cd"),
        (light.watts, "W"),
        (light.kelvin, "K"),
    )
    return ", ".join(f"{_rounded(value)} {unit}" for value, unit in figures if value is not None)


def _rounded(figure: float) -> str:
    """Give three digits; more would claim what a balance by eye does not know."""
    return f"{float(f'{figure:.3g}'):.10g}"


def _row(light: HandbackLight) -> tuple[str, ...]:
    if not light.is_on:
        return (light.title, "off", "", "", "")
    stops = light.stops
    return (
        light.title,
        f"x {light.power:.3g}",
        "" if stops is None else stops_words(stops),
        lamp_words(light),
        "  ".join(f"{factor:.3f}" for factor in light.factors),
    )


def as_csv(handback: Handback) -> str:
    """Write a line for each light, figures rounded for people, after RFC 4180.

    Examples
    --------
    >>> as_csv(Handback("view.toml", "dusk", "Dusk", "BT.709", ())).splitlines()[0][:42]
    'light,title,role,prims,power,stops,lumens,'
    """
    stream = io.StringIO()
    rows = csv.writer(stream)
    rows.writerow(_COLUMNS)
    for light in handback.lights:
        rows.writerow(
            [_plain(light.name), _plain(light.title), light.role, " ".join(light.prims)]
            + [_digits(light.power), _decimals(light.stops, 3)]
            + [_digits(figure) for figure in (light.lumens, light.candela, light.watts)]
            + [_decimals(light.kelvin, 0), _decimals(light.duv, 4)]
            + [_digits(factor) for factor in light.factors]
        )
    return stream.getvalue()


def _digits(figure: float | None) -> str:
    return "" if figure is None else f"{figure:.6g}"


def _decimals(figure: float | None, number: int) -> str:
    return "" if figure is None else f"{round(figure, number) + 0.0:.{number}f}"


def _plain(text: str) -> str:
    """Keep a spreadsheet from taking a name for a formula."""
    return f"'{text}" if text[:1] in ("=", "+", "-", "@", "\t", "\r") else text


def as_json(handback: Handback) -> str:
    """Write everything that is known, figures unrounded."""
    values = asdict(handback)
    for light, said in zip(handback.lights, values["lights"], strict=True):
        said["stops"] = light.stops
    return json.dumps(values, indent=2, ensure_ascii=False)
