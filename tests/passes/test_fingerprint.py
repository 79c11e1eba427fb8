"""Fingerprints of pass files, against hashlib on the whole file and the examples of FIPS 180-4."""

from __future__ import annotations

import hashlib
import os
from pathlib import Path

import numpy as np
import OpenEXR
import pytest

from evenfall.errors import PassError
from evenfall.passes import files
from evenfall.passes import fingerprint as module
from evenfall.passes.fingerprint import fingerprint, noted_fingerprint
from evenfall.passes.reading import read

# FIPS 180-4 example values, SHA-256 of "abc"
ABC = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


def test_the_standards_example(tmp_path: Path) -> None:
    (tmp_path / "sun.exr").write_bytes(b"abc")
    assert fingerprint(tmp_path / "sun.exr") == f"sha256:{ABC}"


@pytest.mark.parametrize("size", [63, 64, 65, 128, 1000])
def test_blocks_make_no_difference(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, size: int
) -> None:
    monkeypatch.setattr(module, "_BLOCK_BYTES", 64)
    data = bytes(range(250)) * 4
    (tmp_path / "sun.exr").write_bytes(data[:size])
    expected = hashlib.sha256(data[:size]).hexdigest()
    assert fingerprint(tmp_path / "sun.exr") == f"sha256:{expected}"


def test_a_missing_file(tmp_path: Path) -> None:
    with pytest.raises(PassError, match=r"moon\.exr: there is no such file"):
        fingerprint(tmp_path / "moon.exr")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes here")
def test_a_named_pipe_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "sun.exr")
    with pytest.raises(PassError, match=r"is a FIFO"):
        fingerprint(tmp_path / "sun.exr")


def test_it_ends_when_it_is_not_wanted_any_more(tmp_path: Path) -> None:
    (tmp_path / "sun.exr").write_bytes(b"abc")
    assert fingerprint(tmp_path / "sun.exr", is_wanted=lambda: False) is None


def test_what_is_kept_of_files_does_not_grow_with_their_number(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("EVENFALL_CACHE", str(tmp_path / "cache"))
    monkeypatch.setattr(module, "_MOST_TURNS", 3)
    found = set()
    for number in range(8):
        path = tmp_path / f"{number}.exr"
        path.write_bytes(bytes([number]))
        found.add(noted_fingerprint(path))
    assert len(found) == 8
    assert len(module._turns) <= 4


@pytest.fixture
def lamp(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("EVENFALL_CACHE", str(tmp_path / "cache"))
    path = tmp_path / "lamp.exr"
    pixels = np.linspace(0, 4, 40 * 30 * 3, dtype=np.float32).reshape(40, 30, 3)
    OpenEXR.File({"compression": OpenEXR.ZIP_COMPRESSION}, {"RGB": pixels}).write(str(path))
    return path


def test_reading_finds_it_on_the_way(lamp: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A file whose pixels were read is not read again for its fingerprint."""
    (found,) = read(lamp, fingerprint=True)

    def read_again(*_: object, **__: object) -> str:
        raise AssertionError("it is read again")

    monkeypatch.setattr(module, "fingerprint", read_again)
    assert not (lamp.parent / "cache").exists()  # nights of frames would fill it with notes
    expected = hashlib.sha256(lamp.read_bytes()).hexdigest()
    assert noted_fingerprint(lamp) == f"sha256:{expected}"
    reference = OpenEXR.File(str(lamp)).channels()["RGB"].pixels  # the format's own library
    assert np.array_equal(found.rgb(), reference)


def test_a_file_that_is_too_large_to_hold_is_read_as_ever(
    lamp: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(files, "_MOST_HELD_BYTES", 100)
    (found,) = read(lamp, fingerprint=True)
    reference = OpenEXR.File(str(lamp)).channels()["RGB"].pixels
    assert np.array_equal(found.rgb(), reference)
    expected = hashlib.sha256(lamp.read_bytes()).hexdigest()
    assert noted_fingerprint(lamp) == f"sha256:{expected}"


def test_a_file_that_is_cut_while_it_is_held_is_refused(lamp: Path) -> None:
    """What is held of a file ends where the file does."""
    data = lamp.read_bytes()
    for size in (5, 200, len(data) - 1):
        lamp.write_bytes(data[:size])
        with pytest.raises(PassError, match=r"lamp\.exr"):
            read(lamp, fingerprint=True)


def test_what_is_written_over_later_is_fingerprinted_anew(lamp: Path) -> None:
    read(lamp, fingerprint=True)
    lamp.write_bytes(lamp.read_bytes() + b"a note behind the last chunk")
    read(lamp, fingerprint=True)
    expected = hashlib.sha256(lamp.read_bytes()).hexdigest()
    assert noted_fingerprint(lamp) == f"sha256:{expected}"
