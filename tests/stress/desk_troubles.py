"""Full disks, refusing disks and signals while a desk is open, and while drafts follow a recipe.

    python tests/stress/desk_troubles.py --rounds 20
    python tests/stress/desk_troubles.py --only kill watch

Each desk is spoken to over its socket, as its page does. After each trouble the recipe's file is
one that was saved, whole; a desk that is opened next has every edit that was acknowledged, and at
most one that was under way; what was refused was said in a sentence to the window; nobody told a
traceback, nothing unfinished lies about. Full disks are small tmpfs mounts, for root; refusals are
made by strace.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import os
import random
import re
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from kill_runs import leftovers, let_children_hear
from odd_disks import mounted
from websockets.exceptions import ConnectionClosed
from websockets.sync.client import connect

from evenfall.desk.journal import journal_path
from evenfall.develop.example import example_recipe
from evenfall.errors import EvenfallError
from evenfall.recipe import load
from evenfall.recipe.words.prose import stops_prose

SLOWEST_SECONDS = 150
SIGNALS = {signal.SIGINT: 0, signal.SIGTERM: 143, signal.SIGHUP: 129, signal.SIGKILL: -9}
STOPS_AT_FIRST = -2
_TRACED = ["strace", "-f", "-qq", "--seccomp-bpf", "-o", os.devnull]


class NotOpenedError(AssertionError):
    """The desk did not open; what it said."""


class Desk:
    """A desk in a process of its own, and a window that looks at it."""

    def __init__(self, recipe: Path, before: list[str] | None = None) -> None:
        self.process = subprocess.Popen(
            [*(before or []), sys.executable, "-m", "evenfall", "desk", str(recipe), "--no-open"],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            env={**os.environ, "PYTHONUNBUFFERED": "1"},
        )
        assert self.process.stdout is not None
        found = re.search(r":(\d+)/#(\S+)", self.process.stdout.readline())
        if found is None:
            raise NotOpenedError(self.end(None)[1])
        port = int(found[1])
        self.link = connect(
            f"ws://127.0.0.1:{port}/socket",
            origin=f"http://127.0.0.1:{port}",  # type: ignore[arg-type]
            subprotocols=["evenfall.desk", f"token.{found[2]}"],  # type: ignore[list-item]
            sock=socket.create_connection(("127.0.0.1", port)),
            max_size=None,
            proxy=None,
            legacy=True,
        )
        self.state = self.told("state")

    def told(self, *kinds: str) -> dict[str, Any]:
        """What comes next of some kinds; pictures are taken, as a page does."""
        while True:
            data = self.link.recv(timeout=SLOWEST_SECONDS)
            if isinstance(data, bytes):
                number = json.loads(data[4 : 4 + int.from_bytes(data[:4], "little")])["number"]
                self.link.send(json.dumps({"do": "painted", "number": number}))
                continue
            told: dict[str, Any] = json.loads(data)
            if told["tell"] in kinds:
                return told

    def turn(self) -> str:
        """Turn the sky by a third of a stop; the sentence of a refusal, or nothing."""
        message = {"do": "turn", "mood": "dusk", "figure": "gain:sky", "size": "third", "count": 1}
        self.link.send(json.dumps(message))
        before = self.sky()
        while self.sky() == before:
            told = self.told("said", "state")
            if told["tell"] == "said":
                return str(told["text"])
            self.state = told
        return ""

    def save(self) -> str:
        """Save the recipe; the sentence of a refusal, or nothing."""
        self.link.send(json.dumps({"do": "save"}))
        told = self.told("said")
        self.state = self.told("state")
        return "" if told["ok"] else str(told["text"])

    def sky(self) -> str:
        """Where the sky stands, in words."""
        return next(
            span["text"]
            for sentence in self.state["moods"][1]["sentences"]
            for clause in sentence["clauses"]
            for span in clause["spans"]
            if isinstance(span, dict) and span["key"] == "gain:sky"
        )

    def end(self, number: signal.Signals | None = signal.SIGINT) -> tuple[int, str]:
        """Stop it; its exit code and what it said."""
        if number is not None:
            children = Path(f"/proc/{self.process.pid}/task/{self.process.pid}/children")
            traced = children.read_text().split() if "strace" in str(self.process.args) else []
            os.kill(int(traced[0]) if traced else self.process.pid, number)
        _, said = self.process.communicate(timeout=SLOWEST_SECONDS)
        if "Traceback" in said or "never retrieved" in said:
            raise AssertionError(f"ended with {self.process.returncode}: {said}")
        return self.process.returncode, said


class Bench:
    """What a kind of trouble works with."""

    def __init__(self, folder: Path, seed: int) -> None:
        self.folder, self.random = folder, random.Random(seed)
        self.counts: Counter[str] = Counter()

    def scene(self, folder: Path | None = None) -> Path:
        """Give a fresh recipe with its passes."""
        if folder is None:
            folder = Path(tempfile.mkdtemp(dir=self.folder))
        return example_recipe(folder).path

    def come_back(self, recipe: Path, at_least: int, at_most: int, texts: set[str]) -> None:
        """Hold the recipe's file to what was saved, and the next desk to what was acknowledged."""
        if recipe.read_text(encoding="utf-8") not in texts:
            raise AssertionError("the recipe's file is none that was saved")
        load(recipe)
        desk = Desk(recipe)
        sky, expected = desk.sky(), range(at_least, at_most + 1)
        if sky not in [stops_prose(STOPS_AT_FIRST + turns / 3) for turns in expected]:
            raise AssertionError(f"came back with {sky} after {at_least} to {at_most} turns")
        if desk.state.get("conflict"):
            raise AssertionError("a conflict that nobody made")
        if desk.turn():
            raise AssertionError("the next desk cannot turn")
        desk.end()
        if left := [path for path in leftovers(recipe.parent) if path != journal_path(recipe)]:
            raise AssertionError(f"{left} is left over")


