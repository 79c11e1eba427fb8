"""Standard output while decoders are silenced in some threads and other threads print."""

from __future__ import annotations

import io
import subprocess
import sys
import threading
from collections.abc import Callable
from contextlib import redirect_stdout

from evenfall.passes.openexr.quiet import decoder_silenced

PRINTING = """
import sys, threading, time
from evenfall.passes.openexr.quiet import decoder_silenced

class Slow:
    def write(self, text):
        time.sleep(1e-4)  # others have their turn, as while a terminal writes
        said.append(text)

    def flush(self):
        pass

said, ended = [], threading.Event()
sys.stdout = Slow()

def decode():
    while not ended.is_set():
        with decoder_silenced():
            print("lost")
            time.sleep(1e-5)

decoding = threading.Thread(target=decode)
decoding.start()
for number in range(1000):
    print(number)
ended.set()
decoding.join()
assert type(sys.stdout) is Slow
assert "".join(said).split() == [str(number) for number in range(1000)]
sys.exit(7)
"""


def test_other_threads_may_print_meanwhile() -> None:
    """A print that goes through what stood in for standard output outlives its removal."""
    ended = subprocess.run([sys.executable, "-c", PRINTING], capture_output=True, check=False)
    assert ended.returncode == 7, ended.stderr.decode()


def _decoding() -> Callable[[], None]:
    """Begin to decode in another thread; what ends it."""
    begun, enough = threading.Event(), threading.Event()

    def decode() -> None:
        with decoder_silenced():
            begun.set()
            enough.wait(10)

    thread = threading.Thread(target=decode)
    thread.start()
    begun.wait(10)

    def end() -> None:
        enough.set()
        thread.join(10)

    return end


def test_what_is_put_in_its_place_for_a_while_does_not_stay() -> None:
    """Put there while one pass is decoded, and taken away while the next is."""
    before, borrowed = sys.stdout, redirect_stdout(io.StringIO())
    try:
        end_first = _decoding()
        borrowed.__enter__()
        end_first()
        end_second = _decoding()
        borrowed.__exit__(None, None, None)
        end_second()
        found = sys.stdout
    finally:
        sys.stdout = before
    assert found is before
