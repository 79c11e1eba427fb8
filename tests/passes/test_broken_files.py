"""What cannot be read is refused in words that name the file; nothing comes back half read."""

from __future__ import annotations

import errno
import os
import re
import socket
import subprocess
import sys
import threading
from pathlib import Path

import numpy as np
import pytest
from reading_corpus import BROKEN, Broken

from evenfall.errors import PassError
from evenfall.passes import Selector, inspect, read
from evenfall.passes.files import check_inside, open_pass


@pytest.mark.parametrize("case", BROKEN, ids=lambda case: case.file)
def test_broken_files_are_refused_by_name(corpus: Path, case: Broken) -> None:
    path = corpus / case.file
    with pytest.raises(PassError, match=case.says) as caught:
        read(path, [case.selector])
    assert all(fault.file.startswith(str(path)) for fault in caught.value.faults)


@pytest.mark.parametrize(
    "case",
    [case for case in BROKEN if not case.by_pixels],
    ids=lambda case: case.file,
)
def test_faults_of_headers_are_found_without_pixels(corpus: Path, case: Broken) -> None:
    with pytest.raises(PassError, match=case.says):
        inspect(corpus / case.file)


def test_missing_file(tmp_path: Path) -> None:
    with pytest.raises(PassError, match=r"gone\.exr: there is no such file"):
        inspect(tmp_path / "gone.exr")


def test_directory(tmp_path: Path) -> None:
    with pytest.raises(PassError, match="is a directory"):
        read(tmp_path)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no FIFOs on this system")
def test_fifo_is_not_opened(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "sun.exr")
    with pytest.raises(PassError, match=r"is a FIFO \(named pipe\)"):
        read(tmp_path / "sun.exr")