def turned(
    desk: Desk,
    bench: Bench,
    recipe: Path,
    most: int,
    texts: set[str],
    seen: Counter[str],
    turns: int = 0,
) -> int:
    """Turn and save by chance; gives acknowledged turns, notes texts and what was said."""
    for _ in range(most):
        if bench.random.random() < 0.15:
            refused = desk.save()
            texts.add(recipe.read_text(encoding="utf-8"))
            seen["saved" if not refused else "not saved"] += 1
        else:
            refused = desk.turn()
            turns += not refused
            seen["turned" if not refused else "not turned"] += 1
        if refused and not re.search(r"cannot be (written|read)|the system refused", refused):
            raise AssertionError(f"refused with: {refused}")
        if desk.sky() != stops_prose(STOPS_AT_FIRST + turns / 3):
            raise AssertionError(f"shows {desk.sky()} after {turns} turns; {refused}")
    return turns


def full(bench: Bench, rounds: int) -> None:
    """The disk of the recipe gets full, before a desk is opened or while one is, and has room."""
    for _ in range(rounds):
        disk = Path(tempfile.mkdtemp(dir=bench.folder))
        with mounted(disk, 400):
            recipe = bench.scene(disk)
            texts, turns, seen = {recipe.read_text(encoding="utf-8")}, 0, Counter[str]()
            if full_before := bench.random.random() < 0.3:
                fill(disk, bench.random.randrange(4))
            try:
                desk = Desk(recipe)
            except NotOpenedError as said:
                if "cannot be written" not in str(said):
                    raise
                bench.counts["full, not opened"] += 1
                (disk / "ballast").unlink()
                bench.come_back(recipe, 0, 0, texts)
                continue
            if not full_before:
                turns = turned(desk, bench, recipe, bench.random.randrange(40), texts, seen)
                fill(disk, bench.random.randrange(2))
            turns = turned(desk, bench, recipe, 60, texts, seen, turns)
            if bench.random.random() < 0.5:
                (disk / "ballast").unlink()
                if desk.turn():
                    raise AssertionError("room again, and no turn")
                turns += 1
            desk.end(bench.random.choice(list(SIGNALS)))
            (disk / "ballast").unlink(missing_ok=True)
            bench.counts += seen
            bench.counts["full"] += 1
            bench.come_back(recipe, turns, turns, texts)


