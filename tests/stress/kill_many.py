"""Stop evenfall while it makes frames, films, several views, boards, and begin it again.

    python tests/stress/kill_many.py --kills 300
    python tests/stress/kill_many.py --kills 50 --farm    # the leader of a farm of two workers

Each command begins in an empty folder, without `--overwrite`, and is ended by SIGKILL, SIGTERM,
SIGINT or SIGHUP: at a random moment, when a file takes its name, or while one is being written. It
is begun again, and killed again, up to three times, and then let run to its end. At every moment
all files are those that an undisturbed command makes, byte for byte; files that were finished are
kept, not made again; in the end there is nothing else in the folder, nor among temporary files.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import os
import random
import shutil
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

from kill_runs import ORDERLY, SIGNALS, is_before_the_program, let_children_hear

sys.path.insert(0, str(Path(__file__).parents[1] / "several_views"))
from farming import farm

import evenfall
from evenfall.develop.example import example_recipe

ALONE = ("frames", "walk", "films", "views", "folder", "round", "board", "page", "handback")
FARMED = ("farmed views", "farmed films")
ONE_FILE = ("board", "page")  # where it stands, the command says so, and need not be begun again
SLOWEST_SECONDS = 900  # the machine may be stopped for minutes
LOOK_SECONDS = 0.0005
SETTLED_SECONDS = 5.0
HOUR = """
[sequence]
name = "hour"
frames = 6
keys = [{ mood = "day", frame = 1 }, { mood = "dusk", frame = 6 }]
"""
DELIVERABLES = """
[[deliverables]]
format = "png"
"""
FILMS = """
[[deliverables]]
format = "moving webp"

