"""Pictures for the windows of a desk, developed in a thread of their own, the newest wish first.

While somebody turns a figure a picture of half the size is shown; when the hand has been still for
a moment the whole one follows. A wish that a newer one has overtaken is dropped. What is whole has
the bytes of a draft: the same passes at the same size through the same engine.
"""

from __future__ import annotations

import hashlib
import threading
import time
from collections import OrderedDict
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from evenfall.errors import EvenfallError
from evenfall.produce.stills import Overtaken
from evenfall.recipe import Recipe

if TYPE_CHECKING:
    from evenfall.view import View
    from evenfall.view.stills import Shows

__all__ = ["NO_MEMORY", "Painter", "Picture", "Shot"]

Codes = npt.NDArray[np.uint8]

_STILL_SECONDS = 0.03
_QUICK_SECONDS = 0.05
"""A whole picture that takes no longer is shown while a hand turns, too."""

_THUMB_WIDTH = 320
_KEPT_BYTES = 160 << 20
NO_MEMORY = "The machine's memory is not enough for this."


@dataclass(frozen=True)
class Shot:
    """One picture that somebody wants to see.

    Parameters
    ----------
    mood : str
        The mood.
    of : str
        Which recipe: "now", "saved", or "round N".
    only, without : str
        One light that alone is seen, or alone is not; empty for none.
    shows : str
        The picture, or a map of it; see `View.still`.
    """

    mood: str
    of: str = "now"
    only: str = ""
    without: str = ""
    shows: Shows = "picture"


@dataclass(frozen=True, eq=False)
class Picture:
    """A picture for one place of one window.

    Parameters
    ----------
    window : int
        Which window.
    place : str
        "front", "beside", "before", or "mood NAME" for the small ones.
    shot : Shot
        What it shows.
    version : int
        Of the recipe.
    size : str
        "whole", "half" or "small".
    codes : ndarray, shape (h, w, 3), uint8
        sRGB codes.
    fault : str
        Why there is none.
    """

    window: int
    place: str
    shot: Shot
    version: int
    size: str
    codes: Codes = field(repr=False)
    fault: str = ""


@dataclass
class _Window:
    """What a window wants, and the keys of what it has."""

    places: dict[str, Shot] = field(default_factory=dict)
    has: dict[str, tuple[str, str]] = field(default_factory=dict)  # size and key by place


