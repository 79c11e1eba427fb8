"""First balances: day, dusk and night worked out from what the lights of a view look like.

What is sought is lightness on the display, as finished pictures have it. Bands of the median CIE L*
of the picture, without the window or open sky (common practice, judged on pictures of rooms and
houses):

==========  ===========  ==========================================================
mood        median L*    and
==========  ===========  ==========================================================
day         50 to 66     nothing burnt but lamps and what is seen of the sky
dusk        34 to 46     lamps over daylight, the window blue and well below white
night       14 to 32     pools of light, a trace of sky
==========  ===========  ==========================================================

Lamps keep one strength from day to night: by day they are seen to be lit and add little, at dusk
the camera opens and the sky goes down. Where they would burn what they light, the camera opens
less, and the sky lifts what is then too dark. Where there is no daylight, the lamp that lights most
gives way to the others.

Every rule is a demand of the one solver (`solving`): a lightness that a part of the picture is to
have in its middle, or at least; a share of it that may burn; a share of the light that lamps have.
Where rules cannot all be kept, those with more weight go first.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from evenfall.camera.sources import LAMP, SKY, shining, widened
from evenfall.solve.balanced import Balanced, Cast, Solved
from evenfall.solve.problem import Moves, Ratio
from evenfall.solve.solving import solve
from evenfall.solve.stage import Rgb, Rule, Shown, Stage, burns

__all__ = ["WHITE_SHARE", "solve_day", "solve_first_balance"]

Mask = npt.NDArray[np.bool_]

_LAMPS_BY_DAY = 0.07  # of the light of the picture, lamps themselves left out
WHITE_SHARE = 0.03
"""Share of the picture of a day that may be white, window and open sky with it."""

_SKY_AT = 0.75  # quantile of the window at which its lightness is judged: sky, not ground
_BURNT = 0.01  # share of the picture
_SMALLEST_SKY = 0.004  # share of the picture
_WINDOW_TIMES = 4.0
"""What is seen of the sky, to the middle of what it lights.

