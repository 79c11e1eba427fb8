"""A scheduler and its workers, as people start them, for tests and the stress script."""

from __future__ import annotations

import contextlib
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

takes_long = pytest.mark.skipif(
    os.environ.get("EVENFALL_LONG_TESTS") != "1",
    reason="takes a minute: EVENFALL_LONG_TESTS=1 runs it",
)
STARTS_WITHIN_SECONDS = 60.0


class Farm:
    """``dask scheduler`` and ``dask worker``, in processes of their own."""

    def __init__(self, folder: Path, **environment: str) -> None:
        self.environment = environment
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = probe.getsockname()[1]
        self.address = f"tcp://127.0.0.1:{self.port}"
        self.folder = folder
        self.workers: list[subprocess.Popen[bytes]] = []
        self.scheduler = self.start_scheduler()

    def start_scheduler(self) -> subprocess.Popen[bytes]:
        self.scheduler = self._start(
            "scheduler", "--host", "127.0.0.1", "--port", str(self.port),
            "--dashboard-address", "127.0.0.1:0", log="scheduler",
        )  # fmt: skip
        end = time.monotonic() + STARTS_WITHIN_SECONDS
        while time.monotonic() < end:
            with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", self.port)):
                return self.scheduler
            time.sleep(0.1)
        raise AssertionError("the scheduler does not start")

    def start_worker(self, *options: str, cwd: Path | None = None) -> subprocess.Popen[bytes]:
        worker = self._start(
            "worker", self.address, "--nthreads", "1", "--no-dashboard", "--no-nanny",
            "--memory-limit", "0", *options, log=f"worker{len(self.workers)}", cwd=cwd,
        )  # fmt: skip
        self.workers.append(worker)
        return worker

    def _start(self, *arguments: str, log: str, cwd: Path | None = None) -> subprocess.Popen[bytes]:
        with (self.folder / f"{log}.log").open("ab") as out:
            return subprocess.Popen(
                [sys.executable, "-W", "ignore", "-m", "dask", *arguments],
                cwd=cwd or self.folder,
                stdout=out,
                stderr=out,
                env={**os.environ, **self.environment, "PYTHONPATH": os.pathsep.join(sys.path)},
            )

    def stop(self) -> None:
        for process in (*self.workers, self.scheduler):
            if process.poll() is None:
                process.send_signal(signal.SIGKILL)
            process.wait()


@contextlib.contextmanager
def farm(folder: Path, **environment: str) -> Iterator[Farm]:
    """Start a farm in a folder for its logs; everything is stopped in the end."""
    folder.mkdir(exist_ok=True)
    started = Farm(folder, **environment)
    try:
        yield started
    finally:
        started.stop()
