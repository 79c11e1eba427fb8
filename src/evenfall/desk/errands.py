"""What takes longer than a turn, done beside the edits: answers, the full passes, rounds, a run."""

from __future__ import annotations

import math
import os
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

from evenfall.desk.painter import Picture, Shot
from evenfall.desk.protocol import Ask, KeepRound, MakePictures, Near, Noise
from evenfall.errors import OutputError, UsageError

if TYPE_CHECKING:
    import numpy.typing as npt
    from numpy import uint8

    from evenfall.develop.developed import DevelopedMood
    from evenfall.produce.events import Event
    from evenfall.recipe import Recipe
    from evenfall.solve.asking import Spot
    from evenfall.view import View

__all__ = ["NearPlace", "answer", "headroom", "keep_round", "make_pictures", "saved_view"]

Tell = Callable[[dict[str, Any]], None]
_MOST_LIGHTS = 9


def answer(view: View, recipe: Recipe, asked: Ask) -> dict[str, Any]:
    """Say what lights a spot.

    Raises
    ------
    UsageError, RecipeError, PassError, PixelSourceError
        As `View.ask`.
    """
    spot: Spot = view.with_recipe(recipe).ask(asked.mood, (asked.x, asked.y))
    told = asdict(spot)
    return {
        "tell": "spot",
        "number": asked.number,
        "mood": asked.mood,
        "x": asked.x,
        "y": asked.y,
        "stops": told["stops"] if math.isfinite(spot.stops) else None,
        "clipped": spot.clipped_share,
        "lights": [
            {
                "light": light.light,
                "title": light.title,
                "share": light.share,
                "rise": light.spot_stops,
            }
            for light in spot.lights[:_MOST_LIGHTS]
        ],
        "notes": spot.notes,
    }


def headroom(view: View, asked: Noise) -> dict[str, Any]:
    """Say how far lights may still go up before their noise shows; reads the full passes.

    Raises
    ------
    UsageError, RecipeError, PassError, PixelSourceError
        As `View.meter`.
    """
    (mood,) = view.meter(asked.mood).moods
    titles = {name: light.title or name for name, light in view.recipe.model.lights.items()}
    return {
        "tell": "noise",
        "mood": asked.mood,
        "lights": [
            {
                "title": titles[light.name],
                "stops": light.headroom_stops,
                "burns": light.burns_out,
                "share": light.noise_share or 0.0,
            }
            for light in mood.facts.lights
            if light.headroom_stops is not None
        ],
    }


class NearPlace:
    """Places of a mood from the full passes; the last mood that was developed is kept.

    Parameters
    ----------
    open_full : callable
        Opens a view of a recipe at its full size.
    """

    def __init__(self, open_full: Callable[[Recipe], View]) -> None:
        self._open = open_full
        self._text = ""
        self._mood: DevelopedMood | None = None

    def show(self, recipe: Recipe, asked: Near, window: int, version: int) -> Picture:
        """Give the pixels around a place.

        Raises
        ------
        UsageError, RecipeError, PassError, PixelSourceError
            As `View.develop`.
        """
        from numpy import ascontiguousarray

        from evenfall.view.stills import still_of

        if self._mood is None or (recipe.text, asked.mood) != (self._text, self._mood.name):
            self._mood = None  # let it go before the next takes its memory
            self._mood = self._open(recipe).develop(asked.mood)
            self._text = recipe.text
        width, height = self._mood.size
        left, across = _span(asked.x, asked.width, width)
        top, down = _span(asked.y, asked.height, height)
        rows = slice(top, top + down)
        codes: npt.NDArray[uint8] = still_of(self._mood, "picture", rows=rows, workers=None)
        cut = ascontiguousarray(codes[:, left : left + across])
        return Picture(window, "near", Shot(asked.mood), version, "near", cut)

    def forget(self) -> None:
        """Let the memory go."""
        self._mood = None


def _span(middle: float, wanted: int, whole: int) -> tuple[int, int]:
    """Where a part that is about a place begins, and how long it is."""
    length = min(wanted, whole)
    return min(max(0, round(middle * whole - length / 2)), whole - length), length


def keep_round(view: View, asked: KeepRound, tell: Tell) -> str:
    """Keep the recipe as it is saved as the next round; gives what to say.

    Raises
    ------
    UsageError, RecipeError, PassError, PixelSourceError, OutputError
        As `View.keep_round`.
    """
    wishes = [wish.strip() for wish in asked.asked.splitlines() if wish.strip()]
    kept = view.keep_round(asked=wishes, by=asked.by.strip(), on_event=_progress(tell))
    return f"Round {kept.number} is kept in {kept.folder.name}."


def make_pictures(view: View, asked: MakePictures, tell: Tell) -> dict[str, Any]:
    """Make the deliverables of the recipe as it is saved; gives what to tell.

    Where other files of their names are there, nothing is made until it is asked to replace them.

    Raises
    ------
    UsageError, RecipeError, PassError, PixelSourceError, OutputError
        As `View.run`.
    """
    try:
        report = view.run(overwrite=asked.overwrite, on_event=_progress(tell))
    except OutputError as error:
        there = [fault.file for fault in error.faults if os.path.lexists(fault.file)]
        if asked.overwrite or len(there) < len(error.faults):
            raise
        names = ", ".join(dict.fromkeys(Path(file).name for file in there))
        text = f"Other pictures are there: {names}. Nothing was made; ask again to replace them."
        return {"tell": "said", "ok": False, "text": text, "again": True}
    made = [file for file in report.files if not file.kept]
    where = report.files[0].path.parent.name if report.files else "pictures"
    kept = len(report.files) - len(made)
    same = f", {kept} {'was' if kept == 1 else 'were'} as they should be" if kept else ""
    return {"tell": "said", "ok": True, "text": f"{len(made)} files made in {where}{same}."}


def _progress(tell: Tell) -> Callable[[Event], None]:
    """Turn events of a run into how much of it is done."""
    from evenfall.produce.events import FileDone, MoodMixed, PassRead, RunPlanned, TakesTime

    counts = {"all": 1, "done": 0}

    def hear(event: Event) -> None:
        match event:
            case RunPlanned(lights=lights, moods=moods, files=files):
                counts["all"], counts["done"] = max(1, lights + len(moods) + files), 0
                text = "Reading the passes"
            case PassRead(lights=lights):
                counts["done"] += len(lights)
                text = f"Read {', '.join(lights)}"
            case MoodMixed(mood=mood):
                counts["done"] += 1
                text = f"Mixed {mood}"
            case FileDone(path=path):
                counts["done"] += 1
                text = f"{path.name}"
            case TakesTime(text=text):
                pass
            case _:
                return
        share = min(1.0, counts["done"] / counts["all"])
        tell({"tell": "progress", "text": text, "share": round(share, 3)})

    return hear


def saved_view(recipe: Recipe, *, is_unsaved: bool) -> View:
    """Give the view of a recipe at its full size, for what works on its file.

    Raises
    ------
    UsageError
        When edits are not saved.
    """
    from evenfall.view import View

    if is_unsaved:
        raise UsageError("there are edits that are not saved: save them first")
    return View(recipe)
