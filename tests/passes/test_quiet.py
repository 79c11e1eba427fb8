"""Standard output while decoders are silenced in some threads and other threads print."""

from __future__ import annotations

import subprocess
import sys

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
