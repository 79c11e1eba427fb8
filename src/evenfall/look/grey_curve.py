"""What our curve makes of greys: a straight middle between two soft ends, middle grey held.

The curve is drawn over stops around 18 % grey, in the display's signal ``v = y^(1/2.4)`` (the
inverse of ITU-R BT.1886), where equal steps look about equal. Its middle is a straight line through
grey, whose slope is set so that the curve's log-log slope there is the contrast asked for. Both
ends are monotone rational quadratics (Gregory and Delbourgo 1982, "Piecewise rational quadratic
interpolation to monotonic data", IMA J. Numer. Anal. 2) that leave the line with its slope. The
upper one arrives at white with slope 0; the lower one arrives at black with a small one, which the
power of 2.4 makes 0 in light. So display light and its slope are continuous everywhere.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from evenfall.light.units import MIDDLE_GREY
from evenfall.look.arrays import Matrix
from evenfall.recipe.look import Evenfall

__all__ = ["SIGNAL_GAMMA", "GreyCurve"]

SIGNAL_GAMMA = 2.4
_FURTHEST_LINE = 0.95  # of the way to black or white, so that there is always room for a bend


@dataclass(frozen=True)
class _Bend:
    """A monotone rational quadratic from one point to another, with slopes at both ends."""

    start: float
    end: float
    start_value: float
    end_value: float
    start_slope: float
    end_slope: float

    def __call__(self, stops: Matrix) -> Matrix:
        width = self.end - self.start
        rise = self.end_value - self.start_value
        if rise <= 0.0:
            return np.full_like(stops, self.end_value)
        mean = rise / width
        share = np.clip((stops - self.start) / width, 0.0, 1.0)
        both = share * (1.0 - share)
        top = mean * share**2 + self.start_slope * both
        bottom = mean + (self.start_slope + self.end_slope - 2.0 * mean) * both
        values: Matrix = self.start_value + rise * top / bottom
        return values


def _reach(to_end_stops: float, end_stops: float) -> float:
    """How far from grey the line may go at most, in stops.

    To where it would reach black or white; but if that lies beyond the point that is to be black
    or white, the line ends the earlier, so that the steeper bend gets room.
    """
    nearly_all = _FURTHEST_LINE * end_stops
    if to_end_stops <= nearly_all:
        return to_end_stops
    return nearly_all * min(1.0, end_stops / to_end_stops) ** 2


class GreyCurve:
    """What the greys of a scene become: our curve, as a recipe sets it.

    Parameters
    ----------
    settings : Evenfall
        Contrast, the scene's range, and how softly it ends.
    peak : float
        Display-linear value of white: 1, or more for a display with headroom. White then lies
        log2(peak) stops higher in the scene, and everything up to grey stays as it is.

    Attributes
    ----------
    black_stops, white_stops : float
        Where the scene is black and white, in stops from middle grey.
    soft_below_stops, soft_above_stops : float
        Where the straight middle begins and ends.

    Examples
    --------
    >>> curve = GreyCurve(Evenfall())
    >>> curve(np.array([0.0, 0.18, 0.18 * 2.0**5])).round(6).tolist()
    [0.0, 0.18, 1.0]
    """

    def __init__(self, settings: Evenfall, peak: float = 1.0) -> None:
        grey_signal = MIDDLE_GREY ** (1 / SIGNAL_GAMMA)
        peak_signal = peak ** (1 / SIGNAL_GAMMA)
        self.black_stops = -settings.shadow_stops
        self.white_stops = settings.highlight_stops + float(np.log2(peak))
        self.slope = settings.contrast * float(np.log(2.0)) * grey_signal / SIGNAL_GAMMA
        self._grey_signal = grey_signal
        reach_down = _reach(grey_signal / self.slope, -self.black_stops)
        reach_up = _reach((peak_signal - grey_signal) / self.slope, self.white_stops)
        self.soft_below_stops = -reach_down * (1.0 - settings.soft_shadows)
        self.soft_above_stops = reach_up * (1.0 - settings.soft_highlights)
        lower_value = grey_signal + self.slope * self.soft_below_stops
        upper_value = grey_signal + self.slope * self.soft_above_stops
        # The slope that makes the lower end a plain hyperbola, without a turning point.
        foot = (lower_value / (self.soft_below_stops - self.black_stops)) ** 2 / self.slope
        self._lower = _Bend(
            self.black_stops, self.soft_below_stops, 0.0, lower_value, foot, self.slope
        )
        self._upper = _Bend(
            self.soft_above_stops, self.white_stops, upper_value, peak_signal, self.slope, 0.0
        )

    def signal(self, stops: Matrix) -> Matrix:
        """Display signal, y^(1/2.4), at scene values given in stops around grey.

        Parameters
        ----------
        stops : ndarray of float
            Any values.

        Examples
        --------
        >>> GreyCurve(Evenfall()).signal(np.array([-20.0, 0.0, 20.0])).round(4).tolist()
        [0.0, 0.4894, 1.0]
        """
        line = self._grey_signal + self.slope * stops
        bent = np.where(stops < self.soft_below_stops, self._lower(stops), line)
        values: Matrix = np.where(stops > self.soft_above_stops, self._upper(stops), bent)
        return values

    def __call__(self, scene_linear: Matrix) -> Matrix:
        """Display-linear values, 0 to peak, of scene-linear ones.

        Parameters
        ----------
        scene_linear : ndarray of float
            Any finite values; 0 and less is black.
        """
        floor = MIDDLE_GREY * 2.0 ** (self.black_stops - 1.0)
        stops = np.log2(np.maximum(scene_linear, floor) / MIDDLE_GREY)
        display: Matrix = self.signal(stops) ** SIGNAL_GAMMA
        return display
