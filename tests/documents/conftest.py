"""The sample view, small."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import OpenEXR
import pytest

from .reading import ROOT

_SIDE = 4
"""Pixels of the passes, across and down, that one pixel of the small ones is the mean of."""


@pytest.fixture(scope="session")
def small_sample(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The sample view with its passes at 320 x 180 pixels; not to be written into."""
    folder = tmp_path_factory.mktemp("sample")
    shutil.copy(ROOT / "sample_passes" / "view.toml", folder)
    shutil.copytree(ROOT / "sample_passes" / "plates", folder / "plates")
    for path in (ROOT / "sample_passes").glob("*.exr"):
        if path.stem == "ids":
            continue
        small = {}
        for name, channel in OpenEXR.File(str(path), separate_channels=True).channels().items():
            height, width = channel.pixels.shape
            cells = channel.pixels.reshape(height // _SIDE, _SIDE, width // _SIDE, _SIDE)
            small[name] = cells.mean(axis=(1, 3), dtype=np.float32).astype(np.float16)
        OpenEXR.File({"compression": OpenEXR.ZIP_COMPRESSION}, small).write(str(folder / path.name))
    return folder


@pytest.fixture
def sample(small_sample: Path, tmp_path: Path) -> Path:
    """The small sample view in a folder of its own, to work in."""
    return shutil.copytree(small_sample, tmp_path / "sample")