def fill(disk: Path, pages: int) -> None:
    """Leave so many pages of a disk free."""
    with (disk / "ballast").open("wb") as ballast:
        ballast.write(bytes(max(0, shutil.disk_usage(disk).free - 4096 * pages)))


def refusing(bench: Bench, rounds: int) -> None:
    """The system refuses to write to the journal or beside the recipe, as of a moment, or once."""
    for _ in range(rounds):
        recipe = bench.scene()
        call, where = bench.random.choice(
            [
                ("write", journal_path(recipe)),
                ("ftruncate", journal_path(recipe)),
                ("fsync", journal_path(recipe)),
                ("openat", recipe),
                ("read", recipe),
                ("rename", recipe),
                ("openat", recipe.parent),
            ]
        )
        error = bench.random.choice(["EROFS", "EIO", "ENOSPC", "EDQUOT"])
        when = f"{bench.random.randrange(1, 20)}{bench.random.choice(['', '+', '+2'])}"
        inject = f"inject={call}:error={error}:when={when}"
        strace = [*_TRACED, "-P", str(where), "-e", f"trace={call}", "-e", inject]
        try:
            desk = Desk(recipe, strace)
        except NotOpenedError as said:
            if not re.search("cannot be (written|read)|system refused", str(said)):
                raise
            bench.counts["refusing, not opened"] += 1
            bench.come_back(recipe, 0, 0, {recipe.read_text(encoding="utf-8")})
            continue
        texts, seen = {recipe.read_text(encoding="utf-8")}, Counter[str]()
        try:
            turns = turned(desk, bench, recipe, 15, texts, seen)
        except AssertionError as error:
            raise AssertionError(f"{where}: {inject}: {error}") from error
        desk.end(bench.random.choice([signal.SIGINT, signal.SIGTERM, signal.SIGKILL]))
        bench.counts += seen
        bench.counts["refusing"] += 1
        bench.come_back(recipe, turns, turns, texts)


def kill(bench: Bench, rounds: int) -> None:
    """A signal ends the desk while a hand turns, at a moment by chance."""
    for _ in range(rounds):
        recipe = bench.scene()
        desk = Desk(recipe)
        texts = {recipe.read_text(encoding="utf-8")}
        turns = turned(desk, bench, recipe, bench.random.randrange(8), texts, Counter())
        number = bench.random.choice(list(SIGNALS))
        under_way = bench.random.randrange(1, 6)
        with contextlib.suppress(ConnectionClosed):
            for _ in range(under_way):
                desk.link.send(json.dumps({"do": "turn", "mood": "dusk", "figure": "gain:sky",
                                           "size": "third", "count": 1}))  # fmt: skip
            time.sleep(bench.random.uniform(0, 0.2))
        code, _ = desk.end(number)
        if code != SIGNALS[number]:
            raise AssertionError(f"{number.name} ended it with {code}")
        bench.counts[f"killed by {number.name}"] += 1
        bench.come_back(recipe, turns, turns + under_way, texts)


