"""A desk: one recipe, one painter, and the windows that look at them."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from itertools import count
from pathlib import Path
from typing import Any

from evenfall.desk.painter import Painter, Picture, Shot
from evenfall.desk.protocol import (
    LetGo,
    Look,
    Message,
    Own,
    Painted,
    Redo,
    Save,
    Say,
    Settle,
    Turn,
    Undo,
)
from evenfall.desk.session import Session
from evenfall.desk.telling import state_of
from evenfall.errors import EvenfallError
from evenfall.system.processors import workers_of

__all__ = ["Desk", "Window"]

_LOOK_SECONDS = 0.25
_MOST_IN_FLIGHT = 2


@dataclass
class Window:
    """One window: what it looks at, and what is on its way to it.

    Pictures that wait are replaced by newer ones of the same place; no more than two are on their
    way at once.
    """

    number: int
    look: Look | None = None
    told: list[dict[str, Any]] = field(default_factory=list)
    pictures: dict[str, Picture] = field(default_factory=dict)
    in_flight: set[int] = field(default_factory=set)
    news: asyncio.Event = field(default_factory=asyncio.Event)

    def tell(self, what: dict[str, Any]) -> None:
        """Let a window know something; of a state only the last counts."""
        if what["tell"] == "state":
            self.told = [one for one in self.told if one["tell"] != "state"]
        self.told.append(what)
        self.news.set()

    def next_picture(self) -> Picture | None:
        """Give the picture that goes next, if one may."""
        if not self.pictures or len(self.in_flight) >= _MOST_IN_FLIGHT:
            return None
        place = min(self.pictures, key=lambda name: (name != "front", name))
        return self.pictures.pop(place)


class Desk:
    """What the windows of a desk share; its methods run in the loop of the server.

    Parameters
    ----------
    path : Path
        The recipe.
    passes : Path, optional
        Folder of the passes instead of the recipe's own.
    workers : int, optional
        Threads of the engine.
    """

    def __init__(
        self, path: Path, *, passes: Path | None = None, workers: int | None = None
    ) -> None:
        self.session = Session(path, passes)
        self.windows: dict[int, Window] = {}
        self._numbers = count(1)
        self._hands = ThreadPoolExecutor(1, "hands")  # edits one after the other
        self._loop: asyncio.AbstractEventLoop | None = None
        self._faults: list[str] = []
        self._painter = Painter(
            self._open, self._picture, self._failed, workers=workers_of(workers)
        )
        self._painter.show(self.session.version, self._recipes(), turning=False)
        self._painter.start()

    def _open(self) -> Any:
        from evenfall.view import View

        return View(self.session.recipe, draft=True).keep()

    def _recipes(self) -> dict[str, Any]:
        return {"now": self.session.recipe}

    async def run(self) -> None:
        """Watch the recipe's file until cancelled."""
        self._loop = asyncio.get_running_loop()
        while True:
            await asyncio.sleep(_LOOK_SECONDS)
            if await self._by_hand(self.session.look_outside):
                self._tell_state(turning=False)

    def close(self) -> None:
        """End the desk; what is unsaved is kept for the next."""
        self._painter.end()
        self._hands.shutdown(wait=True)
        self.session.close()

    def enter(self) -> Window:
        """Let a window in."""
        window = Window(next(self._numbers))
        self.windows[window.number] = window
        window.tell(state_of(self.session))
        for fault in self._faults:
            window.tell({"tell": "said", "ok": False, "text": fault})
        return window

    def leave(self, window: Window) -> None:
        """Let a window go."""
        self.windows.pop(window.number, None)
        self._painter.forget(window.number)

    async def hear(self, window: Window, message: Message) -> None:
        """Do what a window says; whatever cannot be done is told to it."""
        match message:
            case Painted(number=number):
                window.in_flight.discard(number)
                window.news.set()
            case Look():
                self._look(window, message)
            case _:
                try:
                    said = await self._by_hand(lambda: self._edit(message))
                except EvenfallError as error:
                    window.tell({"tell": "said", "ok": False, "text": str(error)})
                    self._tell_state(turning=False)
                else:
                    if said:
                        window.tell({"tell": "said", "ok": True, "text": said})
                    self._tell_state(turning=isinstance(message, Turn))

    async def _by_hand(self, work: Callable[[], Any]) -> Any:
        return await asyncio.get_running_loop().run_in_executor(self._hands, work)

    def _edit(self, message: Message) -> str:
        session = self.session
        match message:
            case Turn(mood=mood, figure=key, size=size, count=turns, gesture=gesture):
                session.turn(mood, key, size, turns, gesture)
            case Say(mood=mood, text=text, figure=key):
                session.say(mood, text, key)
            case Own(mood=mood, figure=key):
                session.own(mood, key)
            case LetGo(mood=mood, figure=key):
                session.let_go(mood, key)
            case Undo():
                said = session.undoes
                session.undo()
                return f"Undone: {said}" if said else "There is nothing to undo."
            case Redo():
                said = session.redoes
                session.redo()
                return f"Done again: {said}" if said else "There is nothing to do again."
            case Save():
                session.save()
                return f"Saved in {session.path.name}."
            case Settle(choice=choice):
                session.settle(choice)
        return ""

    def _look(self, window: Window, look: Look) -> None:
        window.look = look
        places = {"front": Shot(look.mood, "now", look.only, look.without)}
        if look.beside:
            places["beside"] = Shot(look.beside, look.beside_of)
        for mood in self.session.recipe.moods:
            places[f"mood {mood}"] = Shot(mood)
        if look.before:
            places["before"] = Shot(look.mood, look.before)
        self._painter.look(window.number, places)

    def _tell_state(self, *, turning: bool) -> None:
        state = state_of(self.session)
        self._painter.show(self.session.version, self._recipes(), turning=turning)
        for window in self.windows.values():
            window.tell(state)
            if window.look is not None:
                self._look(window, window.look)

    def _in_loop(self, work: Callable[[], None]) -> None:
        if self._loop is not None and not self._loop.is_closed():
            self._loop.call_soon_threadsafe(work)

    def _picture(self, picture: Picture) -> None:
        def give() -> None:
            window = self.windows.get(picture.window)
            if window is not None:
                window.pictures[picture.place] = picture
                window.news.set()

        self._in_loop(give)

    def _failed(self, error: EvenfallError) -> None:
        def tell() -> None:
            self._faults.append(str(error))
            for window in self.windows.values():
                window.tell({"tell": "said", "ok": False, "text": str(error)})

        self._in_loop(tell)
