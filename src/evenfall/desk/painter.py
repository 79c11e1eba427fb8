"""Pictures for the windows of a desk, developed in a thread of their own, the newest wish first.

What is new in front is shown smaller at first; when the hand that turns a figure has been still
for a moment the whole picture follows. A wish that a newer one has overtaken is dropped. What is
whole has the bytes of a draft: the same passes at the same size through the same engine.
"""

from __future__ import annotations

import hashlib
import threading
import time
from collections import OrderedDict
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from evenfall.errors import EvenfallError, refusal
from evenfall.recipe import Recipe
from evenfall.system.overtaken import Overtaken, while_wanted

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    from evenfall.view import View
    from evenfall.view.stills import Shows

    Codes = npt.NDArray[np.uint8]

__all__ = ["NO_MEMORY", "Painter", "Picture", "Shot"]

_STILL_SECONDS = 0.04
"""Behind a turn, after which a hand counts as still: keys that are held come quicker."""

_NEXT_SECONDS = 0.005
"""Behind the writing of a turn, in which the next comes where one waits."""

_SHOWING_SECONDS = 0.04
"""In which a browser shows the whole picture, before others are begun beside it."""

_QUICK_SECONDS = 0.05
"""A whole picture that takes no longer is shown while a hand turns, too."""

_QUICK_SHARE = 1 / 3
"""Of the whole picture's width, at most, where it is too slow to follow a hand."""

