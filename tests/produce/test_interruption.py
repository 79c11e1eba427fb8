"""A run that is ended at any moment leaves whole files or none."""

from __future__ import annotations

import contextlib
import os
import shutil
import signal
import subprocess
import sys
import time

import imageio.v3 as imageio
import pytest

import evenfall
from evenfall.develop.example import example_recipe
from evenfall.record.report import RunReport


@pytest.fixture(scope="module")
def drawn(tmp_path_factory):
    """The recipe and its passes, drawn once."""
    return example_recipe(tmp_path_factory.mktemp("drawn"), width=1120, height=630)


@pytest.fixture(scope="module")
def fresh(drawn):
    """Pictures of a run that nothing ends, by name."""
    report = evenfall.open(drawn).run(out=drawn.path.parent / "fresh")
    return {file.path.name: file.path.read_bytes() for file in report.files}


@pytest.fixture(scope="module")
def darker(drawn):
    """A folder of pictures of an exposure that is changed afterwards."""
    evenfall.open(drawn, changes="camera.exposure_stops=-1").run()
    return drawn.path.parent / "pictures"


@pytest.fixture
def large_corner(drawn, tmp_path):
    for path in drawn.path.parent.iterdir():
        if path.is_file():
            shutil.copy2(path, tmp_path)
    return evenfall.load(tmp_path / drawn.path.name)


def start(recipe, *options):
    script = "from evenfall.cli.process import program; program()"
    return subprocess.Popen(
        [sys.executable, "-c", script, "run", str(recipe.path), *options],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env=os.environ | {"PYTHONUNBUFFERED": "1"},
    )


def wait_for_first_file(process, folder, ending=""):
    """Wait until a file lies in the folder, claims aside, or the run has ended."""
    deadline = time.monotonic() + 60
    while process.poll() is None and time.monotonic() < deadline:
        with contextlib.suppress(FileNotFoundError):
            if any(path.name[0] != "." and path.name.endswith(ending) for path in folder.iterdir()):
                return
        time.sleep(0.001)


@pytest.mark.parametrize("delay", [0.0, 0.02, 0.06, 0.12, 0.2])
def test_killed_run_leaves_only_whole_files(large_corner, fresh, tmp_path, delay):
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
    assert {file.path.name: file.path.read_bytes() for file in report.files} == fresh


@pytest.mark.skipif(os.name != "posix", reason="POSIX signals")
@pytest.mark.parametrize(
    ("number", "code"), [(signal.SIGINT, 130), (signal.SIGTERM, 143), (signal.SIGHUP, 129)]
)
@pytest.mark.parametrize("ending", ["json", "png"])
def test_stopped_run_says_so_and_leaves_nothing_behind(
    large_corner, darker, tmp_path, number, code, ending
):
    """Stopped when its report says that it has begun, or when its first picture is there."""
    folder = shutil.copytree(darker, tmp_path / "pictures")
    before = {path.name: path.read_bytes() for path in folder.glob("*.png")}
    (folder / "corner_report.json").unlink()
    (folder / "corner_day.png").unlink()
    process = start(large_corner, "--overwrite")
    wait_for_first_file(process, folder, "report.json" if ending == "json" else "day.png")
    process.send_signal(number)
    output, errors = process.communicate(timeout=60)
    if process.returncode == 0:
        pytest.skip("the run was quicker than the signal")
    assert process.returncode == code
    assert b"Traceback" not in errors
    assert b"Stopped." in errors
    assert output == b""
    assert not [path for path in folder.iterdir() if path.name.startswith(".")]
    report = RunReport.read(folder / "corner_report.json")
    assert report.state == "stopped"
    new = {file.path.name for file in report.files}
    older = {path.name for path in report.outstanding if path.exists()}
    assert new | {path.name for path in report.outstanding} == {*before, "corner_day.png"}
    for name in new:
        assert (folder / name).read_bytes() != before.get(name)
        assert name in next(line for line in errors.decode().splitlines() if "New: " in line)
    for name in older:
        assert (folder / name).read_bytes() == before[name]
        assert name in next(line for line in errors.decode().splitlines() if "As before" in line)


def test_a_killed_run_is_told_of_by_its_report_and_by_the_next_run(large_corner, tmp_path):
    folder = tmp_path / "pictures"
    process = start(large_corner)
    wait_for_first_file(process, folder, "report.json")
    process.kill()
    process.communicate()
    report = RunReport.read(folder / "corner_report.json")
    if report.state == "ended":
        pytest.skip("the run was quicker than the signal")
    assert report.state == "begun"
    assert report.outstanding[0].name == "corner_day.png"
    again = evenfall.open(large_corner).run(overwrite=True)
    (note,) = [note for note in again.notes if "did not end" in note]
    assert f"process {process.pid} on " in note
    assert again.state == "ended"
    assert not [path for path in folder.iterdir() if path.name.startswith(".")]