def watch(bench: Bench, rounds: int) -> None:
    """Drafts follow saves of a recipe on a disk that gets full, until a signal ends them."""
    for number in range(rounds):
        recipe = bench.scene()
        disk = Path(tempfile.mkdtemp(dir=bench.folder))
        small = number % 2 == 0
        with mounted(disk, bench.random.randrange(4, 90, 4) if small else 4000):
            watching = subprocess.Popen(
                [sys.executable, "-m", "evenfall", "run", str(recipe), "--draft", "--watch",
                 "--out", str(disk / "drafts")],
                stdout=subprocess.PIPE,
                stderr=subprocess.PIPE,
                text=True,
                env={**os.environ, "PYTHONUNBUFFERED": "1"},
            )  # fmt: skip
            time.sleep(bench.random.uniform(0.5, 2))
            for turn in range(bench.random.randrange(4)):
                text = recipe.read_text(encoding="utf-8")
                beside = recipe.with_name("saving")
                turned = re.sub(r"stops = -2(\.\d)?", f"stops = -2.{turn}", text)
                beside.write_text(turned, encoding="utf-8")
                beside.replace(recipe)
                time.sleep(bench.random.uniform(0, 1))
            if watching.poll() is not None:
                raise AssertionError(f"drafts ended: {watching.communicate()}")
            stop = bench.random.choice(list(SIGNALS))
            watching.send_signal(stop)
            told, said = watching.communicate(timeout=SLOWEST_SECONDS)
            expected = 130 if stop == signal.SIGINT else SIGNALS[stop]
            if watching.returncode != expected or "Traceback" in said:
                raise AssertionError(f"{stop.name}: {watching.returncode}: {said}")
            full = "cannot be written" in said
            bench.counts[f"watch, {'full, ' if full else ''}{stop.name}"] += 1
            bench.counts["drafts told"] += len(told.splitlines())
            whole(disk / "drafts", recipe, small, stop)


def whole(drafts: Path, recipe: Path, small: bool, stop: signal.Signals) -> None:
    """Hold drafts to be pictures that can be read; and the next run to be right, given room."""
    from PIL import Image

    for path in drafts.glob("*.png") if drafts.is_dir() else ():
        with Image.open(path) as picture:
            picture.load()
    left = list(leftovers(drafts)) if drafts.is_dir() else []
    if stop != signal.SIGKILL and left:
        raise AssertionError(f"{left} is left over after {stop.name}")
    if small:
        return
    made = []
    for folder in (drafts, drafts.parent / "fresh"):
        command = [sys.executable, "-m", "evenfall", "run", str(recipe), "--draft", "-q"]
        subprocess.run([*command, "--out", str(folder)], check=True, timeout=SLOWEST_SECONDS)
        made.append({path.name: path.read_bytes() for path in folder.glob("*.png")})
    if made[0] != made[1]:
        raise AssertionError("the next drafts are others than in an empty folder")


TROUBLES: dict[str, Callable[[Bench, int], None]] = {
    "full": full,
    "refusing": refusing,
    "kill": kill,
    "watch": watch,
}


@contextlib.contextmanager
def told_as_failed(name: str, bench: Bench) -> Iterator[None]:
    """Say what came of a kind."""
    try:
        yield
    except (
        AssertionError,
        TimeoutError,
        EvenfallError,
        ConnectionClosed,
        subprocess.SubprocessError,
    ) as error:
        print(f"{name}: FAILED: {type(error).__name__}: {error}", flush=True)
        return
    seen = ", ".join(f"{what} {count}" for what, count in sorted(bench.counts.items()))
    print(f"{name}: nothing half, nothing lost; {seen}", flush=True)


def main() -> None:
    """Run the campaign and say what was seen."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n", 1)[0])
    parser.add_argument("--rounds", type=int, default=20, help="of each kind")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", nargs="*", choices=tuple(TROUBLES), default=tuple(TROUBLES))
    chosen = parser.parse_args()
    let_children_hear()
    for name in chosen.only:
        with tempfile.TemporaryDirectory(prefix="evenfall-desks-") as folder:
            bench = Bench(Path(folder), chosen.seed)
            with told_as_failed(name, bench):
                TROUBLES[name](bench, chosen.rounds)


if __name__ == "__main__":
    main()
