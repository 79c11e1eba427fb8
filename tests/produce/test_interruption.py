"""A run that is ended at any moment leaves whole files or none."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time

import imageio.v3 as imageio
import pytest

import evenfall
from evenfall.develop.example import example_recipe


@pytest.fixture
def large_corner(tmp_path):
    return example_recipe(tmp_path, width=1600, height=900)


def start(recipe, *options):
    script = "from evenfall.cli.process import program; program()"
    return subprocess.Popen(
        [sys.executable, "-c", script, "run", str(recipe.path), *options],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env=os.environ | {"PYTHONUNBUFFERED": "1"},
    )


def wait_for_first_file(process, folder):
    """Wait until something lies in the folder, or the run has ended."""
    deadline = time.monotonic() + 60
    while process.poll() is None and time.monotonic() < deadline:
        if folder.is_dir() and any(folder.iterdir()):
            return
        time.sleep(0.001)


@pytest.mark.parametrize("delay", [0.0, 0.02, 0.06, 0.12, 0.25])
def test_killed_run_leaves_only_whole_files(large_corner, tmp_path, delay):
    """SIGKILL, some time after the first file appears; what has a final name reads back."""
    folder = tmp_path / "pictures"
    process = start(large_corner)
    wait_for_first_file(process, folder)
    time.sleep(delay)
    process.kill()
    process.communicate()
    final = [path for path in folder.glob("*") if not path.name.startswith(".")]
    for path in final:
        if path.suffix == ".png":
            assert imageio.imread(path).ndim == 3
        else:
            assert path.read_text().rstrip().endswith("}")
    report = evenfall.open(large_corner).run(overwrite=True)
    assert not [path for path in folder.iterdir() if path.name.startswith(".")]
    fresh = evenfall.open(large_corner).run(out=tmp_path / "fresh")
    for made, again in zip(fresh.files, report.files, strict=True):
        assert made.path.read_bytes() == again.path.read_bytes()


@pytest.mark.skipif(os.name != "posix", reason="POSIX signals")
@pytest.mark.parametrize(("number", "code"), [(signal.SIGINT, 130), (signal.SIGTERM, 143)])
def test_stopped_run_says_so_and_leaves_nothing_behind(large_corner, tmp_path, number, code):
    folder = tmp_path / "pictures"
    process = start(large_corner)
    wait_for_first_file(process, folder)
    process.send_signal(number)
    output, errors = process.communicate(timeout=60)
    if process.returncode == 0:
        pytest.skip("the run was quicker than the signal")
    assert process.returncode == code
    assert b"Traceback" not in errors
    assert not [path for path in folder.iterdir() if path.name.startswith(".")]
    if number == signal.SIGINT:
        assert b"Stopped." in errors
    assert output == b""
