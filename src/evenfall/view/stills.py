"""A developed mood to look at: the picture, its exposure, or what is lost at its ends."""

from __future__ import annotations

from typing import Literal, assert_never

import numpy as np
import numpy.typing as npt

from evenfall.develop.developed import DevelopedMood
from evenfall.drawings.ends import draw_ends
from evenfall.drawings.stop_scale import stop_colours, stops_of_light
from evenfall.meter.metering import exposed_luminance
from evenfall.produce.stills import draft_codes
from evenfall.system.processors import workers_of

__all__ = ["Shows", "still_of"]

Shows = Literal["picture", "exposure", "ends"]


def still_of(
    developed: DevelopedMood,
    shows: Shows,
    *,
    rows: slice | None = None,
    workers: int | None = None,
) -> npt.NDArray[np.uint8]:
    """Show a mood; as `View.still`."""
    threads = workers_of(workers)
    match shows:
        case "picture":
            return draft_codes(developed, rows=rows, workers=threads)
        case "exposure":
            return stop_colours(stops_of_light(exposed_luminance(developed)))
        case "ends":
            return draw_ends(draft_codes(developed, rows=rows, workers=threads))
        case _:
            assert_never(shows)
