"""The program as a process: it says everything and ends with the right code, however it ends."""

from __future__ import annotations

import subprocess
import sys

PROGRAM = [sys.executable, "-c", "from evenfall.cli.process import program; program()"]


def test_all_is_said_before_a_quick_end() -> None:
    done = subprocess.run([*PROGRAM, "schema"], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")
    assert len(done.stdout) > 10_000
    assert done.stdout.endswith("}\n")


def test_wrong_usage_ends_with_two() -> None:
    done = subprocess.run([*PROGRAM, "run"], capture_output=True, text=True, check=False)
    assert done.returncode == 2
    assert "RECIPE" in done.stderr


def test_a_reader_that_has_gone_is_no_traceback() -> None:
    with subprocess.Popen(
        [*PROGRAM, "schema"], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as process:
        assert process.stdout is not None
        process.stdout.close()
        assert process.stderr is not None
        said = process.stderr.read()
    assert "Traceback" not in said