class Painter(threading.Thread):
    """Develops what windows want.

    Parameters
    ----------
    load : callable
        Opens the view with its reduced passes kept; called in this thread.
    give : callable
        Takes every picture; called in this thread.
    fail : callable
        Told why the passes cannot be used.
    """

    def __init__(
        self,
        load: Callable[[], View],
        give: Callable[[Picture], None],
        fail: Callable[[EvenfallError], None],
    ) -> None:
        super().__init__(name="painter", daemon=True)
        self._load, self._give, self._fail = load, give, fail
        self._news = threading.Condition()
        self._windows: dict[int, _Window] = {}
        self._recipes: dict[str, Recipe] = {}
        self._version, self._changed_at, self._ended = 0, -1.0, False
        self._views: dict[str, View] = {}
        self._making = threading.Lock()
        self._made: OrderedDict[str, Codes] = OrderedDict()
        self._made_bytes = 0
        self._turns = 0
        self._whole_seconds = 2 * _QUICK_SECONDS  # until it is known
        self._keys: dict[Shot, str] = {}  # of the recipes as they stand

    def show(self, version: int, recipes: Mapping[str, Recipe]) -> None:
        """Take recipes as they stand: "now", and "saved" and rounds that somebody looks at."""
        with self._news:
            self._version, self._recipes, self._keys = version, dict(recipes), {}
            self._news.notify_all()

    def turn(self, recipe: Recipe, version: int) -> None:
        """Take the recipe as a hand turns it, before its text is written."""
        with self._news:
            self._recipes["now"], self._version = recipe, version
            self._keys = {shot: key for shot, key in self._keys.items() if shot.of != "now"}
            self._changed_at = time.monotonic()
            self._turns += 1
            self._news.notify_all()

    def look(self, window: int, places: Mapping[str, Shot]) -> None:
        """Say what a window wants to see, by place, the most wanted first."""
        with self._news:
            kept = self._windows.setdefault(window, _Window())
            kept.places = dict(places)
            kept.has = {place: has for place, has in kept.has.items() if place in places}
            self._news.notify_all()

    def forget(self, window: int) -> None:
        """Let a window go."""
        with self._news:
            self._windows.pop(window, None)

    def view(self, size: str) -> View | None:
        """Give the view that is kept in memory at a size; None before it is there."""
        return self._sized(size) if self._views else None

    def end(self) -> None:
        """Stop, after what is being developed."""
        with self._news:
            self._ended = True
            self._news.notify_all()

    def run(self) -> None:
        """Develop until it is ended."""
        try:
            self._views["whole"] = self._load()
        except EvenfallError as error:
            self._fail(error)
            return
        while True:
            with self._news:
                wish = self._wish()
                while wish is None and not self._ended:
                    self._news.wait(self._pause())
                    wish = self._wish()
                if self._ended or wish is None:
                    return
                window, place, shot, size, key, version = wish
                recipe = self._recipes.get(shot.of)
            if recipe is not None:
                self._paint(recipe, window, place, shot, size, key, version)

    def _sized(self, size: str) -> View:
        """Give the view of a size; the smaller ones are made when they are first needed."""
        with self._making:
            views = self._views
            if size not in views:
                whole = views["whole"]
                width = (whole.size[0] + 1) // 2 if size == "half" else _THUMB_WIDTH
                views[size] = whole.smaller(width)
            return views[size]

    def _pause(self) -> float | None:
        """Seconds until the hand counts as still; None when nothing waits for that."""
        left = self._changed_at + _STILL_SECONDS - time.monotonic()
        return max(left, 0.001) if left > 0 and self._windows else None

    def _wish(self) -> tuple[int, str, Shot, str, str, int] | None:
        """Give what is wanted most: fronts at half the size while a hand turns, then the rest."""
        moving = time.monotonic() < self._changed_at + _STILL_SECONDS
        turning = moving and self._whole_seconds > _QUICK_SECONDS
        found = []
        for number, window in self._windows.items():
            for rank, (place, shot) in enumerate(window.places.items()):
                recipe = self._recipes.get(shot.of)
                if recipe is None or shot.mood not in recipe.moods:
                    continue
                key = self._keys.get(shot) or self._keys.setdefault(shot, _key(recipe, shot))
                size, has = window.has.get(place, ("", ""))
                small = place.startswith("mood ")
                wanted = "small" if small else "half" if turning else "whole"
                done = has == key and (size == wanted or size in ("whole", "small"))
                if done or (moving and place != "front"):
                    continue
                found.append((rank, number, place, shot, wanted, key))
        if not found:
            return None
        _, number, place, shot, wanted, key = min(found, key=lambda one: one[:2])
        return number, place, shot, wanted, key, self._version

    def _paint(
        self,
        recipe: Recipe,
        window: int,
        place: str,
        shot: Shot,
        size: str,
        key: str,
        version: int,
    ) -> None:
        fault, codes = "", self._made.get(f"{size} {key}")
        if codes is None:
            begun = time.monotonic()
            try:
                codes = self._developed(recipe, shot, size)
                if size == "whole":
                    taken = time.monotonic() - begun
                    self._whole_seconds = 0.7 * self._whole_seconds + 0.3 * taken
                self._remember(f"{size} {key}", codes)
            except Overtaken:
                return
            except (EvenfallError, MemoryError) as error:
                fault = str(error) if isinstance(error, EvenfallError) else NO_MEMORY
                codes = np.zeros((1, 1, 3), np.uint8)
        with self._news:
            has = self._windows.get(window)
            if has is None or has.places.get(place) != shot:
                return
            has.has[place] = (size, key)
        self._give(Picture(window, place, shot, version, size, codes, fault))

    def _developed(self, recipe: Recipe, shot: Shot, size: str) -> Codes:
        view = self._sized(size).with_recipe(recipe)
        if view.passes is not self._views[size].passes:  # the recipe names others now
            self._views = {"whole": view.keep()}
            view = self._sized(size)
        began, lights = self._turns, _lights(recipe, shot)

        def is_wanted() -> bool:
            return size != "whole" or self._turns == began

        return view.still(shot.mood, lights=lights, shows=shot.shows, is_wanted=is_wanted)

    def _remember(self, key: str, codes: Codes) -> None:
        self._made[key] = codes
        self._made_bytes += codes.nbytes
        while self._made_bytes > _KEPT_BYTES and len(self._made) > 1:
            self._made_bytes -= self._made.popitem(last=False)[1].nbytes


def _lights(recipe: Recipe, shot: Shot) -> list[str] | None:
    if shot.only:
        return [light for light in recipe.model.lights if light == shot.only]
    if shot.without:
        return [light for light in recipe.model.lights if light != shot.without]
    return None


def _key(recipe: Recipe, shot: Shot) -> str:
    """Tell pictures apart by all that they are made of, but for the pixels of files."""
    from evenfall.develop.asked import Asked

    asked = Asked(recipe)
    names = [*asked.behind(shot.mood), *(each.mood for each in asked.counted(shot.mood).values())]
    moods = repr([recipe.moods[name] for name in dict.fromkeys(names)])
    rest = recipe.model.model_dump_json(exclude={"moods", "deliverables", "sheet"})
    text = f"{rest}\n{moods}\n{shot.mood}\n{shot.only}\n{shot.without}\n{shot.shows}"
    return hashlib.sha256(text.encode()).hexdigest()
