"""`evenfall daylight`: sun and sky by altitude or by the hour, as gains and tints."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

import click

from evenfall.cli.saying import say
from evenfall.errors import UsageError

if TYPE_CHECKING:
    from evenfall.light.daylight import DaylightState, SkyState

__all__ = ["command"]

_ALTITUDES = (60.0, 45.0, 30.0, 20.0, 10.0, 6.0, 3.0, 0.0, -2.0, -4.0, -6.0, -9.0, -12.0, -18.0)
_EVENTS = (
    (-6.0, "civil dawn", "civil dusk"),
    (-0.833, "sunrise", "sunset"),
    (6.0, "low sun ends", "low sun begins"),
)
_CAUTION = (
    "From models of the sky, to start a picture from. Real skies differ; this is no\n"
    "daylight calculation for a building."
)
_NEGATIVE = re.compile(r"-\d+(\.\d*)?|-\.\d+")
_EXAMPLE_TIME = "2026-06-21T21:30:00+02:00"
_HEADINGS = (
    ("", "sun", "sun", "sky", "both", "sun", "sky", "sun", "sky", ""),
    ("", "deg", "lx", "lx", "EV", "K", "K", "stops", "stops", ""),
)
_GAPS = (2, 2, 2, 2, 2, 1, 2, 1, 2)  # after each column but the last; 79 characters in all


@dataclass(frozen=True)
class _Place:
    latitude: float
    longitude: float
    time: datetime


class _AltitudeCommand(click.Command):
    """A command whose argument may be a negative number, which click would take for an option."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        after_option = [False, *(arg.startswith("--") and "=" not in arg for arg in args)]
        numbers = [
            arg
            for arg, is_value in zip(args, after_option, strict=False)
            if _NEGATIVE.fullmatch(arg) and not is_value
        ]
        others = [arg for arg in args if arg not in numbers]
        return super().parse_args(ctx, [*others, "--", *numbers] if numbers else args)


@click.command(cls=_AltitudeCommand)
@click.argument("altitude", type=click.FloatRange(-90, 90), required=False)
@click.option("--place", metavar="LAT,LON", help="Degrees, north and east positive: 48.21,16.37.")
@click.option("--time", "moment", metavar="TIME", help=f"With offset: {_EXAMPLE_TIME}.")
@click.option(
    "--state",
    type=click.Choice(["clear", "hazy", "overcast"]),
    default="clear",
    show_default=True,
    help="State of the sky.",
)
@click.option(
    "--rendered",
    type=click.FloatRange(-90, 90),
    default=45.0,
    show_default=True,
    help="Sun altitude for which sun and sky were rendered (clear sky); stops count from it.",
)
def command(
    altitude: float | None, place: str | None, moment: str | None, state: str, rendered: float
) -> None:
    """Show sun and sky by the hour, as gains and tints.

    ALTITUDE is that of the sun's centre in degrees, negative below the horizon. Without it and
    without a place, you get the whole day by altitude. EV is that of an incident reading on the
    ground at ISO 100; stops are relative to the altitude that was rendered.

    \b
      evenfall daylight -4
      evenfall daylight --place 48.21,16.37 --time 2026-06-21T21:30:00+02:00
    """  # noqa: D301 -- click needs the backspace itself
    from evenfall.light.daylight import SKY_STATES, daylight_state

    if altitude is not None and (place or moment):
        raise UsageError("say either an altitude, or --place and --time")
    reference = daylight_state(rendered)
    if reference.sun_normal_lux <= 0:
        raise UsageError(f"--rendered {rendered:g}: a sun below the horizon gives no light")
    sky: SkyState = next(name for name in SKY_STATES if name == state)
    if place or moment:
        _show_place(_read_place(place, moment), sky, reference)
    elif altitude is None:
        _show_rows([("", daylight_state(h, sky)) for h in _ALTITUDES], reference)
    else:
        _show_rows([("", daylight_state(altitude, sky))], reference)
        _show_recipe(f"sun_altitude_degrees = {altitude:g}", state)
    say(
        "\nThe sun's lx are facing it, the sky's on level ground. EV is that of both on\n"
        f"the ground at ISO 100. Stops count from the sun at {rendered:g} degrees in a clear sky."
    )
    say(_CAUTION)


def _read_place(place: str | None, moment: str | None) -> _Place:
    if not place or not moment:
        raise UsageError("--place and --time go together")
    try:
        latitude, longitude = (float(part) for part in place.split(","))
    except ValueError:
        latitude, longitude = 999.0, 999.0
    if abs(latitude) > 90 or abs(longitude) > 180:
        raise UsageError(
            f"--place {place}: expected latitude and longitude in degrees, such as 48.21,16.37"
        )
    try:
        time = datetime.fromisoformat(moment)
    except ValueError:
        time = datetime.min
    if time.tzinfo is None:
        raise UsageError(
            f"--time {moment}: expected date, time and offset from UTC, such as {_EXAMPLE_TIME}"
        )
    return _Place(latitude, longitude, time)


