"""Program of the decoder process: an OpenEXR file comes in, its pixels go out.

Run by `evenfall.passes.openexr.apart`, alone and without importing the package, on standard input
and output. Arguments: threads, seconds of processor time, and the most bytes of address space.
Channels are written in the order of their names, samples bare.
"""

from __future__ import annotations

import io
import os
import sys


def main() -> int:
    """Decode; 1 when the part cannot be decoded as a whole."""
    threads, seconds, address_space = (int(word) for word in sys.argv[1:4])
    pixels_out = os.fdopen(os.dup(1), "wb")
    silence = os.open(os.devnull, os.O_WRONLY)
    os.dup2(silence, 1)
    os.dup2(silence, 2)
    _limit(seconds, address_space)
    import OpenEXR

    data = sys.stdin.buffer.read()
    decoded = OpenEXR.File(io.BytesIO(data), separate_channels=True, num_threads=threads)
    if len(decoded.parts) != 1:
        return 1
    channels = decoded.parts[0].channels
    with pixels_out:
        for name in sorted(channels):
            pixels_out.write(memoryview(channels[name].pixels).cast("B"))
    return 0


def _limit(seconds: int, address_space: int) -> None:
    try:
        import resource
    except ImportError:  # not on Windows
        return
    for what, most in ((resource.RLIMIT_CPU, seconds), (resource.RLIMIT_AS, address_space)):
        _, hard = resource.getrlimit(what)
        if hard == resource.RLIM_INFINITY or most < hard:
            resource.setrlimit(what, (most, hard))


if __name__ == "__main__":
    sys.exit(main())