_ANSWER_SECONDS = 0.08
"""For which the writing of a turn waits for its picture, as they would get in one another's way."""

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
        "whole", "quick" or "small".
    codes : ndarray, shape (h, w, 3), uint8, or None
        sRGB codes.
    fault : str
        Why there is none.
    """

    window: int
    place: str
    shot: Shot
    version: int
    size: str
    codes: Codes | None = field(repr=False)
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
        Opens the view as a draft; called in this thread.
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
        self._version, self._ended = 0, False
        self._changed_at = self._written_at = self._given_at = -1.0
        self._is_turning = False  # until the text of a turn is written
        self._drafts: View | None = None
        self._views: dict[str, View] = {}  # by size, with their passes in memory
        self._making = threading.Lock()
        self._made: OrderedDict[str, Codes] = OrderedDict()
        self._made_bytes = 0
        self._turns = self._answered = 0
        self._whole_seconds = 2 * _QUICK_SECONDS  # until it is known
        self._keys: dict[Shot, str] = {}  # of the recipes as they stand
        self._rest: dict[str, tuple[Recipe, str]] = {}  # all but moods, by what it is called

    def show(self, version: int, recipes: Mapping[str, Recipe]) -> None:
        """Take recipes as they stand: "now", and "saved" and rounds that somebody looks at."""
        with self._news:
            self._version, self._recipes, self._keys = version, dict(recipes), {}
            if self._is_turning:
                self._is_turning, self._written_at = False, time.monotonic()
            self._news.notify_all()

    def expect(self) -> None:
        """Let the whole picture wait: a turn has come, and is being worked out."""
        with self._news:
            self._is_turning = True

    def turn(self, recipe: Recipe, version: int) -> None:
        """Take the recipe as a hand turns it; waits a little for its picture."""
        with self._news:
            self._recipes["now"], self._version = recipe, version
            self._keys = {shot: key for shot, key in self._keys.items() if shot.of != "now"}
            self._changed_at = time.monotonic()
            self._turns += 1
            turn = self._turns
            self._news.notify_all()
            self._news.wait_for(lambda: self._answered >= turn, _ANSWER_SECONDS)

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
        """Give the view that is kept in memory at a size; None before there is any."""
        return self._sized(size) if self._views else None

    def end(self) -> None:
        """Give up what is being developed, and wait until it is."""
        with self._news:
            self._ended = True
            self._news.notify_all()
        if self.ident is not None:
            self.join()

    def run(self) -> None:
        """Develop until it is ended."""
        try:
            with while_wanted(lambda: not self._ended):
                self._drafts = self._load()
                self._sized("quick")
                self._develop()
        except EvenfallError as error:
            self._fail(error)
        except (OSError, ImportError) as error:
            self._fail(EvenfallError(refusal(error)))
        except Overtaken:
            pass

    def _develop(self) -> None:
        while True:
            with self._news:
                now = time.monotonic()
                while (wish := self._wish(now)) is None and not self._ended:
                    self._answer(self._turns)
                    self._news.wait(self._pause(now))
                    now = time.monotonic()
                if self._ended or wish is None:
                    return
                window, place, shot, size, key, version = wish
                recipe, turns = self._recipes.get(shot.of), self._turns
            if recipe is not None:
                self._paint(recipe, window, place, shot, size, key, version)
                with self._news:
                    self._answer(turns)

    def _answer(self, turns: int) -> None:
        """Let those go on who wait for the picture of a turn."""
        if turns > self._answered:
            self._answered = turns
            self._news.notify_all()

    def _sized(self, size: str) -> View:
        """Give the view of a size; its passes are read when they are first needed."""
        with self._making:
            if size not in self._views:
                assert self._drafts is not None
                self._views[size] = _kept(self._drafts, size)
            return self._views[size]

    def _pause(self, now: float) -> float | None:
        """Seconds until something may be begun; None when nothing waits for its time."""
        to_come = [at for at in (self._still_at(), self._shown_at()) if at > now]
        if self._is_turning or not to_come or not self._windows:
            return None
        return max(min(to_come) - now, 0.001)

    def _still_at(self) -> float:
        """When the hand counts as still."""
        return max(self._changed_at + _STILL_SECONDS, self._written_at + _NEXT_SECONDS)

    def _shown_at(self) -> float:
        """When a browser has shown the whole picture that was given last."""
        return self._given_at + _SHOWING_SECONDS

    def _wish(self, now: float) -> tuple[int, str, Shot, str, str, int] | None:
        """Give what is wanted most: what is in front, quickly where it is new, then the rest."""
        moving = self._is_turning or now < self._still_at()
        is_slow = self._is_slow()
        is_showing = now < self._shown_at()
        found = []
        for number, window in self._windows.items():
            for rank, (place, shot) in enumerate(window.places.items()):
                recipe, is_front = self._recipes.get(shot.of), place == "front"
                if recipe is None or shot.mood not in recipe.moods:
                    continue
                if not is_front and (moving or is_showing):
                    continue
                key = self._key(recipe, shot)
                size, has = window.has.get(place, ("", ""))
                quick = is_front and is_slow and (moving or has != key)
                wanted = "small" if place.startswith("mood ") else "quick" if quick else "whole"
                if has == key and size in (wanted, "whole", "small"):
                    continue
                found.append((rank, number, place, shot, wanted, key))
        if not found:
            return None
        _, number, place, shot, wanted, key = min(found, key=lambda one: one[:2])
        return number, place, shot, wanted, key, self._version

    def _is_slow(self) -> bool:
        """Whether the whole picture cannot follow a hand."""
        return self._whole_seconds > _QUICK_SECONDS

    def _key(self, recipe: Recipe, shot: Shot) -> str:
        """Tell pictures apart by all that they are made of, but for the pixels of files."""
        from evenfall.develop.asked import Asked

        if shot in self._keys:
            return self._keys[shot]
        known, rest = self._rest.get(shot.of, (None, ""))
        if known is not recipe:
            rest = recipe.model.model_dump_json(exclude={"moods", "deliverables", "sheet"})
            self._rest[shot.of] = recipe, rest
        asked = Asked(recipe)
        counted = [each.mood for each in asked.counted(shot.mood).values()]
        names = dict.fromkeys([*asked.behind(shot.mood), *counted])
        moods = [recipe.moods[name] for name in names]
        text = f"{rest}\n{moods}\n{shot.mood}\n{shot.only}\n{shot.without}\n{shot.shows}"
        return self._keys.setdefault(shot, hashlib.sha256(text.encode()).hexdigest())

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
                codes = self._developed(recipe, shot, size, place)
                if size == "whole":
                    taken = time.monotonic() - begun
                    self._whole_seconds = 0.7 * self._whole_seconds + 0.3 * taken
                self._remember(f"{size} {key}", codes)
            except Overtaken:
                return
            except MemoryError:
                fault = NO_MEMORY
            except EvenfallError as error:
                fault = str(error)
            except (OSError, ImportError) as error:
                fault = refusal(error)
        with self._news:
            has = self._windows.get(window)
            if has is None or has.places.get(place) != shot:
                return
            has.has[place] = (size, key)
            if place == "front" and size == "whole":
                self._given_at = time.monotonic()
        self._give(Picture(window, place, shot, version, size, codes, fault))

    def _developed(self, recipe: Recipe, shot: Shot, size: str, place: str) -> Codes:
        kept = self._sized(size)
        view = kept.with_recipe(recipe)
        if view.passes is not kept.passes:  # the recipe names others now
            drafts, view = view, _kept(view, size)  # what cannot be read takes no place
            with self._making:
                self._drafts, self._views = drafts, {size: view}
        began, lights = self._turns, _lights(recipe, shot)

        def is_wanted() -> bool:
            follows = place == "front" and (size == "quick" or not self._is_slow())
            still = self._turns == began and not self._is_turning
            return not self._ended and (follows or still)

        with while_wanted(is_wanted):
            return view.still(shot.mood, lights=lights, shows=shot.shows)

    def _remember(self, key: str, codes: Codes) -> None:
        self._made[key] = codes
        self._made_bytes += codes.nbytes
        while self._made_bytes > _KEPT_BYTES and len(self._made) > 1:
            self._made_bytes -= self._made.popitem(last=False)[1].nbytes


def _kept(drafts: View, size: str) -> View:
    if size == "whole":
        return drafts.keep()
    width = _THUMB_WIDTH if size == "small" else _easy(round(_QUICK_SHARE * drafts.size[0]))
    return drafts.smaller(width)


def _easy(length: int) -> int:
    """Bring a length down to one without prime factors over 5, which transforms quickly."""
    rest = length
    for factor in (2, 3, 5):
        while rest % factor == 0 and rest > 1:
            rest //= factor
    return length if rest <= 1 else _easy(length - 1)


def _lights(recipe: Recipe, shot: Shot) -> list[str] | None:
    if shot.only:
        return [light for light in recipe.model.lights if light == shot.only]
    if shot.without:
        return [light for light in recipe.model.lights if light != shot.without]
    return None
