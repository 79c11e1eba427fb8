"""Stop evenfall at random moments while it makes pictures; nothing may be half or lost.

    python tests/stress/kill_runs.py --kills 1000

Runs, drafts, figures with pictures, surveys that write a recipe, proofs with a picture, and runs
with a fresh cache are begun in two settings in turn, and ended by SIGKILL, SIGTERM, SIGINT or
SIGHUP. After each, every file is one of those that whole commands make, byte for byte, and no
traceback was told. Each fifth time the command is let run to its end: it makes the very bytes that
it makes in an empty folder, and nothing unfinished lies about.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

from evenfall.develop.example import example_recipe
from evenfall.system.partials import PARTIAL_ENDING

SLOWEST_SECONDS = 120
SIGNALS = (signal.SIGKILL, signal.SIGTERM, signal.SIGINT, signal.SIGHUP)
ORDERLY = {signal.SIGTERM: 143, signal.SIGINT: 130, signal.SIGHUP: 129}
SETTINGS = (
    ("--set", "look.grain.strength=0.2", "--set", "passes.repair.fireflies=true"),
    ("--set", "moods.dusk.camera.exposure_stops=0.5", "--set", "passes.repair.fireflies=true"),
)


class Campaign:
    """A tiny view that is worked on and killed at."""

    def __init__(self, folder: Path, seed: int) -> None:
        self.folder = folder
        (folder / "scene").mkdir()
        self.recipe = example_recipe(folder / "scene").path
        add_beauty(self.recipe)
        self.random = random.Random(seed)
        self.counts: Counter[str] = Counter()
        self.known: dict[tuple[str, str], set[bytes]] = {}
        self.usual: dict[str, float] = {}
        self.whole: dict[tuple[str, int], dict[str, bytes]] = {}

    def command(self, what: str, setting: int, out: Path) -> list[str]:
        """Arguments of a command that writes into a folder."""
        out.mkdir(parents=True, exist_ok=True)
        settings = SETTINGS[setting]
        recipe = str(self.recipe)
        match what:
            case "run" | "cache":
                return ["run", recipe, "--out", str(out), "--overwrite", "-q", *settings]
            case "draft":
                return ["run", recipe, "--draft", "--out", str(out), "--overwrite", "-q", *settings]
            case "meter":
                return ["meter", recipe, "--pictures", str(out), "--overwrite", *settings]
            case "prove":
                picture = str(out / "differs.png")
                return ["prove", recipe, "--picture", picture, "--overwrite"]
            case _:
                scene, written = str(self.recipe.parent), str(out / "view.toml")
                pattern = [(), ("--pattern", r"(?P<light>s\w+)")][setting]
                return ["survey", scene, "--write", written, "--overwrite", *pattern]

    def start(self, what: str, setting: int, out: Path, cache: Path) -> subprocess.Popen[bytes]:
        """Begin a command."""
        return subprocess.Popen(
            [sys.executable, "-m", "evenfall", *self.command(what, setting, out)],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            env={**os.environ, "EVENFALL_CACHE": str(cache)},
            start_new_session=True,
        )

    def out(self, what: str) -> Path:
        """Where a command writes all through the campaign."""
        return self.folder / what

    def cache(self, what: str) -> Path:
        """Keep a cache all through the campaign; a command of its own begins with none."""
        cache = self.folder / ("cold" if what == "cache" else "warm")
        if what == "cache" and self.random.random() < 0.5:
            shutil.rmtree(cache, ignore_errors=True)
        return cache

    def complete(self, what: str, setting: int, out: Path, cache: Path) -> dict[str, bytes]:
        """Let a command run to its end; what it made."""
        begun = time.monotonic()
        process = self.start(what, setting, out, cache)
        _, said = process.communicate(timeout=SLOWEST_SECONDS)
        seconds = time.monotonic() - begun
        self.usual[what] = min(seconds, self.usual.get(what, seconds))
        if process.returncode not in ((0, 1) if what == "prove" else (0,)):
            raise AssertionError(f"{what} ended with {process.returncode}: {said.decode()}")
        return dict(files_of(out))

    def learn(self, what: str) -> None:
        """Make in empty folders what a command makes in each setting."""
        for setting in range(len(SETTINGS)):
            out = self.folder / f"alone_{what}_{setting}"
            made = self.complete(what, setting, out, self.folder / "learning")
            self.whole[what, setting] = made
            for name, data in made.items():
                self.known.setdefault((what, name), set()).add(data)

    def stop(self, what: str, setting: int) -> None:
        """Begin a command and end it at a random moment."""
        cache = self.cache(what)
        process = self.start(what, setting, self.out(what), cache)
        # Half of the signals hit the last part, in which files are written.
        earliest = self.random.choice([0.0, 0.7]) * self.usual[what]
        sent = self.random.choice(SIGNALS)
        try:
            process.wait(self.random.uniform(earliest, 1.15 * self.usual[what]))
            self.counts["ended before"] += 1
        except subprocess.TimeoutExpired:
            process.send_signal(sent)
            self.counts[f"{what} by {sent.name}"] += 1
        begun = time.monotonic()
        _, said = process.communicate(timeout=SLOWEST_SECONDS)
        self.counts["slowest to stop, ms"] = max(
            self.counts["slowest to stop, ms"], round(1000 * (time.monotonic() - begun))
        )
        code = process.returncode
        if is_before_the_program(said):
            self.counts["stopped in Python's start"] += 1
            code = -sent
        if code not in (0, 1, -sent, ORDERLY.get(sent)) or (code == 1 and what != "prove"):
            raise AssertionError(f"{what} ended with {code} by {sent.name}: {said.decode()}")
        if b"Traceback" in said and code != -sent:
            raise AssertionError(f"{what} by {sent.name}: {said.decode()}")
        self.check(what)
        if code == ORDERLY.get(sent) and any(leftovers(self.out(what), cache)):
            self.counts["left by an orderly stop"] += 1

    def check(self, what: str) -> None:
        """Hold all files against those of whole commands."""
        for name, data in files_of(self.out(what)):
            if data not in self.known[what, name]:
                raise AssertionError(f"after {what}: {name} is neither the old nor the new")
        for report in self.out(what).glob("*_report.json"):
            json.loads(report.read_bytes())
        self.counts["leftovers seen"] += any(leftovers(self.out(what)))

    def go_on(self, what: str, setting: int) -> None:
        """Let the next command run to its end, and hold what it made against the truth."""
        made = self.complete(what, setting, self.out(what), self.cache(what))
        if made != self.whole[what, setting]:
            differ = {name for name in made if made[name] != self.whole[what, setting].get(name)}
            raise AssertionError(f"a whole {what} after kills made other {differ}")
        if left := list(leftovers(self.out(what))):
            raise AssertionError(f"after a whole {what}: {left} is left over")
        self.counts[f"whole {what}"] += 1


def add_beauty(recipe: Path) -> None:
    """Write the sum of all lights beside them, and name it."""
    import OpenEXR

    total = sum(
        OpenEXR.File(str(recipe.with_name(f"{light}.exr"))).channels()["RGB"].pixels.astype("f4")
        for light in ("sun", "sky", "lamp")
    )
    OpenEXR.File({}, {"RGB": total}).write(str(recipe.with_name("beauty.exr")))
    with recipe.open("a", encoding="utf-8") as stream:
        stream.write('\n[passes]\nbeauty = { file = "beauty.exr" }\n')


def files_of(folder: Path) -> Iterator[tuple[str, bytes]]:
    """Files that a person sees, without reports, which hold times."""
    for path in sorted(folder.iterdir()):
        if not path.name.startswith(".") and not path.name.endswith("_report.json"):
            yield path.name, path.read_bytes()


def leftovers(*folders: Path) -> Iterator[Path]:
    """Unfinished files."""
    for folder in folders:
        yield from folder.rglob(f".*{PARTIAL_ENDING}")


def is_before_the_program(said: bytes) -> bool:
    """Whether Python itself was stopped in its start, before the program is there to be asked."""
    return b"Traceback" in said and b"in program\n" not in said


def let_children_hear() -> None:
    """Take back that a shell has its background jobs ignore signals, which goes on to children."""
    for number in (signal.SIGINT, signal.SIGHUP):
        signal.signal(number, signal.SIG_DFL)


def main() -> None:
    """Run the campaign and say what was seen."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n", 1)[0])
    parser.add_argument("--kills", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=1)
    chosen = parser.parse_args()
    let_children_hear()
    kinds = ("run", "cache", "draft", "meter", "prove", "survey")
    with tempfile.TemporaryDirectory(prefix="evenfall-kills-") as folder:
        campaign = Campaign(Path(folder), chosen.seed)
        for what in kinds:
            campaign.learn(what)
            campaign.go_on(what, 0)
        for number in range(chosen.kills):
            what = campaign.random.choice(kinds)
            setting = campaign.random.randrange(len(SETTINGS))
            campaign.stop(what, setting)
            if number % 5 == 4:
                campaign.go_on(what, setting)
            if number % 100 == 99:
                print(f"{number + 1} tries", flush=True)
        for what in kinds:
            campaign.go_on(what, 1)
    seen = ", ".join(f"{name} {count}" for name, count in sorted(campaign.counts.items()))
    print(f"{chosen.kills} tries, nothing half, nothing lost; {seen}")


if __name__ == "__main__":
    main()
