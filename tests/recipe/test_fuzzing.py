"""A short run of the fuzzing of recipes, so that it stays runnable; long runs are made by hand."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

FUZZ = Path(__file__).parents[1] / "fuzz"

SEEDS_ARE_SOUND = """
import os, sys, tempfile
from pathlib import Path
sys.path.insert(0, sys.argv[1])
import fuzz_recipes
folder = Path(tempfile.mkdtemp(dir=sys.argv[2]))
fuzz_recipes.furnish(folder)
for seed in fuzz_recipes.SEEDS:
    print(fuzz_recipes.outcome_of(folder, seed))
"""


@pytest.mark.skipif(sys.platform == "win32", reason="the script limits memory as Unix does")
def test_odd_recipes_do_no_harm() -> None:
    command = [sys.executable, str(FUZZ / "fuzz_recipes.py"), "--mutants", "60", "--workers", "1"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "60 mutants" in done.stdout


def test_what_mutants_are_made_of_is_sound(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-c", SEEDS_ARE_SOUND, str(FUZZ), str(tmp_path)],
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout.split("\n")[:-1] == ["made", "made"]
