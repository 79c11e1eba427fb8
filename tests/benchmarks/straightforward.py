"""The script that one would write first: loop over moods and passes in float32, then save.

No checks, no metering, no colour management, no dither. It is what evenfall is compared with.

    python straightforward.py PASSES_FOLDER OUT_FOLDER
"""

from __future__ import annotations

import sys
from pathlib import Path

import imageio.v3 as imageio
import numpy as np
import OpenEXR


def read(path: Path) -> np.ndarray:
    return OpenEXR.File(str(path)).channels()["RGB"].pixels.astype(np.float32)


def tone_map(linear: np.ndarray) -> np.ndarray:
    exposed = linear * np.float32(0.18)
    toned = exposed * (1 + exposed / 16) / (1 + exposed)  # extended Reinhard, white at 4
    toned = np.clip(toned, 0, 1)
    return np.where(toned <= 0.0031308, 12.92 * toned, 1.055 * toned ** (1 / 2.4) - 0.055)


def main() -> None:
    files = sorted(Path(sys.argv[1]).glob("*.exr"))
    out = Path(sys.argv[2])
    out.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng(20)
    passes = [read(path) for path in files]
    for mood in ("day", "dusk", "night"):
        total = np.zeros_like(passes[0])
        for pixels in passes:
            factors = rng.uniform(0.1, 1, 3).astype(np.float32)
            total += pixels * factors
        codes = (tone_map(total) * 255 + 0.5).astype(np.uint8)
        imageio.imwrite(out / f"{mood}.png", codes)


if __name__ == "__main__":
    main()
