"""Attacks on the port: what another page, another name or a flood can do there: nothing."""

from __future__ import annotations

import contextlib
import http.client
import json
import os
import random
import signal
import socket
import time
from pathlib import Path
from typing import Any

import pytest

from evenfall.desk.journal import journal_path
from evenfall.recipe import load

sync = pytest.importorskip("websockets.sync.client", reason="pip install 'evenfall[desk]'")
exceptions = pytest.importorskip("websockets.exceptions", reason="pip install 'evenfall[desk]'")


def get(served: Any, path: str, host: str | None = None, method: str = "GET") -> Any:
    connection = http.client.HTTPConnection("127.0.0.1", served.port, timeout=10)
    headers = {"Host": host} if host is not None else {}
    connection.request(method, path, headers=headers)
    response = connection.getresponse()
    response.body = response.read()  # type: ignore[attr-defined]
    connection.close()
    return response


def call(served: Any, *, origin: str | None = "", token: str | None = None, host: str = "") -> Any:
    own = f"http://127.0.0.1:{served.port}"
    return sync.connect(
        f"ws://{host or '127.0.0.1'}:{served.port}/socket",
        origin=own if origin == "" else origin,
        subprotocols=["evenfall.desk", f"token.{served.token if token is None else token}"],
        sock=socket.create_connection(("127.0.0.1", served.port)),
        open_timeout=10,
        max_size=None,
        proxy=None,
    )


def state_of(link: Any, version: int = 0) -> dict[str, Any]:
    """The next state that the desk tells, of a version at least."""
    while True:
        data = link.recv(timeout=20)
        if isinstance(data, bytes):
            number = json.loads(data[4 : 4 + int.from_bytes(data[:4], "little")])["number"]
            link.send(json.dumps({"do": "painted", "number": number}))
            continue
        told = json.loads(data)
        if told["tell"] == "state" and told["version"] >= version:
            return told


def receive_all(link: Any) -> None:
    while True:
        link.recv(timeout=20)


def turn(link: Any, count: int = 1) -> None:
    link.send(json.dumps({"do": "turn", "mood": "dusk", "figure": "gain:sky", "size": "third",
                          "count": count}))  # fmt: skip


def test_the_page_allows_nothing_but_itself(attacked: Any) -> None:
    for path in ("/", "/assets/desk.css", "/assets/main.js", "/assets/Inter-Regular.woff2"):
        answer = get(attacked, path)
        assert answer.status == 200
        policy = answer.headers["content-security-policy"]
        assert policy.startswith("default-src 'none'; script-src 'self'; style-src 'self'")
        assert "unsafe" not in policy
        assert "frame-ancestors 'none'" in policy
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers["cross-origin-resource-policy"] == "same-origin"
        assert attacked.token.encode() not in answer.body
    assert b"http" not in get(attacked, "/").body


@pytest.mark.parametrize(
    "path",
    [
        "/corner.toml", "/assets/corner.toml", "/assets/../server.py", "/assets/%2e%2e/server.py",
        "/assets/..%2f..%2fpage%2fhtml.py", "/assets//etc/passwd", "/assets/%2fetc%2fpasswd",
        "/assets/desk.css%00.js", "/assets/.", "/assets/", "/socket", "/assets/server.py",
    ],
)  # fmt: skip
def test_nothing_else_can_be_read(attacked: Any, path: str) -> None:
    assert get(attacked, path).status in (403, 404, 400, 405)


@pytest.mark.parametrize("host", ["desk.example", "127.0.0.1", "127.0.0.1.nip.example:{port}", ""])
def test_a_name_that_was_bent_to_this_machine_is_refused(attacked: Any, host: str) -> None:
    """Rebinding: the browser connects to the loopback, but the Host header gives it away."""
    assert get(attacked, "/", host.format(port=attacked.port)).status in (400, 421)


@pytest.mark.parametrize(
    ("origin", "token"),
    [
        ("http://evil.example", None),
        ("https://127.0.0.1:{port}", None),
        ("http://127.0.0.1:1", None),
        ("null", None),
        (None, None),
        ("", "guessed"),
        ("", ""),
    ],
)
def test_no_other_page_gets_a_socket(attacked: Any, origin: str | None, token: str | None) -> None:
    given = origin.format(port=attacked.port) if origin else origin
    with pytest.raises(exceptions.InvalidStatus, match="403"):
        call(attacked, origin=given, token=token)


def test_a_bent_name_gets_no_socket_either(attacked: Any) -> None:
    with pytest.raises(exceptions.InvalidStatus, match="403"):
        call(attacked, host="desk.example")


@pytest.mark.parametrize(
    "message",
    [
        "", "{", "[]", "null", '"undo"', '{"do": "open", "path": "/etc/passwd"}', '{"do": 1}',
        '{"do": "undo", "also": 1}', '{"do": "turn", "mood": "dusk"}', "[" * 5000,
        '{"do": "turn", "mood": "dusk", "figure": "gain:sky", "size": "third", "count": 1e9}',
        '{"do": "ask", "mood": "dusk", "x": NaN, "y": 0}',
        '{"do": "say", "mood": "dusk", "text": "' + "x" * 2000 + '"}',
    ],
)  # fmt: skip
def test_what_is_no_message_is_refused_and_the_desk_lives(attacked: Any, message: str) -> None:
    with call(attacked) as link:
        link.send(message)
        while (told := json.loads(link.recv(timeout=20)))["tell"] != "said":
            pass
        assert told["text"] == "that is no message of the desk"
        turn(link)
        state_of(link)


