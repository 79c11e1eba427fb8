"""The program as a process: it says everything and ends with the right code, however it ends."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

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


@pytest.mark.skipif(os.name != "posix", reason="a POSIX shell")
def test_streams_that_are_closed_from_the_start_are_no_failure() -> None:
    done = subprocess.run(
        ["/bin/sh", "-c", '"$@" >&- 2>&-', "sh", *PROGRAM, "schema"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="the system has no full device")
@pytest.mark.parametrize("arguments", [["schema"], ["--help"], ["--version"]])
def test_output_that_finds_no_space_is_told_of(arguments: list[str]) -> None:
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(
            [*PROGRAM, *arguments], stdout=full, stderr=subprocess.PIPE, text=True, check=False
        )
    assert done.returncode == 1
    assert done.stderr == "The output cannot be written: No space left on device\n"


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="the system has no full device")
def test_messages_that_find_no_space_do_not_change_the_end() -> None:
    with Path("/dev/full").open("w") as full:
        done = subprocess.run([*PROGRAM, "--help"], stdout=full, stderr=full, check=False)
    assert done.returncode == 1


@pytest.mark.parametrize(
    ("fails", "said"),
    [
        (
            "raise OSError(5, 'Input/output error')",
            "The system refused to read: Input/output error",
        ),
        (
            "raise OSError(5, 'Input/output error', '/home/e\x1b[2J.exr')",
            "/home/e\\x1b[2J.exr: the system refused it: Input/output error",
        ),
        (
            "raise ImportError('libpng16.so.16: cannot read file data')",
            "A part of the program cannot be loaded: libpng16.so.16: cannot read file data",
        ),
    ],
    ids=["nameless", "named", "library"],
)
def test_what_the_system_does_not_give_is_told_as_what_it_is(fails: str, said: str) -> None:
    code = f"""
from evenfall.cli import main, process
def fail(**_):
    {fails}
main.main = fail
process.program()
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (1, said + "\n")
