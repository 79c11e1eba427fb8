"""Stop evenfall at random moments while it keeps, returns to and changes; nothing may be lost.

    python tests/stress/kill_rounds.py --kills 300

It gets SIGKILL, SIGTERM or SIGINT, of which the last two must end it in order, without a traceback.
After each the recipe must be sound and one of the texts it was before or was to become, every
round kept until then unchanged, and every folder of a round whole. Each tenth time a command is let
run to its end, after which nothing unfinished may lie about.
"""

from __future__ import annotations

import argparse
import hashlib
import os
import random
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

from kill_runs import is_before_the_program, let_children_hear

from evenfall.develop.example import example_recipe
from evenfall.errors import EvenfallError
from evenfall.recipe import load
from evenfall.record.rounds import read_rounds, rounds_folder
from evenfall.system.partials import PARTIAL_ENDING

SLOWEST_SECONDS = 60
STOPS = (signal.SIGKILL, signal.SIGTERM, signal.SIGINT)
ENDINGS = {0, 2, *(-sign for sign in STOPS), *(128 + sign for sign in STOPS)}


class Campaign:
    """One folder with a recipe that is worked on and killed at."""

    def __init__(self, folder: Path, seed: int) -> None:
        self.path = example_recipe(folder).path
        self.random = random.Random(seed)
        self.kept: dict[str, dict[str, str]] = {}
        self.usual: dict[str, float] = {}
        self.counts: Counter[str] = Counter()
        self.stop = 0

    def command(self, what: str) -> list[str]:
        """Arguments of the next command of a kind."""
        if what == "change":
            self.stop += 1
            gain = self.random.choice(["up 1/3", "down 1/3", "x1.25"])
            kelvin = 2000 + 7 * self.stop % 4000
            return ["change", str(self.path), "dusk", f"lamp {gain}, {kelvin} K"]
        if what == "keep":
            return ["round", "keep", str(self.path), "--asked", f"wish {self.stop}", "-q"]
        numbers = [kept.number for kept in self.rounds()]
        number = str(self.random.choice(numbers))
        return ["round", "return", number, "--recipe", str(self.path)]

    def rounds(self):
        """All that is kept."""
        return read_rounds(rounds_folder(self.path))

    def start(self, arguments: list[str]) -> subprocess.Popen[bytes]:
        """Begin a command."""
        return subprocess.Popen(
            [sys.executable, "-m", "evenfall", *arguments],
            cwd=self.path.parent,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
        )

    def complete(self, what: str) -> None:
        """Let a command run to its end, and time it."""
        begun = time.monotonic()
        process = self.start(self.command(what))
        _, said = process.communicate(timeout=SLOWEST_SECONDS)
        seconds = time.monotonic() - begun
        self.usual[what] = min(seconds, self.usual.get(what, seconds))
        if process.returncode not in (0, 2):  # 2: it changes nothing, or stands so already
            raise AssertionError(f"{what} ended with {process.returncode}: {said.decode()}")
        self.check(what, finished=process.returncode == 0)

    def kill(self, what: str) -> None:
        """Begin a command and kill it at a random moment."""
        process = self.start(self.command(what))
        # Half of the kills hit the last part, in which files are written.
        earliest = self.random.choice([0.0, 0.75]) * self.usual[what]
        delay = self.random.uniform(earliest, 1.15 * self.usual[what])
        try:
            process.wait(delay)
            self.counts["ended before"] += 1
        except subprocess.TimeoutExpired:
            sign = self.random.choice(STOPS)
            os.kill(process.pid, sign)
            self.counts[f"{sign.name} {what}"] += 1
        _, said = process.communicate(timeout=SLOWEST_SECONDS)
        if is_before_the_program(said):
            self.counts["stopped in Python's start"] += 1
        elif process.returncode not in ENDINGS or b"Traceback" in said:
            raise AssertionError(f"{what} ended with {process.returncode}: {said.decode()}")
        self.check(what, finished=False)

    def check(self, what: str, *, finished: bool) -> None:
        """Hold everything on the disk against what it must be."""
        load(self.path)  # sound, and whole
        for kept in self.rounds():
            if kept.trouble or kept.damages:
                raise AssertionError(
                    f"after {what}: round {kept.number} {kept.trouble} {kept.damages}"
                )
            found = {
                file.name: hashlib.sha256(file.read_bytes()).hexdigest()
                for file in kept.folder.iterdir()
            }
            before = self.kept.setdefault(kept.folder.name, found)
            if found != before:
                raise AssertionError(f"after {what}: round {kept.number} is not what it was")
        gone = self.kept.keys() - {kept.folder.name for kept in self.rounds()}
        if gone:
            raise AssertionError(f"after {what}: rounds {gone} are gone")
        left = [
            path
            for folder in (self.path.parent, rounds_folder(self.path))
            for path in folder.glob(f".*{PARTIAL_ENDING}")
        ]
        self.counts["leftovers seen"] += bool(left)
        if finished and what != "return" and any(self.is_own(what, path) for path in left):
            raise AssertionError(f"after a whole {what}: {left} is left over")

    def is_own(self, what: str, path: Path) -> bool:
        """Whether the next command of this kind was to clear what is left."""
        return path.parent == (self.path.parent if what == "change" else rounds_folder(self.path))


def main() -> None:
    """Run the campaign and say what was seen."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    chosen = parser.parse_args()
    let_children_hear()
    with tempfile.TemporaryDirectory(prefix="evenfall-kills-") as folder:
        campaign = Campaign(Path(folder), chosen.seed)
        for what in ("keep", "change", "keep", "return"):
            campaign.complete(what)
        for number in range(chosen.kills):
            what = campaign.random.choice(["keep", "change", "return"])
            try:
                campaign.kill(what)
                if number % 10 == 9:
                    campaign.complete(campaign.random.choice(["keep", "change"]))
            except EvenfallError as error:
                raise AssertionError(f"after {what}: {error}") from error
        campaign.complete("change")
        campaign.complete("keep")
        kept = len(campaign.rounds())
    seen = ", ".join(f"{name} {count}" for name, count in sorted(campaign.counts.items()))
    print(f"{chosen.kills} tries, {kept} rounds kept, none lost or harmed; {seen}")


if __name__ == "__main__":
    main()
