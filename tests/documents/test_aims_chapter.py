"""The chapter on aims: its snippet and its commands, as written, on the small sample view."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image

import evenfall
from evenfall.cli.main import main

from .reading import chapter, commands, snippets


def test_commands_run_and_aims_are_met(sample: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = sample / "view.toml"
    (aims,) = snippets(15)
    text = path.read_text(encoding="utf-8")
    start = "# Night: dusk with the sky almost gone"
    assert start in text
    path.write_text(text.replace(start, f"{aims}\n{start}"), encoding="utf-8")
    assert set(tomllib.loads(aims)["moods"]["dusk"]["aims"]) == {"table", "gable", "lamps"}
    graded = np.round(evenfall.open(path, draft=True).develop("dusk").encoded() * 255)
    Image.fromarray(graded.astype(np.uint8)).save(sample / "graded.jpg", quality=92)
    monkeypatch.chdir(sample)
    typed = commands(re.sub(r"```toml\n.*?```\n", "", chapter(15), flags=re.DOTALL))
    assert len(typed) == 4
    for line in typed:
        done = CliRunner().invoke(main, line.split()[1:])
        assert done.exit_code == 0, (line, done.output)
        if " aim " in line:
            assert "misses by" not in done.output
