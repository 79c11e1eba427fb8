"""The desk's server: its page, and one socket a window over which everything goes."""

from __future__ import annotations

import asyncio
import contextlib
import json
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from functools import lru_cache
from importlib.resources import files
from itertools import count
from typing import Any

from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route, WebSocketRoute
from starlette.types import ASGIApp, Receive, Scope, Send
from starlette.websockets import WebSocket, WebSocketDisconnect

from evenfall.desk.desk import Desk, Window
from evenfall.desk.protocol import read_message
from evenfall.desk.safety import (
    HEADERS,
    LARGEST_MESSAGE_BYTES,
    MOST_WINDOWS,
    PROTOCOL,
    Door,
    Pace,
)
from evenfall.desk.telling import picture_bytes, scale_told
from evenfall.errors import UsageError

__all__ = ["make_app"]

_KINDS = {
    "html": "text/html; charset=utf-8",
    "css": "text/css; charset=utf-8",
    "js": "text/javascript; charset=utf-8",
    "svg": "image/svg+xml",
    "woff2": "font/woff2",
}
_FONTS = ("Inter-Regular.woff2", "InterDisplay-Light.woff2")
_NOT_ALLOWED, _TOO_MUCH, _TRY_LATER = 1008, 1009, 1013


def make_app(desk: Desk, door: Door) -> ASGIApp:
    """Make the application of a desk.

    Parameters
    ----------
    desk : Desk
        What is served.
    door : Door
        Who is let in.
    """

    @asynccontextmanager
    async def life(app: Starlette) -> AsyncIterator[None]:
        watching = asyncio.create_task(desk.run())
        yield
        watching.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await watching

    async def page(request: Request) -> Response:
        return _asset("desk.html")

    async def asset(request: Request) -> Response:
        return _asset(request.path_params["name"])

    async def socket(websocket: WebSocket) -> None:
        await _serve(desk, door, websocket)

    routes = [
        Route("/", page, methods=["GET"]),
        Route("/assets/{name}", asset, methods=["GET"]),
        WebSocketRoute("/socket", socket),
    ]
    return _Guard(Starlette(routes=routes, lifespan=life), door)


class _Guard:
    """Answers only who calls the desk by its name, and sends its headers with everything."""

    def __init__(self, app: ASGIApp, door: Door) -> None:
        self._app, self._door = app, door

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] not in ("http", "websocket"):
            await self._app(scope, receive, send)
            return
        hosts = [value for name, value in scope["headers"] if name == b"host"]
        if len(hosts) != 1 or not self._door.knows_host(hosts[0].decode("latin-1")):
            if scope["type"] == "http":
                refused = Response("not the desk's name\n", 421, headers=dict(HEADERS))
                await refused(scope, receive, send)
            else:
                await send({"type": "websocket.close", "code": _NOT_ALLOWED})
            return

        async def send_with_headers(message: Any) -> None:
            if message["type"] == "http.response.start":
                own = [(name.encode(), value.encode()) for name, value in HEADERS.items()]
                message["headers"] = [*message.get("headers", ()), *own]
            await send(message)

        await self._app(scope, receive, send_with_headers)


@lru_cache(maxsize=64)
def _asset(name: str) -> Response:
    ending = name.rpartition(".")[2]
    package = "evenfall.page" if name in _FONTS else "evenfall.desk"
    known = {entry.name for entry in files(package).joinpath("assets").iterdir()}
    if name not in known or ending not in _KINDS:
        return Response("there is no such thing here\n", 404, media_type="text/plain")
    data = files(package).joinpath("assets", name).read_bytes()
    return Response(data, headers={"content-type": _KINDS[ending]})


async def _serve(desk: Desk, door: Door, websocket: WebSocket) -> None:
    """Serve one window until it goes."""
    origins = websocket.headers.getlist("origin")
    offered = [str(name) for name in websocket.scope.get("subprotocols", [])]
    if len(origins) != 1 or not door.knows_origin(origins[0]) or not door.lets_in(offered):
        await websocket.close(_NOT_ALLOWED)
        return
    if len(desk.windows) >= MOST_WINDOWS:
        await websocket.accept(PROTOCOL)
        await websocket.close(_TRY_LATER, "too many windows are open")
        return
    await websocket.accept(PROTOCOL)
    window = desk.enter()
    window.tell(scale_told())
    sending = asyncio.create_task(_send(websocket, window))
    try:
        await _receive(desk, websocket, window)
    except WebSocketDisconnect:
        pass
    finally:
        desk.leave(window)
        sending.cancel()
        with contextlib.suppress(asyncio.CancelledError, WebSocketDisconnect, RuntimeError):
            await sending


async def _receive(desk: Desk, websocket: WebSocket, window: Window) -> None:
    pace = Pace()
    while True:
        heard = await websocket.receive()
        if heard["type"] == "websocket.disconnect":
            return
        text = heard.get("text")
        if not pace.allows():
            await websocket.close(_NOT_ALLOWED, "too many messages")
            return
        if text is None or len(text) > LARGEST_MESSAGE_BYTES:
            await websocket.close(_TOO_MUCH, "no message of the desk")
            return
        try:
            message = read_message(text)
        except UsageError as error:
            window.tell({"tell": "said", "ok": False, "text": str(error)})
            continue
        await desk.hear(window, message)


async def _send(websocket: WebSocket, window: Window) -> None:
    numbers = count(1)
    while True:
        await window.news.wait()
        window.news.clear()
        while window.told:
            await websocket.send_text(json.dumps(window.told.pop(0), ensure_ascii=False))
        picture = window.next_picture()
        if picture is not None:
            number = next(numbers)
            window.in_flight.add(number)
            await websocket.send_bytes(picture_bytes(picture, number))
            window.news.set()
