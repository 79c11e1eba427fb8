"""A desk in a process of its own, on a copy of the example recipe, and ways to speak to it."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from evenfall.develop.example import example_recipe

pytest.importorskip("uvicorn", reason="pip install 'evenfall[desk]' brings uvicorn")


class Served:
    """A desk that runs."""

    def __init__(self, recipe: Path, *options: str) -> None:
        self.recipe = recipe
        command = [sys.executable, "-m", "evenfall", "desk", str(recipe), "--no-open", *options]
        environment = dict(os.environ, PYTHONUNBUFFERED="1")
        self.process = subprocess.Popen(
            command,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            env=environment,
            start_new_session=True,
        )
        assert self.process.stdout is not None
        line = self.process.stdout.readline()
        found = re.search(r"http://127\.0\.0\.1:(\d+)/#(\S+)", line)
        assert found is not None, line + self.process.communicate()[1]
        self.url, self.port, self.token = found[0], int(found[1]), found[2]

    def end(self, number: signal.Signals = signal.SIGINT) -> tuple[int, str]:
        """Stop it; its exit code and what it said."""
        if self.process.poll() is None:
            self.process.send_signal(number)
        _, said = self.process.communicate(timeout=20)
        return self.process.returncode, said


@pytest.fixture
def recipe(tmp_path: Path) -> Path:
    """An example recipe with a comment that must stay."""
    path = example_recipe(tmp_path).path
    text = path.read_text(encoding="utf-8")
    path.write_text(f"# what the client asked for\n{text}", encoding="utf-8")
    return path


@pytest.fixture
def serve() -> Iterator[Any]:
    """Start desks; they are stopped, and must have said nothing out of order."""
    begun: list[Served] = []

    def serve(recipe: Path, *options: str) -> Served:
        begun.append(Served(recipe, *options))
        return begun[-1]

    yield serve
    for served in begun:
        _, said = served.end()
        assert "Traceback" not in said


def _served_to_a_sound_end(folder: Path) -> Iterator[Served]:
    served = Served(example_recipe(folder).path)
    yield served
    code, said = served.end()
    assert code == 0
    assert "Traceback" not in said


@pytest.fixture(scope="module")
def common(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """One desk for all tests of a module that leave its recipe as it was."""
    yield from _served_to_a_sound_end(tmp_path_factory.mktemp("common"))


@pytest.fixture(scope="module")
def attacked(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """One desk for all attacks of a module: whatever is done to it, it must live."""
    yield from _served_to_a_sound_end(tmp_path_factory.mktemp("attacked"))


@pytest.fixture
def served(recipe: Path, serve: Any) -> Served:
    """A desk on the example recipe."""
    served: Served = serve(recipe)
    return served