@pytest.mark.parametrize("message", ["x" * 40_000, b"\0" * 100, "x" * 17_000])
def test_oversized_and_binary_messages_end_the_window(attacked: Any, message: str | bytes) -> None:
    with call(attacked) as link:
        link.send(message)
        with pytest.raises(exceptions.ConnectionClosed):
            receive_all(link)
    with call(attacked) as link:
        assert state_of(link)["moods"]


def test_a_flood_ends_the_window_that_makes_it(attacked: Any) -> None:
    with call(attacked) as link:
        with contextlib.suppress(exceptions.ConnectionClosed):
            for _ in range(5000):
                link.send('{"do": "painted", "number": 1}')
        with pytest.raises(exceptions.ConnectionClosed):
            receive_all(link)
    with call(attacked) as link:
        assert state_of(link)["moods"]


def test_more_windows_than_a_desk_has_room_for(attacked: Any) -> None:
    with contextlib.ExitStack() as stack:
        for _ in range(8):
            stack.enter_context(call(attacked))
        link = stack.enter_context(call(attacked))
        with pytest.raises(exceptions.ConnectionClosed, match="too many"):
            link.recv(timeout=20)


def test_random_bytes_on_the_port(attacked: Any) -> None:
    dice = random.Random(3)
    for _ in range(20):
        with socket.create_connection(("127.0.0.1", attacked.port), timeout=5) as raw:
            raw.sendall(dice.randbytes(dice.randrange(1, 5000)))
    with call(attacked) as link:
        assert state_of(link)["moods"]


def test_a_recipe_is_reached_by_its_figures_only(attacked: Any) -> None:
    """Words reach no file: a phrase names lights and dials, and what it gives is a sound recipe."""
    with call(attacked) as link:
        for text in ('sun = { file = "/etc/passwd" }', "../../x off", "sky off\n[passes]", "\0"):
            link.send(json.dumps({"do": "say", "mood": "dusk", "text": text}))
            while (told := json.loads(link.recv(timeout=20)))["tell"] != "said":
                pass
            assert told["ok"] is False
    assert "passwd" not in attacked.recipe.read_text(encoding="utf-8")


def test_two_windows_see_one_recipe(served: Any) -> None:
    with call(served) as one, call(served) as other:
        version = state_of(one)["version"]
        state_of(other)
        turn(one)
        figures = [
            [span["text"] for sentence in state_of(link, version + 1)["moods"][1]["sentences"]
             for clause in sentence["clauses"] for span in clause["spans"]
             if isinstance(span, dict) and span["key"] == "gain:sky"]
            for link in (one, other)
        ]  # fmt: skip
        assert figures == [["1 2/3 stops down"]] * 2


def test_ended_by_ctrl_c_it_keeps_what_is_not_saved(served: Any, recipe: Path, serve: Any) -> None:
    before = recipe.read_bytes()
    with call(served) as link:
        version = state_of(link)["version"]
        turn(link)
        assert state_of(link, version + 1)["unsaved"]
    code, said = served.end()
    assert code == 0
    assert "Edits that are not saved are kept" in said
    assert recipe.read_bytes() == before
    with call(serve(recipe)) as link:
        assert state_of(link)["unsaved"]


@pytest.mark.skipif(os.name != "posix", reason="kills a process as POSIX systems do")
def test_killed_at_any_moment_the_recipe_is_whole_and_the_edits_come_back(
    recipe: Path, serve: Any
) -> None:
    dice = random.Random(11)
    turned = 0
    for _ in range(4):
        served = serve(recipe)
        with call(served) as link:
            version = state_of(link)["version"]
            for _ in range(dice.randrange(2, 6)):
                turn(link)
                version = state_of(link, version + 1)["version"]
                turned += 1
            link.send('{"do": "save"}')
            time.sleep(dice.random() * 0.05)
            served.end(signal.SIGKILL)
        assert list(load(recipe).moods) == ["day", "dusk"]
    with call(serve(recipe)) as link:
        (text,) = [
            span["text"] for sentence in state_of(link)["moods"][1]["sentences"]
            for clause in sentence["clauses"] for span in clause["spans"]
            if isinstance(span, dict) and span["key"] == "gain:sky"
        ]  # fmt: skip
    from evenfall.recipe.words.prose import stops_prose

    assert text == stops_prose(-2 + turned / 3)
    assert journal_path(recipe.resolve()).exists()


def test_it_is_served_to_this_machine_alone(attacked: Any) -> None:
    """The address it listens at is the loopback's: read from the system's own table."""
    table = Path("/proc/net/tcp")
    if not table.exists():
        pytest.skip("no table of sockets on this system")
    rows = [line.split() for line in table.read_text().splitlines()[1:]]
    listening = [row[1] for row in rows if row[3] == "0A"]
    assert f"0100007F:{attacked.port:04X}" in listening
    assert f"00000000:{attacked.port:04X}" not in listening
