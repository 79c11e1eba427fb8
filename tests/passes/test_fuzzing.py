"""A short run of the fuzzing script, so that it stays runnable; the long runs are made by hand."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

SCRIPT = Path(__file__).parents[1] / "fuzz" / "fuzz_reading.py"


@pytest.mark.skipif(sys.platform == "win32", reason="the script limits memory as Unix does")
def test_a_hundred_broken_files_do_no_harm() -> None:
    done = subprocess.run(
        [sys.executable, str(SCRIPT), "--mutants", "100", "--workers", "1", "--run-seed", "5"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert "100 mutants" in done.stdout
    assert "0 failures" in done.stdout