Under the open sky, light that falls from it on a grey of 25 % is four times weaker than the sky
itself, and in a room it is far weaker. Where no window is in view, the brightest part of the pass
was twice as bright as the middle (two path-traced rooms); where one is, or the open sky, 6.6 to 60
times (six others).
"""

_LEAST_FALL = 1.0  # stops that daylight goes down, from day to dusk and from there to night
_RANGE_STOPS = 14.0
_CHARGE = 1e-4
_ROUNDS, _SETTLED = 6, 0.02
_STEP = 1 / 3
_MOST_OF_NIGHT = 3.0  # stops that the sky goes down from dusk
_GENERAL = 0.3  # share of the lamps' light, of a lamp that lights most

_LEAST, _BURNS, _VIEW, _WHITE, _SKY = 1000.0, 100.0, 30.0, 10.0, 3.0
"""Weights of rules against that of the lightness that is sought: what must be kept goes first."""

_LIFTED = 30.0
"""Weight of the least lightness of an evening, which the sky may lift as far as burning allows."""


@dataclass(frozen=True)
class _Aim:
    """What a mood is to show.

    Parameters
    ----------
    median : float
        CIE L* that is sought.
    least : float
        The least, where more would burn.
    view : float
        The least for the sake of what is seen of the sky by day.
    sky, most_sky : float
        CIE L* of the window or open sky, and the most to which it may lift what is too dark.
    """

    median: float
    least: float
    view: float = 0.0
    sky: float = 0.0
    most_sky: float = 0.0


_DAY = _Aim(median=60.0, least=50.0, view=55.0)
_DUSK = _Aim(median=42.0, least=34.0, sky=52.0, most_sky=58.0)
_NIGHT = _Aim(median=27.0, least=14.0, sky=17.0, most_sky=22.0)


def solve_first_balance(
    stage: Stage,
    cast: Cast,
    tints: Mapping[str, Rgb] | None = None,
    evening_white_kelvin: float | None = None,
    white_kelvin: float | None = None,
) -> Solved:
    """Find gains and exposures for day, dusk and night.

    Parameters
    ----------
    stage : Stage
        The view; some light shines in it.
    cast : Cast
        Which light plays what; every light once.
    tints : mapping of str to (float, float, float), optional
        Factors by which lights change their colour after sunset.
    evening_white_kelvin : float or None
        White balance of the camera after sunset, if it has one of its own there.
    white_kelvin : float or None
        White balance of the camera.

    Examples
    --------
    >>> from evenfall.light.primaries import BT709
    >>> from evenfall.recipe import Look
    >>> sky = np.where(np.mgrid[0:40, 0:60][1] > 40, 2.0, 0.2) * np.ones((3, 1, 1))
    >>> lamp = np.exp(-np.mgrid[0:40, 0:60][1] / 20) * np.array([0.3, 0.2, 0.1])[:, None, None]
    >>> stage = Stage({"sky": sky, "lamp": lamp}, BT709, Look())
    >>> solved = solve_first_balance(stage, Cast(sky=("sky",), lamps=("lamp",)))
    >>> solved.day.median > solved.dusk.median > solved.night.median
    True
    """
    return _Search(stage, cast, tints or {}, evening_white_kelvin, white_kelvin).solve()


def solve_day(stage: Stage, cast: Cast, white_kelvin: float | None = None) -> Balanced:
    """Find the balance of the day alone, as bright as without a window or open sky in view."""
    return _Search(stage, cast, {}, None, white_kelvin).day(gives_way=False)


class _Search:
    """The dials of a view, and what turning them shows."""

    def __init__(
        self,
        stage: Stage,
        cast: Cast,
        tints: Mapping[str, Rgb],
        evening_white: float | None,
        white: float | None,
    ) -> None:
        self.stage, self.cast, self.tints = stage, cast, tints
        self.white, self.evening_white = white, evening_white or white
        lamps = (*cast.lamps, *cast.outdoor, *cast.key_lamps)
        self.lamps = lamps
        light = stage.luminance(dict.fromkeys(lamps))
        self.emitters = widened(shining(light, LAMP, light), 1)
        self.window = self._window()
        self.inside: Mask = stage.lit & ~self.window
        self.judged: Mask = stage.lit & ~self.emitters

    def _window(self) -> Mask:
        """Where the sky, or what it lights outside, is seen: much brighter than what it lights."""
        lit = self.stage.lit
        sky = self.stage.luminance(dict.fromkeys(self.cast.sky or self.cast.sun))
        seen = shining(sky, SKY, sky[lit])
        if not self.cast.sky or not _SMALLEST_SKY < seen.mean() < 1 - _SMALLEST_SKY:
            return np.zeros_like(seen)
        window, other = seen & lit, ~seen & lit
        if not window.any() or not other.any():  # it lies where nothing is, or is all there is
            return np.zeros_like(seen)
        stands_out = np.median(sky[window]) > _WINDOW_TIMES * np.median(sky[other])
        return window if stands_out else np.zeros_like(seen)

    def solve(self) -> Solved:
        day = self.day()
        dusk = self._after_sunset(day, _DUSK, general_stops=-1.0)
        night = self._after_sunset(dusk, _NIGHT, general_stops=None)
        return Solved(day, dusk, night)

    # Day

    def day(self, *, gives_way: bool = True) -> Balanced:
        cast = self.cast
        stops = dict.fromkeys((*cast.daylight, *cast.fill, *cast.key_lamps), 0.0)
        stops |= dict.fromkeys(cast.lamps, self._lamp_stops_by_day())
        if not cast.daylight:
            stops |= dict.fromkeys(cast.outdoor, 0.0)
        seen = self.judged & ~self.window
        rules = [
            Rule(self.inside, 0.5, _DAY.median, "just", 1.0),
            Rule(self.inside, 0.5, _DAY.least, "at least", _LEAST),
            burns(seen, _BURNT, _BURNS),
        ]
        if gives_way:
            rules += [
                Rule(self.inside, 0.5, _DAY.view, "at least", _VIEW),
                burns(self.judged, WHITE_SHARE, _WHITE),
            ]
        exposure, _ = self._meet(stops, (), rules, after_sunset=False)
        return self._balanced(stops, exposure, after_sunset=False)

    def _lamp_stops_by_day(self) -> float:
        """Find the stops of all lamps that make them add a little to daylight."""
        cast = self.cast
        daylight = self._mean((*cast.daylight, *cast.fill)) if cast.daylight else 0.0
        lamps = self._mean((*cast.lamps, *cast.outdoor))
        if daylight <= 0 or lamps <= 0:
            return 0.0
        share = np.log2(_LAMPS_BY_DAY / (1 - _LAMPS_BY_DAY))
        return _thirds(_ratio_stops(lamps, daylight, float(share)))

    def _mean(self, lights: Sequence[str]) -> float:
        luminance = self.stage.luminance(dict.fromkeys(lights))
        where = self.inside & ~self.emitters
        return float(luminance[where].mean()) if where.any() else 0.0

    # Dusk and night

    def _after_sunset(self, before: Balanced, aim: _Aim, general_stops: float | None) -> Balanced:
        """Balance a mood without sun; the lamp that lights most steps back without daylight."""
        cast = self.cast
        stops = {light: each for light, each in before.stops.items() if light not in cast.sun}
        lamp_stops = next((before.stops[lamp] for lamp in cast.lamps if lamp in before.stops), 0.0)
        stops |= dict.fromkeys(cast.outdoor, lamp_stops)
        if general_stops is None:
            stops = {light: each for light, each in stops.items() if light not in cast.fill}
        if cast.sky and self.lamps and self.window.any():
            return self._with_sky(stops, aim)
        stops |= {lamp: stops[lamp] - 1.0 for lamp in cast.key_lamps}
        if cast.sky and self.lamps:
            stops = self._sky_below_lamps(stops, aim)
        general = None if cast.daylight or cast.key_lamps else self._general()
        if general is not None and general_stops is not None:
            stops[general] += general_stops
        elif general is not None:
            del stops[general]
        rules = [
            Rule(self.inside, 0.5, aim.median, "just", 1.0),
            Rule(self.inside, 0.5, aim.least, "at least", _LEAST),
            burns(self.judged, _BURNT, _BURNS),
        ]
        exposure, _ = self._meet(stops, (), rules, after_sunset=True)
        return self._balanced(stops, exposure, after_sunset=True)

    def _general(self) -> str | None:
        """Name the lamp that lights most of a view without daylight; None where there is none."""
        means = {lamp: self._mean((lamp,)) for lamp in (*self.cast.lamps, *self.cast.outdoor)}
        most = max(means, key=lambda lamp: means[lamp], default=None)
        if most is None or len(means) < 2 or means[most] < _GENERAL * sum(means.values()):
            return None
        return most

    def _sky_below_lamps(self, stops: dict[str, float], aim: _Aim) -> dict[str, float]:
        """Bring a sky that is not seen to a share of the lamps' light."""
        sky, lamps = self._mean(self.cast.sky), self._mean(self.lamps)
        lamp_stops = max((stops[lamp] for lamp in self.lamps if lamp in stops), default=0.0)
        if sky <= 0 or lamps <= 0:
            return stops
        below = 1.0 if aim is _DUSK else 4.0
        sky_stops = lamp_stops + _ratio_stops(sky, lamps, -below)
        return stops | self._fallen(stops, sky_stops)

    def _fallen(self, stops: Mapping[str, float], sky_stops: float) -> dict[str, float]:
        """Bring daylight to some stops, below those that it had at least."""
        dimmed = self._dimmed(stops)
        most = max(stops[one] for one in dimmed) - _LEAST_FALL
        return dict.fromkeys(dimmed, _thirds(min(sky_stops, most)))

    def _dimmed(self, stops: Mapping[str, float]) -> tuple[str, ...]:
        """Lights that go down with daylight."""
        return (*self.cast.sky, *(light for light in self.cast.fill if light in stops))

    def _with_sky(self, stops: dict[str, float], aim: _Aim) -> Balanced:
        """Turn the camera for what lamps light, and the sky for the window."""
        window = [
            Rule(self.window, _SKY_AT, aim.sky, "just", _SKY),
            Rule(self.window, _SKY_AT, aim.most_sky, "at most", _LEAST),
        ]
        room = [
            Rule(self.inside, 0.5, aim.median, "just", 1.0),
            Rule(self.inside, 0.5, aim.least, "at least", _LIFTED),
            burns(self.judged, _BURNT, _LEAST),
        ]
        dimmed = self._dimmed(stops)
        _, sky_stops = self._meet(stops, dimmed, [*window, *room], after_sunset=True)
        if aim is _NIGHT:  # also where it is lamps that the window shows
            sky_stops = max(sky_stops, max(stops[one] for one in dimmed) - _MOST_OF_NIGHT)
        stops = stops | self._fallen(stops, sky_stops)
        exposure, _ = self._meet(stops, (), room, after_sunset=True)
        return self._balanced(stops, exposure, after_sunset=True)

    # What both share

    def _meet(
        self,
        stops: Mapping[str, float],
        turned: Sequence[str],
        rules: Sequence[Rule],
        *,
        after_sunset: bool,
    ) -> tuple[float, float]:
        """Find the exposure, and the stops of lights that are turned together, by some rules.

        How far pixels are from what rules ask is looked up in the picture as it comes out, until
        that moves no more.
        """
        exposure, common = self._start(stops), max((stops[one] for one in turned), default=0.0)
        white = self.evening_white if after_sunset else self.white
        if not stops:  # nothing is on
            return exposure, common
        for _ in range(_ROUNDS):
            now = {**stops, **dict.fromkeys(turned, common)}
            problem = self.stage.problem(
                self._gains(now, after_sunset=after_sunset), turned, exposure, white, _RANGE_STOPS
            )
            demands = [problem.demand(rule) for rule in rules if rule.where.any()]
            unknowns = solve(demands, problem.moves(_CHARGE)).unknowns
            exposure += float(unknowns[0])
            common += float(unknowns[1]) if turned else 0.0
            if float(np.abs(unknowns).max()) < _SETTLED:
                break
        return exposure, common

    def _start(self, stops: Mapping[str, float]) -> float:
        """Exposure that brings the mean of the lights that are on to middle grey, about."""
        mean = sum(self._mean((light,)) * 2.0**each for light, each in stops.items())
        return float(np.log2(0.18 / mean)) if mean > 0 else 0.0

    def _show(
        self, stops: Mapping[str, float], exposure_stops: float, *, after_sunset: bool
    ) -> Shown:
        white = self.evening_white if after_sunset else self.white
        gains = self._gains(stops, after_sunset=after_sunset)
        return self.stage.show(gains, 2.0**exposure_stops, white)

    def _gains(self, stops: Mapping[str, float], *, after_sunset: bool) -> dict[str, Rgb]:
        tints = self.tints if after_sunset else {}
        gains: dict[str, Rgb] = {}
        for light, each in stops.items():
            red, green, blue = tints.get(light, (1.0, 1.0, 1.0))
            gain = 2.0**each
            gains[light] = (gain * red, gain * green, gain * blue)
        return gains

    def _balanced(
        self, stops: Mapping[str, float], exposure_stops: float, *, after_sunset: bool
    ) -> Balanced:
        shown = self._show(stops, exposure_stops, after_sunset=after_sunset)
        judged = self.judged
        sky = shown.quantile(self.window, _SKY_AT) if self.window.any() else None
        white = float(np.mean(shown.burnt & judged))
        burnt = white if after_sunset else float(np.mean(shown.burnt & judged & ~self.window))
        return Balanced(exposure_stops, dict(stops), shown.median(self.inside), sky, burnt, white)


def _ratio_stops(light: float, other: float, wanted: float) -> float:
    """Find the stops of a light that bring it to a ratio, in stops, to another."""
    moves = Moves(
        factors=np.ones((2, 1)),
        ways=np.array([[[1.0]], [[0.0]]]),
        low=np.full(1, -2 * _RANGE_STOPS),
        high=np.full(1, 2 * _RANGE_STOPS),
        charge=np.full(1, _CHARGE),
        exposure=np.zeros(1),
    )
    own, against = np.array([[light], [0.0]]), np.array([[0.0], [other]])
    return float(solve([Ratio(1.0, own, against, wanted)], moves).unknowns[0])


def _thirds(stops: float) -> float:
    return round(stops / _STEP) * _STEP