[[deliverables]]
format = "film"
"""


class Campaign:
    """Small views that are worked on and killed at."""

    def __init__(self, folder: Path, seed: int, address: str = "") -> None:
        self.folder, self.address = folder, address
        self.random, self.tries = random.Random(seed), 0
        self.counts: Counter[str] = Counter()
        self.usual: dict[str, float] = {}
        self.whole: dict[str, dict[str, bytes]] = {}
        for name in ("temporary", "cache"):
            (folder / name).mkdir()
        self.frames = recipe_in(folder / "frames", HOUR + DELIVERABLES)
        self.films = recipe_in(folder / "films", HOUR + FILMS)
        self.walk = walk_in(folder / "walk")
        self.house = house_in(folder / "house")
        self.kept = kept_in(folder / "kept")

    def command(self, what: str, out: Path, *, alone: bool = False) -> list[str]:
        """Arguments of a command that writes into a folder."""
        living, kitchen = (str(self.house / f"{name}.toml") for name in ("living", "kitchen"))
        frames = ["--out", str(out / "frames")]
        dask = [] if alone else ["--dask", self.address]
        match what:
            case "frames":
                return ["run", str(self.frames), "--frames", "1-5", *frames]
            case "walk":
                return ["run", str(self.walk), "--frames", "8-11", *frames]
            case "films":
                return ["run", str(self.films), "--mood", "hour", *frames]
            case "views":
                return ["run", living, kitchen, "--out", str(out)]
            case "folder":
                return ["run", str(self.house), "--out", str(out)]
            case "farmed views":
                return ["run", living, kitchen, "--out", str(out), *dask]
            case "farmed films":
                return ["run", str(self.films), "--mood", "hour", *frames, *dask]
            case "round":
                if not (out / "corner.toml").exists():
                    shutil.copytree(self.kept, out, dirs_exist_ok=True)
                return ["run", str(out / "corner.toml"), "-q"]
            case "board":
                return ["board", living, kitchen, "--date", "2026-05-04", "--size", "A4", "--out",
                        str(out / "board.pdf")]  # fmt: skip
            case "page":
                return ["page", living, kitchen, "--date", "2026-05-04", "--out",
                        str(out / "page.html")]  # fmt: skip
            case _:
                files = [f"--out={out / f'lamps{end}'}" for end in (".txt", ".csv", ".json")]
                return ["handback", living, "--mood", "dusk", *files]

    def start(
        self, what: str, out: Path, *more: str, alone: bool = False
    ) -> subprocess.Popen[bytes]:
        """Begin a command."""
        out.mkdir(exist_ok=True)
        return subprocess.Popen(
            [sys.executable, "-m", "evenfall", *self.command(what, out, alone=alone), *more],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            env={
                **os.environ,
                "EVENFALL_CACHE": str(self.folder / "cache"),
                "TMPDIR": str(self.folder / "temporary"),
            },
            start_new_session=True,
        )

    def learn(self, what: str) -> None:
        """Make in an empty folder what a command makes; on one machine, also what farms make."""
        for alone in (True, False):  # the second time with a warm cache, as it will be
            out = self.folder / f"{'alone' if alone else 'again'} {what}"
            begun = time.monotonic()
            self.finish(what, self.start(what, out, alone=alone))
            self.usual[what] = time.monotonic() - begun
            made = dict(files_of(out))
            if self.whole.setdefault(what, made) != made:
                raise AssertionError(f"{what} makes other files the second time")

    def finish(self, what: str, process: subprocess.Popen[bytes], *, code: int = 0) -> str:
        """Wait for a command that nobody stops; what it said."""
        _, said = process.communicate(timeout=SLOWEST_SECONDS)
        if process.returncode != code:
            raise AssertionError(f"{what} ended with {process.returncode}: {said.decode()}")
        return said.decode()

    def try_once(self, what: str, kills: int) -> None:
        """Begin a command in an empty folder, kill it some times, and let it run to its end."""
        out = self.folder / "out"
        stood: dict[str, int] = {}
        for _ in range(kills):
            ended = self.stop(what, out)
            self.hold(what, out, stood)
            if ended or self.is_told_to_stand(what, out):
                break
        self.go_on(what, out)
        self.hold(what, out, stood)
        self.check_end(what, out)
        self.counts[f"whole {what}"] += 1
        shutil.rmtree(out)

    def go_on(self, what: str, out: Path) -> None:
        """Let a command run to its end."""
        if self.is_told_to_stand(what, out):
            said = self.finish(what, self.start(what, out), code=1)
            if "the file exists already" not in said:
                raise AssertionError(f"{what}: said nothing of its file: {said}")
            self.finish(what, self.start(what, out, "--overwrite"))
        else:
            self.finish(what, self.start(what, out))

    def is_told_to_stand(self, what: str, out: Path) -> bool:
        """Whether the one file that a command makes is there, which it tells when begun again."""
        return what in ONE_FILE and dict(files_of(out)) == self.whole[what]

    def stop(self, what: str, out: Path) -> bool:
        """Begin a command and end it; gives whether it had ended by itself."""
        self.tries += 1
        out.mkdir(exist_ok=True)
        before = set(hidden_in(out))
        process, sent = self.start(what, out), self.random.choice(SIGNALS)
        moment = self.random.choice(("any", "name", "part"))
        if is_over := not self.await_moment(what, out, process, moment):
            self.counts["ended before"] += 1
        else:
            process.send_signal(sent)
            self.counts[f"{what} by {sent.name}"] += 1
            self.counts[f"moment: {moment}"] += 1
        _, said = process.communicate(timeout=SLOWEST_SECONDS)
        code = -sent if is_before_the_program(said) else process.returncode
        if code not in (0, -sent, ORDERLY.get(sent)):
            raise AssertionError(f"{what} ended with {code} by {sent.name}: {said.decode()}")
        if b"Traceback" in said and code != -sent:
            raise AssertionError(f"{what} by {sent.name}: {said.decode()}")
        left = set() if what in FARMED else set(hidden_in(out)) - before  # workers live on
        if not is_over and code == ORDERLY.get(sent) and left:
            self.counts["left by an orderly stop"] += 1
            print(f"{what} by {sent.name} left {left}", flush=True)
        return is_over or code == 0

    def await_moment(
        self, what: str, out: Path, process: subprocess.Popen[bytes], moment: str
    ) -> bool:
        """Wait for the moment in which it is to be stopped; False where it ends before."""
        if moment == "any":
            with contextlib.suppress(subprocess.TimeoutExpired):
                process.wait(self.random.uniform(0.2, 1.1) * self.usual[what])
                return False
            return True
        look = files_in if moment == "name" else hidden_in
        seen, awaited = set(look(out)), self.random.randrange(1, len(self.whole[what]) + 1)
        count = 0
        while process.poll() is None:
            found = set(look(out))
            count += len(found - seen)
            seen = found | (seen if moment == "name" else set())
            if count >= awaited:
                time.sleep(self.random.choice((0, 0, 0.001, 0.003)))
                return True
            time.sleep(LOOK_SECONDS)
        return False

    def hold(self, what: str, out: Path, stood: dict[str, int]) -> None:
        """Hold all files against the truth, and those that stood before against what they were."""
        for name, data in files_of(out):
            if name not in self.whole[what] and name.endswith(".frame"):
                continue  # it waits for its film, which says whether it was right
            if self.whole[what].get(name) != data:
                raise AssertionError(f"after {what}: {name} is not what it should be")
        may_change = what in ONE_FILE or what in FARMED  # of a worker whose leader has died
        now = {
            name: (out / name).stat().st_ino
            for name, data in files_of(out)
            if data and not name.endswith("_frames.json")  # of a film, noted before it is there
        }
        for name, node in stood.items():
            if now.get(name, node) != node and not may_change:
                raise AssertionError(f"after {what}: {name} stood, and was made again")
            self.counts["kept"] += now.get(name) == node
            self.counts["made twice"] += now.get(name, node) != node
        stood.update(now)
        for path in files_in(out):
            if path.suffix == ".json" and "lamps" not in path.name:
                json.loads(path.read_bytes())

    def check_end(self, what: str, out: Path) -> None:
        """Nothing is missing, and nothing is left over."""
        made = dict(files_of(out))
        if made != self.whole[what]:
            other = sorted(made.keys() ^ self.whole[what].keys())
            raise AssertionError(f"a whole {what} after kills made other files: {other}")
        if what in FARMED and self.is_unsettled(out):
            self.counts["a part of a dead leader ended after all"] += 1
            self.go_on(what, out)
        for folder in (out, self.folder / "temporary"):
            if left := list(hidden_in(folder)):
                raise AssertionError(f"after a whole {what}: {left} is left over")

    def is_unsettled(self, out: Path) -> bool:
        """Wait for what a dead leader had given to workers; whether something is left of it."""
        end = time.monotonic() + SETTLED_SECONDS
        while any(hidden_in(out)) and time.monotonic() < end:
            time.sleep(LOOK_SECONDS)
        return any(hidden_in(out))


def recipe_in(folder: Path, more: str) -> Path:
    """Write the corner with more text."""
    folder.mkdir()
    recipe = example_recipe(folder)
    recipe.path.write_text(recipe.text + more, encoding="utf-8")
    return recipe.path


def walk_in(folder: Path) -> Path:
    """Write a walk of frames 8 to 11."""
    recipe = recipe_in(folder, "\n[passes]\nframe = 8\n" + DELIVERABLES)
    text = recipe.read_text(encoding="utf-8")
    for light in ("sun", "sky", "lamp"):
        text = text.replace(f"{light}.exr", f"walk_###_{light}.exr")
        for frame in range(8, 12):
            shutil.copy(folder / f"{light}.exr", folder / f"walk_{frame:03d}_{light}.exr")
    recipe.write_text(text, encoding="utf-8")
    return recipe


def house_in(folder: Path) -> Path:
    """Write a folder of two views, one of which has a sequence with a film."""
    folder.mkdir()
    for name, more in (("living", ""), ("kitchen", HOUR.replace("= 6", "= 3") + FILMS)):
        recipe = recipe_in(folder / name, DELIVERABLES + more)
        text = f'passes.folder = "{name}"\n' + recipe.read_text(encoding="utf-8")
        (folder / f"{name}.toml").write_text(text, encoding="utf-8")
        recipe.unlink()
    return folder


def kept_in(folder: Path) -> Path:
    """Write a view of which a round is kept, and one of its moods changed since."""
    recipe = recipe_in(folder, DELIVERABLES)
    view = evenfall.open(recipe)
    view.run()
    view.keep_round(asked="warmer")
    recipe.write_text(
        recipe.read_text(encoding="utf-8").replace("kelvin = 2700", "kelvin = 2400"), "utf-8"
    )
    return folder


def files_in(folder: Path) -> Iterator[Path]:
    """Files that a person sees."""
    for path in sorted(folder.rglob("*")):
        if not path.name.startswith(".") and path.is_file():
            yield path


def files_of(folder: Path) -> Iterator[tuple[str, bytes]]:
    """Files that a person sees, with their bytes; without reports, which hold times."""
    for path in files_in(folder):
        name = path.relative_to(folder).as_posix()
        with contextlib.suppress(FileNotFoundError):
            yield name, b"" if "_report.json" in name else path.read_bytes()


def hidden_in(folder: Path) -> Iterator[Path]:
    """Files and folders that no person sees, or that are none of ours."""
    for path in folder.rglob("*"):
        if path.name.startswith(".") or path.name.startswith("evenfall-"):
            yield path


def main() -> None:
    """Run the campaign and say what was seen."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n", 1)[0])
    parser.add_argument("--kills", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--farm", action="store_true")
    parser.add_argument("--kinds", nargs="*", choices=(*ALONE, *FARMED))
    chosen = parser.parse_args()
    let_children_hear()
    folder = Path(tempfile.mkdtemp(prefix="evenfall-many-"))
    with contextlib.ExitStack() as stack:
        address = ""
        if chosen.farm:
            machines = stack.enter_context(farm(folder / "machines"))
            machines.start_worker()
            machines.start_worker()
            address = machines.address
        campaign = Campaign(folder, chosen.seed, address)
        kinds = chosen.kinds or (FARMED if chosen.farm else ALONE)
        for what in kinds:
            campaign.learn(what)
        while campaign.tries < chosen.kills:
            before, kills = campaign.tries, campaign.random.choice((1, 1, 2, 3))
            campaign.try_once(campaign.random.choice(kinds), kills)
            if before // 50 < campaign.tries // 50:
                print(f"{campaign.tries} tries", flush=True)
    seen = ", ".join(f"{name} {count}" for name, count in sorted(campaign.counts.items()))
    print(f"{campaign.tries} tries, nothing half, nothing lost; {seen}")
    shutil.rmtree(folder)


if __name__ == "__main__":
    main()
