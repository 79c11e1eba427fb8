"""The floor: decode every pass once and encode every output once, and nothing between.

The same libraries, settings and number of threads as evenfall, in a process of its own. With
`plain` PNG is encoded at the library's own level 1 instead of evenfall's quicker settings.

    python floor.py PASSES_FOLDER CODES_FOLDER [plain]
"""

from __future__ import annotations

import os
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import imagecodecs
import numpy as np
import OpenEXR


def decode(path: Path) -> None:
    OpenEXR.File(str(path), separate_channels=True).channels()


def encode(path: Path, settings: dict[str, int]) -> None:
    codes = np.load(path)
    data = imagecodecs.png_encode(codes, **settings)
    path.with_suffix(".png").write_bytes(data)


def main() -> None:
    passes, codes = Path(sys.argv[1]), Path(sys.argv[2])
    settings = {"level": 1} if "plain" in sys.argv else {"level": 1, "strategy": 3, "filter": 16}
    with ThreadPoolExecutor(len(os.sched_getaffinity(0))) as pool:
        list(pool.map(decode, sorted(passes.glob("*.exr"))))
        list(pool.map(lambda path: encode(path, settings), sorted(codes.glob("*.npy"))))


if __name__ == "__main__":
    main()
