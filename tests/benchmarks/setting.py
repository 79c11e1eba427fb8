"""What benchmarks of whole commands share: options, twelve 4K passes, a folder of their own."""

from __future__ import annotations

import argparse
import os
import shutil
import sys
from dataclasses import dataclass
from pathlib import Path

from passes import make_passes

DOCS = Path(__file__).parents[2] / "docs"
EVENFALL = [sys.executable, "-c", "from evenfall.cli.process import program; program()"]
LIGHTS = 12
SIZE = (3840, 2160)


@dataclass(frozen=True)
class Setting:
    """How often to measure, whether to write it down, and where.

    Parameters
    ----------
    times : int
        Runs of each command.
    write : bool
        Whether the table goes into docs/performance.md.
    passes : Path
        Folder of the passes.
    names : list of str
        Of the passes.
    place : Path
        An empty folder.
    environment : dict of str to str
        Where commands keep what they have worked out.
    """

    times: int
    write: bool
    passes: Path
    names: list[str]
    place: Path
    environment: dict[str, str]


def set_up(description: str, name: str) -> Setting:
    """Read the options, make the passes where they are missing, and empty the folder of a name."""
    parser = argparse.ArgumentParser(description=description.splitlines()[0])
    parser.add_argument("--folder", type=Path, default=Path.home() / ".cache/evenfall-benchmark")
    parser.add_argument("--times", type=int, default=7)
    parser.add_argument("--write", action="store_true", help="into docs/performance.md")
    options = parser.parse_args()
    folder = options.folder
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
    os.environ["PYTHONPYCACHEPREFIX"] = str(folder / "bytecode")  # as where a package is installed
    passes, place = folder / f"{SIZE[0]}x{SIZE[1]}", folder / name
    names = make_passes(passes, SIZE, LIGHTS)
    shutil.rmtree(place, ignore_errors=True)
    place.mkdir()
    environment = {"EVENFALL_CACHE": str(folder / "cache")}
    return Setting(options.times, options.write, passes, names, place, environment)
