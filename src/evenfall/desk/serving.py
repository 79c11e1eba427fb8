"""A desk served at an address, until it is ended."""

from __future__ import annotations

import asyncio
import contextlib
import socket
import sys
from collections.abc import Callable
from pathlib import Path

from evenfall.errors import Fault, OutputError, UsageError

__all__ = ["LOOPBACK", "serve_desk"]

LOOPBACK = "127.0.0.1"
_SECONDS_TO_LEAVE = 2
_SWITCH_SECONDS = 0.0005
"""After which a thread that writes text lets the one go on that paints; 0.005 is Python's own."""


def serve_desk(
    recipe: Path,
    *,
    passes: Path | None = None,
    host: str = LOOPBACK,
    port: int = 0,
    workers: int | None = None,
    on_ready: Callable[[str], None],
) -> bool:
    """Serve a desk until Ctrl-C or the end of its process.

    Parameters
    ----------
    recipe : Path
        The recipe.
    passes : Path, optional
        Folder of the passes instead of the recipe's own.
    host : str
        Address of this machine at which it is served.
    port : int
        Port; 0 takes a free one.
    workers : int, optional
        Threads of the engine; one per processor otherwise.
    on_ready : callable
        Told the address, token included, once it is served.

    Returns
    -------
    bool
        Whether edits are left that are not saved.

    Raises
    ------
    RecipeError
        When the recipe is not sound.
    UsageError
        When the extra `desk` is not installed, or another desk is open on the recipe.
    OutputError
        When the address cannot be taken.
    """
    try:
        import uvicorn

        from evenfall.desk.desk import Desk
        from evenfall.desk.safety import LARGEST_MESSAGE_BYTES, Door
        from evenfall.desk.server import make_app
    except ModuleNotFoundError as error:
        missing = (error.name or "").partition(".")[0]
        found = f"the desk needs {missing}, which is not installed: pip install 'evenfall[desk]'"
        raise UsageError(found) from error
    listening = _listen(host, port)
    with contextlib.closing(listening):
        taken = int(listening.getsockname()[1])
        door = Door(_names(host), taken)
        desk = Desk(recipe, passes=passes, workers=workers)
        config = uvicorn.Config(
            make_app(desk, door),
            ws="websockets-sansio",
            ws_max_size=LARGEST_MESSAGE_BYTES,
            ws_per_message_deflate=False,
            h11_max_incomplete_event_size=LARGEST_MESSAGE_BYTES,
            log_level="critical",
            access_log=False,
            server_header=False,
            timeout_graceful_shutdown=_SECONDS_TO_LEAVE,
            limit_concurrency=64,
        )
        server = uvicorn.Server(config)
        sys.setswitchinterval(_SWITCH_SECONDS)
        shown = f"[{host}]" if ":" in host else host
        try:
            with contextlib.suppress(KeyboardInterrupt):
                asyncio.run(
                    _serve(
                        server,
                        listening,
                        lambda: on_ready(f"http://{shown}:{taken}/#{door.token}"),
                    )
                )
        finally:
            desk.close()
        return desk.session.is_unsaved


async def _serve(server: object, listening: socket.socket, on_ready: Callable[[], None]) -> None:
    import uvicorn

    assert isinstance(server, uvicorn.Server)
    serving = asyncio.create_task(server.serve(sockets=[listening]))
    while not server.started and not serving.done():
        await asyncio.sleep(0.01)
    if server.started:
        on_ready()
    await serving


def _names(host: str) -> tuple[str, ...]:
    """Names by which a desk that is served at an address may be called."""
    if host in (LOOPBACK, "localhost", "::1"):
        return ("127.0.0.1", "localhost", "[::1]")
    return (f"[{host}]" if ":" in host else host.lower(),)


def _listen(host: str, port: int) -> socket.socket:
    if host in ("0.0.0.0", "::", ""):
        hint = "name the one address of this machine at which the other can reach it"
        raise UsageError(Fault("--host", "", f'"{host}" is every address at once', hint=hint))
    try:
        family = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0][0]
        listening = socket.socket(family, socket.SOCK_STREAM)
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind((host, port))
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise OutputError(Fault(f"{host}:{port}", "", f"cannot be served: {reason}")) from error
    return listening
