"""The sample passes and their re-lit truths, read by OpenImageIO: the proof has its own eyes."""

from __future__ import annotations

import json
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import OpenImageIO as oiio  # noqa: N813 - as its own documentation does
import pytest

import evenfall

SAMPLES = Path(__file__).parents[2] / "sample_passes"
RELIT = Path(__file__).parents[1] / "data" / "relit"

Array = npt.NDArray[np.float32]


def _read(path: Path) -> Array:
    pixels = oiio.ImageBuf(str(path)).get_pixels(oiio.FLOAT)
    return np.ascontiguousarray(pixels[..., :3], np.float32)


@pytest.fixture(scope="session")
def truth() -> Callable[[str], Array]:
    """Independent renders of all lights at once: 'day', 'dusk', and 'beauty' as rendered.

    Copy before changing.
    """

    def read(name: str) -> Array:
        return _read(SAMPLES / ("beauty.exr" if name == "beauty" else f"truth/{name}.exr"))

    return cache(read)


@pytest.fixture(scope="session")
def sample() -> Callable[[str], Array]:
    """The passes of the sample view, one light each."""
    return lambda name: _read(SAMPLES / f"{name}.exr")


@pytest.fixture(scope="session")
def relit() -> Callable[[str], Array]:
    """Small renders: two seeds of the sky, the pendants at two colour temperatures."""
    return lambda name: _read(RELIT / f"{name}.exr")


@pytest.fixture(scope="session")
def noise() -> dict[str, Any]:
    """Standard deviation of the pixels of each render, measured from two seeds."""
    facts: dict[str, Any] = json.loads((SAMPLES / "scene" / "noise.json").read_text())
    return facts


@pytest.fixture(scope="session")
def set_ups() -> dict[str, Any]:
    """Lights as rendered, and the set-ups of the truths in stops and kelvin."""
    facts: dict[str, Any] = json.loads((SAMPLES / "scene" / "lights.json").read_text())
    return facts


@pytest.fixture(scope="session")
def proof_recipe(
    set_ups: dict[str, Any], tmp_path_factory: pytest.TempPathFactory
) -> Callable[..., evenfall.Recipe]:
    """A recipe whose moods are the truths' set-ups, in stops and kelvin as a person would write."""
    path = tmp_path_factory.mktemp("proof") / "proof.toml"

    def make(changes: tuple[str, ...] = ()) -> evenfall.Recipe:
        path.write_text("\n".join(_lines(set_ups)), encoding="utf-8")
        return evenfall.load(path, passes=SAMPLES, changes=changes)

    return make


@pytest.fixture(scope="session")
def mix_of(proof_recipe: Callable[..., evenfall.Recipe]) -> Callable[[str], Array]:
    """Mixes of the moods, each made once; copy before changing."""
    return cache(lambda mood: evenfall.open(proof_recipe()).mix(mood))


def _lines(set_ups: dict[str, Any]) -> list[str]:
    lines = ["format = 1", '[camera]\nmeter = "off"']
    for name, light in set_ups["passes"].items():
        lines += [
            f"[lights.{name}]",
            f'file = "{light["file"]}"',
            f'role = "{light["role"]}"',
            f"rendered = {{ kelvin = {light['rendered_kelvin']} }}",
        ]
    lines.append("[moods.beauty]")
    for title in ("day", "dusk"):
        lines.append(f"[moods.{title}.lights]")
        for name, setting in set_ups["truths"][f"truth_{title}"].items():
            if setting["gain_stops"] == "off":
                lines.append(f'{name} = "off"')
            else:
                gain, kelvin = setting["gain_stops"], setting["kelvin"]
                lines.append(f"{name} = {{ stops = {gain}, kelvin = {kelvin} }}")
    return lines