def _show_place(place: _Place, sky: SkyState, reference: DaylightState) -> None:
    """Show the moment asked for, and the day around it by the hour."""
    from evenfall.light.daylight import daylight_state
    from evenfall.light.sun import sun_position

    def state_at(time: datetime) -> DaylightState:
        position = sun_position(place.latitude, place.longitude, time)
        return daylight_state(position.altitude_degrees, sky)

    position = sun_position(place.latitude, place.longitude, place.time)
    say(
        f"Sun at {position.altitude_degrees:z.1f} degrees "
        f"(seen at {position.apparent_altitude_degrees:z.1f}), "
        f"azimuth {position.azimuth_degrees:.1f} clockwise from north.\n"
    )
    _show_rows([(f"{place.time:%H:%M}", state_at(place.time))], reference)
    _show_recipe(
        f"latitude = {place.latitude:g}\nlongitude = {place.longitude:g}\n"
        f'time = "{place.time.isoformat()}"',
        sky,
    )
    say(f"\n{place.time:%A %d %B %Y}, by the hour:\n")
    rows = sorted([*_hours(place), *_events(place)])
    _show_rows(
        [(f"{time:%H:%M} {event}".rstrip(), state_at(time)) for time, event in rows], reference
    )


def _hours(place: _Place) -> list[tuple[datetime, str]]:
    midnight = place.time.replace(hour=0, minute=0, second=0, microsecond=0)
    return [(midnight + timedelta(hours=hour), "") for hour in range(24)]


def _events(place: _Place) -> list[tuple[datetime, str]]:
    from evenfall.light.sun import crossings

    midnight, _ = _hours(place)[0]
    return [
        (time, rising if rises else falling)
        for altitude, rising, falling in _EVENTS
        for time, rises in crossings(place.latitude, place.longitude, midnight, altitude)
    ]


def _show_rows(rows: list[tuple[str, DaylightState]], reference: DaylightState) -> None:
    table = [*_HEADINGS, *(_cells(label, state, reference) for label, state in rows)]
    widths = [max(len(row[column]) for row in table) for column in range(len(_HEADINGS[0]))]
    for row in table:
        aligned = [cell.rjust(width) for cell, width in zip(row, widths, strict=True)]
        aligned[0], aligned[-1] = row[0].ljust(widths[0]), row[-1]
        gaps = [" " * gap for gap in _GAPS]
        if not widths[0]:
            aligned[:2], gaps = [row[1].ljust(widths[1])], gaps[1:]
        line = "".join(cell + gap for cell, gap in zip(aligned, [*gaps, ""], strict=True))
        say(line.rstrip())


def _cells(label: str, state: DaylightState, reference: DaylightState) -> tuple[str, ...]:
    from evenfall.light.units import ev100_from_illuminance

    sun_up = state.sun_normal_lux >= 0.5
    time, _, begins = label.partition(" ")
    return (
        time,
        f"{state.sun_altitude_degrees:z.1f}",
        _lux(state.sun_normal_lux) if sun_up else "-",
        _lux(state.sky_lux),
        f"{ev100_from_illuminance(state.ground_lux):.1f}",
        _kelvin(state.sun_kelvin) if sun_up else "-",
        _kelvin(state.sky_kelvin),
        _stops(state.sun_normal_lux, reference.sun_normal_lux) if sun_up else "off",
        _stops(state.sky_lux, reference.sky_lux),
        begins or (state.phase.replace("astronomical", "astron.") if time else state.phase),
    )


def _lux(lux: float) -> str:
    """Three significant digits, four decimals at most."""
    if lux >= 100:
        return f"{float(f'{lux:.3g}'):,.0f}"
    return f"{lux:.3g}" if lux >= 0.01 else f"{lux:.4f}"


def _kelvin(kelvin: float | None) -> str:
    return "-" if kelvin is None else f"{round(kelvin, -1 if kelvin < 5000 else -2):.0f}"


def _stops(lux: float, reference_lux: float) -> str:
    from evenfall.light.gain import stops_of

    text = f"{stops_of(lux / reference_lux):+.1f}"
    return "0.0" if float(text) == 0 else text


def _show_recipe(lines: str, state: str) -> None:
    sky = "" if state == "clear" else f'\nstate = "{state}"'
    say(f'\nIn a recipe:\n\n[moods.NAME.daylight]\nsun = "sun"\nsky = "sky"\n{lines}{sky}')
