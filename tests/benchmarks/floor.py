"""The floor: decode every pass once and encode every output once, and nothing between.

The same libraries and number of threads as evenfall, in a process of its own: PNG as evenfall
makes it, in bands that all threads share. With `plain` every PNG is encoded by one thread, by
imagecodecs at level 1.

    python floor.py PASSES_FOLDER CODES_FOLDER [plain]
"""

from __future__ import annotations

import os
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import OpenEXR


def decode(path: Path) -> None:
    OpenEXR.File(str(path), separate_channels=True).channels()


def encode_plain(path: Path) -> None:
    import imagecodecs

    path.with_suffix(".png").write_bytes(imagecodecs.png_encode(np.load(path), level=1))


def main() -> None:
    passes, codes = Path(sys.argv[1]), sorted(Path(sys.argv[2]).glob("*.npy"))
    with ThreadPoolExecutor(len(os.sched_getaffinity(0))) as pool:
        list(pool.map(decode, sorted(passes.glob("*.exr"))))
        if "plain" in sys.argv:
            list(pool.map(encode_plain, codes))
            return
        from evenfall.deliver.png import encode_png

        for path in codes:
            path.with_suffix(".png").write_bytes(encode_png(np.load(path), each=pool.map))


if __name__ == "__main__":
    main()
