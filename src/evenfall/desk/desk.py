"""A desk: one recipe, one painter, and the windows that look at them."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from functools import partial
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING, Any

from evenfall.desk.aims import solve_aims, with_aim
from evenfall.desk.errands import (
    NearPlace,
    answer,
    headroom,
    keep_round,
    make_pictures,
    saved_view,
)
from evenfall.desk.outside import standing
from evenfall.desk.painter import NO_MEMORY, Painter, Picture, Shot
from evenfall.desk.protocol import (
    Aim,
    Ask,
    KeepRound,
    LetGo,
    Look,
    MakePictures,
    Message,
    Near,
    Noise,
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
from evenfall.desk.telling import rounds_told, state_of
from evenfall.errors import EvenfallError, refusal
from evenfall.recipe.choosing import choose_written_moods
from evenfall.recipe.words.prose import name_prose
from evenfall.system.overtaken import Overtaken, while_wanted

if TYPE_CHECKING:
    from evenfall.recipe import Recipe
    from evenfall.view import View

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
    errands: dict[str, Message | None] = field(default_factory=dict)  # on, and what follows

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
        self._numbers, self._is_ending = count(1), False
        self._hands = ThreadPoolExecutor(1, "hands")  # edits one after the other
        self._eyes = ThreadPoolExecutor(1, "eyes")  # answers about spots
        self._feet = ThreadPoolExecutor(1, "feet")  # what takes long
        self._tasks: set[asyncio.Task[None]] = set()
        self._loop: asyncio.AbstractEventLoop | None = None
        self._faults: list[str] = []
        self._painter = Painter(self._open, self._picture, self._failed)
        self._workers = workers
        self._near = NearPlace(self._open_full)
        self._standing: dict[str, tuple[object, Recipe]] = {}
        self._rounds = rounds_told(self.session)
        self._painter.show(self.session.version, self._recipes())
        self.session.on_turn = self._painter.turn

    def _open(self) -> View:
        from evenfall.view import View

        return View(self.session.recipe, draft=True, workers=self._workers)

    def _open_full(self, recipe: Recipe) -> View:
        from evenfall.view import View

        return View(recipe, workers=self._workers)

    def _recipes(self) -> dict[str, Recipe]:
        """Give the recipes that windows look at; one that cannot be used is left out."""
        asked = {"now", "saved"}
        for window in self.windows.values():
            if window.look is not None:
                asked |= {window.look.beside_of, window.look.before} - {""}
        found = {"now": self.session.recipe}
        for of in asked - {"now"}:
            mark = self.session.saved_text if of == "saved" else of
            if self._standing.get(of, (None,))[0] != mark:
                session = self.session
                with contextlib.suppress(EvenfallError, OSError):
                    recipe = standing(of, session.path, session.saved_text, session.passes)
                    self._standing[of] = (mark, recipe)
            if of in self._standing:
                found[of] = self._standing[of][1]
        return found

    async def run(self) -> None:
        """Paint, and watch the recipe's file, until cancelled."""
        self._loop = asyncio.get_running_loop()
        self._painter.start()
        while True:
            await asyncio.sleep(_LOOK_SECONDS)
            try:
                if await self._by_hand(self.session.look_outside):
                    self._tell_state()
            except OSError:  # looked at again in a moment
                continue

    def close(self) -> None:
        """End the desk; what is unsaved is kept for the next.

        Whatever works is given up and waited for: threads that are still in a library's code when
        the interpreter ends would bring it down.
        """
        self._is_ending = True
        self._painter.end()
        for pool in (self._hands, self._eyes, self._feet):
            pool.shutdown(wait=True, cancel_futures=True)
        self.session.close()

    def enter(self) -> Window:
        """Let a window in."""
        window = Window(next(self._numbers))
        self.windows[window.number] = window
        window.tell(self._state())
        for fault in self._faults:
            window.tell({"tell": "said", "ok": False, "text": fault})
        return window

    def leave(self, window: Window) -> None:
        """Let a window go."""
        self.windows.pop(window.number, None)
        if not self.windows:
            self._near.forget()
        self._painter.forget(window.number)

    async def hear(self, window: Window, message: Message) -> None:
        """Do what a window says; whatever cannot be done is told to it."""
        match message:
            case Painted(number=number):
                window.in_flight.discard(number)
                window.news.set()
            case Look():
                window.look = message
                self._painter.show(self.session.version, self._recipes())
                self._look(window, message)
            case Ask() | Near() | Noise() | Aim() | KeepRound() | MakePictures():
                await self._send_out(window, message)
            case _:
                if isinstance(message, Turn):
                    self._painter.expect()
                is_done = False
                try:
                    said = await self._by_hand(lambda: self._edit(message))
                    is_done = True
                    if said:
                        window.tell(_said(said))
                except (EvenfallError, OSError, ImportError) as error:
                    window.tell(_refused(error))
                finally:
                    if isinstance(message, Say) and not message.figure:
                        window.tell({"tell": "heard", "ok": is_done, "text": message.text})
                    self._tell_state()

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

    async def _send_out(self, window: Window, message: Message) -> None:
        """Begin an errand of a window, unless it is still on one of the same kind."""
        kind = message.do
        if kind in window.errands:
            if isinstance(message, Ask | Near) or (isinstance(message, Aim) and not message.text):
                window.errands[kind] = message  # the newest follows
            else:
                window.tell({"tell": "said", "ok": False, "text": "That is being done already."})
            return
        window.errands[kind] = None
        task = asyncio.create_task(self._errand(window, message))
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    async def _errand(self, window: Window, message: Message) -> None:
        loop = asyncio.get_running_loop()
        hands = self._eyes if isinstance(message, Ask) else self._feet
        wanted: Message | None = message
        try:
            while wanted is not None:
                try:
                    told = await loop.run_in_executor(hands, self._done, window, wanted)
                except Overtaken:
                    return
                except (EvenfallError, OSError, ImportError) as error:
                    told = _refused(error)
                except MemoryError:
                    told = _said(NO_MEMORY, ok=False)
                if told is not None:
                    window.tell(told)
                wanted, window.errands[message.do] = window.errands[message.do], None
        finally:
            del window.errands[message.do]
        if not isinstance(message, Ask | Near | Noise):
            with contextlib.suppress(OSError):  # those that are told already stay
                self._rounds = rounds_told(self.session)
            window.tell({"tell": "progress", "text": "", "share": 1})
            self._tell_state()

    def _done(self, window: Window, message: Message) -> dict[str, Any] | None:
        """Do an errand; gives what to tell the window."""
        with while_wanted(lambda: not self._is_ending):
            return self._sent(window, message)

    def _sent(self, window: Window, message: Message) -> dict[str, Any] | None:
        session = self.session
        tell = partial(self._tell_later, window)
        match message:
            case Ask():
                view = self._painter.view("small")
                return NOT_YET if view is None else answer(view, session.recipe, message)
            case Near():
                recipe, version = session.recipe, session.version
                self._picture(self._near.show(recipe, message, window.number, version))
                return None
            case Noise():
                return headroom(self._open_full(session.recipe), message)
            case Aim():
                quick = self._painter.view("quick")
                return NOT_YET if quick is None else self._aim(quick, message)
            case KeepRound():
                return _said(keep_round(self._saved(), message, tell))
            case MakePictures():
                return make_pictures(self._saved(), message, tell)
            case _:
                return None

    def _saved(self) -> View:
        return saved_view(self.session.recipe, is_unsaved=self.session.is_unsaved)

    def _aim(self, view: View, asked: Aim) -> dict[str, Any] | None:
        recipe = wanted = self.session.recipe
        if asked.text:
            wanted = with_aim(view, recipe, asked.mood, asked.area, asked.text, asked.name)
        aimed = solve_aims(view, wanted, asked.mood)
        said = [
            f"{name_prose(result.aim)}, {result.asks}: {result.comes_to}"
            f"{f'; {result.why}' if result.why else ''}"
            for result in aimed.aims
        ]
        if not asked.text and recipe.text != self.session.text:
            return None  # turned on meanwhile, and solved again behind this
        if aimed.text != recipe.text:
            done = f"aimed at {asked.text}" if asked.text else "solved for its aims"
            self.session.take(recipe.text, aimed.text, done, asked.mood)
        return {"tell": "said", "ok": aimed.are_met, "text": "\n".join((*said, *aimed.notes))}

    def _tell_later(self, window: Window, what: dict[str, Any]) -> None:
        self._in_loop(lambda: window.tell(what))

    def _look(self, window: Window, look: Look) -> None:
        places = {"front": Shot(look.mood, "now", look.only, look.without, look.shows)}
        if look.beside:
            places["beside"] = Shot(look.beside, look.beside_of)
        for mood in choose_written_moods(self.session.recipe, ()):
            places[f"mood {mood}"] = Shot(mood)
        if look.before:
            places["before"] = Shot(look.mood, look.before)
        self._painter.look(window.number, places)

    def _state(self) -> dict[str, Any]:
        return {**state_of(self.session), "rounds": self._rounds}

    def _tell_state(self) -> None:
        state = self._state()
        self._painter.show(self.session.version, self._recipes())
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


def _said(text: str, *, ok: bool = True) -> dict[str, Any]:
    return {"tell": "said", "ok": ok, "text": text}


def _refused(error: EvenfallError | OSError | ImportError) -> dict[str, Any]:
    return _said(str(error) if isinstance(error, EvenfallError) else refusal(error), ok=False)


NOT_YET = _said("The passes are still being read.")
