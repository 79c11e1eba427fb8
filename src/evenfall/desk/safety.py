"""Who may speak to the desk: its own page in its own window, with the token of this start."""

from __future__ import annotations

import hmac
import secrets
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

__all__ = ["HEADERS", "LARGEST_MESSAGE_BYTES", "MOST_WINDOWS", "PROTOCOL", "Door", "Pace"]

PROTOCOL = "evenfall.desk"
"""Subprotocol of the socket; the token is offered as a second one, `token.` and its letters."""

LARGEST_MESSAGE_BYTES = 16 << 10
MOST_WINDOWS = 8

HEADERS: Mapping[str, str] = {
    "content-security-policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; font-src 'self'; "
        "img-src 'self' blob:; connect-src 'self'; base-uri 'none'; form-action 'none'; "
        "frame-ancestors 'none'; require-trusted-types-for 'script'"
    ),
    "cache-control": "no-store",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=()",
    "referrer-policy": "no-referrer",
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
}
"""Sent with every answer: nothing runs, loads or is framed but what the desk itself serves."""


@dataclass(frozen=True)
class Door:
    """Knows where the desk is called at, and the token.

    Parameters
    ----------
    hosts : tuple of str
        Names and addresses that it answers to, an IPv6 address in brackets.
    port : int
        Its port.
    token : str
        Fresh at each start.

    Examples
    --------
    >>> door = Door(("127.0.0.1", "localhost"), 8000, "abc")
    >>> door.knows_host("localhost:8000"), door.knows_host("desk.example:8000")
    (True, False)
    >>> door.knows_origin("http://127.0.0.1:8000"), door.knows_origin("http://127.0.0.1:9000")
    (True, False)
    """

    hosts: tuple[str, ...]
    port: int
    token: str = field(default_factory=lambda: secrets.token_urlsafe(32), repr=False)

    def knows_host(self, host: str) -> bool:
        """Whether a `Host` header names the desk: a name that was bent to this machine does not."""
        return host.lower() in {f"{name}:{self.port}" for name in self.hosts}

    def knows_origin(self, origin: str) -> bool:
        """Whether an `Origin` header names the desk's own page."""
        scheme, _, host = origin.partition("://")
        return scheme == "http" and self.knows_host(host)

    def lets_in(self, offered: list[str]) -> bool:
        """Whether the subprotocols that a socket offers hold the token."""
        given = [name.removeprefix("token.") for name in offered if name.startswith("token.")]
        return PROTOCOL in offered and any(
            hmac.compare_digest(one.encode(), self.token.encode()) for one in given
        )


class Pace:
    """Counts messages: so many a second, and some more at once.

    Examples
    --------
    >>> pace = Pace(per_second=10, at_once=2, clock=lambda: 0.0)
    >>> pace.allows(), pace.allows(), pace.allows()
    (True, True, False)
    """

    def __init__(
        self,
        per_second: float = 120,
        at_once: float = 240,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._rate, self._most, self._clock = per_second, at_once, clock
        self._left, self._then = at_once, clock()

    def allows(self) -> bool:
        """Whether one more may come now."""
        now = self._clock()
        self._left = min(self._most, self._left + (now - self._then) * self._rate)
        self._then = now
        if self._left < 1:
            return False
        self._left -= 1
        return True