@pytest.mark.skipif(not hasattr(socket, "AF_UNIX"), reason="no sockets in files on this system")
def test_socket_is_not_opened(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    with socket.socket(socket.AF_UNIX) as listening:
        listening.bind("s.exr")
        with pytest.raises(PassError, match="is a socket"):
            read(Path("s.exr"))


def test_device_is_not_opened() -> None:
    with pytest.raises(PassError, match="is a device"):
        read(Path("/dev/zero"))


@pytest.mark.skipif(
    not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may read everything"
)
def test_unreadable_file(corpus: Path, tmp_path: Path) -> None:
    path = tmp_path / "locked.exr"
    path.write_bytes((corpus / "codec_zip.exr").read_bytes())
    path.chmod(0)
    with pytest.raises(PassError, match="may not be read"):
        read(path)


def test_no_permission_is_told(corpus: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object) -> int:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(os, "open", refuse)
    with pytest.raises(PassError, match="may not be read"):
        read(corpus / "codec_zip.exr")


@pytest.mark.skipif(not hasattr(os, "pread"), reason="read in another way on this system")
@pytest.mark.parametrize("code", [errno.EIO, errno.ESTALE], ids=["EIO", "ESTALE"])
@pytest.mark.parametrize(
    "file",
    ["codec_zip.exr", "codec_htj2k32.exr", "tiled.exr", "runs.hdr", "strips.tif", "little.pfm"],
)
def test_a_failing_disk_is_told_by_the_file_at_every_read(
    corpus: Path, monkeypatch: pytest.MonkeyPatch, file: str, code: int
) -> None:
    really, left = os.pread, 0

    def failing(descriptor: int, count: int, offset: int) -> bytes:
        nonlocal left
        left -= 1
        if left < 0:
            raise OSError(code, os.strerror(code))
        return really(descriptor, count, offset)

    monkeypatch.setattr(os, "pread", failing)
    says = rf"{re.escape(file)}: cannot be read: {re.escape(os.strerror(code))}; check the disk"
    left = 1 << 20
    read(corpus / file)
    reads = (1 << 20) - left
    assert reads > 2
    for sound_reads in range(reads):
        left = sound_reads
        with pytest.raises(PassError, match=says):
            read(corpus / file)


def test_file_name_with_a_null_byte() -> None:
    with pytest.raises(PassError, match="cannot be opened"):
        read(Path("sun\0.exr"))


def test_file_that_grows_while_it_is_read(corpus: Path, tmp_path: Path) -> None:
    path = tmp_path / "growing.exr"
    path.write_bytes((corpus / "codec_zip.exr").read_bytes())

    def read_while_it_grows() -> None:
        with open_pass(path) as file:
            file.at(0, 100)
            with path.open("ab") as writing:
                writing.write(b"more")

    with pytest.raises(PassError, match=r"growing\.exr: the file changed while it was read"):
        read_while_it_grows()


def test_link_out_of_the_folder(corpus: Path, tmp_path: Path) -> None:
    link = tmp_path / "sun.exr"
    link.symlink_to(corpus / "codec_zip.exr")
    with pytest.raises(PassError, match="symbolic link out of the passes' folder"):
        check_inside(link, tmp_path)


def test_link_through_a_folder_out_of_the_folder(corpus: Path, tmp_path: Path) -> None:
    (tmp_path / "passes").mkdir()
    (tmp_path / "passes" / "other").symlink_to(corpus)
    with pytest.raises(PassError, match="symbolic link out of the passes' folder"):
        check_inside(tmp_path / "passes" / "other" / "codec_zip.exr", tmp_path / "passes")


def test_links_in_a_circle(tmp_path: Path) -> None:
    (tmp_path / "a.exr").symlink_to(tmp_path / "b.exr")
    (tmp_path / "b.exr").symlink_to(tmp_path / "a.exr")
    with pytest.raises(PassError, match=r"a\.exr: .*(circle|cannot be opened)"):
        read(tmp_path / "a.exr")


def test_link_inside_the_folder_is_followed(corpus: Path, tmp_path: Path) -> None:
    (tmp_path / "v2.exr").write_bytes((corpus / "codec_zip.exr").read_bytes())
    link = tmp_path / "sun.exr"
    link.symlink_to("v2.exr")
    check_inside(link, tmp_path)
    assert read(link)[0].header.path == link


@pytest.mark.parametrize(
    ("file", "selector", "says"),
    [
        ("all_lights_one_part.exr", Selector(), "holds 3 pictures, layers 'fill', 'sky' and 'sun'"),
        (
            "all_lights_one_part.exr",
            Selector("moon"),
            "no layer 'moon'; expected 'fill', 'sky' or 'sun'",
        ),
        ("one_light_a_part.exr", Selector(), "holds 3 pictures, parts 'sun', 'lamp' and 'sky'"),
        (
            "one_light_a_part.exr",
            Selector(part="moon"),
            "no part 'moon'; expected 'sun', 'lamp' or 'sky'",
        ),
        ("view_a_part.exr", Selector(view="top"), "no view 'top'; expected 'left' or 'right'"),
        (
            "codec_zip.exr",
            Selector("sun"),
            "no layer 'sun'; its picture has no name; leave layer out",
        ),
    ],
)
def test_selectors_that_fit_nothing_or_too_much(
    corpus: Path, file: str, selector: Selector, says: str
) -> None:
    with pytest.raises(PassError, match=says):
        read(corpus / file, [selector])


def test_a_part_may_be_named_as_a_layer(corpus: Path) -> None:
    by_part, by_layer = read(
        corpus / "one_light_a_part.exr", [Selector(part="sky"), Selector(layer="sky")]
    )
    assert by_part.header == by_layer.header


def test_without_a_view_the_first_is_read(corpus: Path) -> None:
    assert read(corpus / "view_a_part.exr")[0].header.view == "left"


_READ_TWO_AT_ONCE = """
import sys, threading
from pathlib import Path
from evenfall.errors import PassError
from evenfall.passes import read

def use(path):
    for _ in range(20):
        try:
            read(Path(path))
        except PassError:
            sys.stdout.write("refused\\n")
        sys.stderr.write("still here\\n")

threads = [threading.Thread(target=use, args=(path,)) for path in sys.argv[1:]]
for thread in threads:
    thread.start()
for thread in threads:
    thread.join()
"""


@pytest.mark.skipif(sys.platform != "linux", reason="C's streams are silenced on Linux and macOS")
def test_the_decoder_says_nothing_and_others_are_heard(corpus: Path) -> None:
    """Left to itself the library talks on both streams; see the next test."""
    files = [str(corpus / "rotten.exr"), str(corpus / "codec_zip.exr")]
    done = subprocess.run(
        [sys.executable, "-c", _READ_TWO_AT_ONCE, *files],
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout == "refused\n" * 20
    assert done.stderr == "still here\n" * 40


def test_the_decoder_would_talk_if_it_were_let(corpus: Path) -> None:
    code = "import OpenEXR, sys; OpenEXR.File(sys.argv[1])"
    done = subprocess.run(
        [sys.executable, "-c", code, str(corpus / "rotten.exr")],
        capture_output=True,
        text=True,
        check=True,
    )
    assert "Warning" in done.stdout
    assert "EXR_ERR" in done.stderr


def test_standard_output_is_as_before(corpus: Path) -> None:
    before = sys.stdout
    with pytest.raises(PassError, match="cannot be decoded"):
        read(corpus / "rotten.exr")
    assert sys.stdout is before


def test_parallel_reading_agrees_with_itself(corpus: Path) -> None:
    paths = [corpus / name for name in ("codec_zip.exr", "codec_dwaa.exr", "tiled.exr")]
    expected = {path: read(path)[0].rgb() for path in paths}
    wrong: list[Path] = []

    def check(path: Path) -> None:
        for _ in range(10):
            if not np.array_equal(read(path)[0].rgb(), expected[path]):
                wrong.append(path)

    threads = [threading.Thread(target=check, args=(path,)) for path in paths * 2]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert wrong == []
