"""What tests of several packages share: a noisy room, and recipes of five lights.

The room, lit by seven lights, is for tests that need realistic pictures. Nothing is rendered: the
light of each pass is a formula over a picture plane with walls, a floor, a window and furniture,
times an albedo with grain; the noise of a path tracer is imitated by gamma deviates (positive,
skewed, variance falling with the number of samples) and a few fireflies.
"""

from __future__ import annotations

import gc
import itertools
import os
import re
import shutil
import signal
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

from evenfall.cli.process import ENVIRONMENT

os.environ.update({**ENVIRONMENT, **os.environ})  # before the libraries that read it

import numpy as np
import numpy.typing as npt
import pytest

import evenfall
from evenfall.develop.example import example_recipe
from evenfall.recipe import Recipe, load

_MISSING_INSTALL = re.compile(r"could not import|optional extra|pip install|apt-get|not installed")
"""Reasons of skips that stand for something that a person could install."""


def pytest_configure(config):
    """Hear Ctrl-C, and let commands hear it, when a shell has started the tests in the background.

    It has it ignored, which is inherited.
    """
    if signal.getsignal(signal.SIGINT) == signal.SIG_IGN:
        signal.signal(signal.SIGINT, signal.default_int_handler)
    gc.set_threshold(100_000)  # as in the program


def pytest_collection_finish(session):
    """Tests that were collected stay: no search for garbage looks through them again."""
    gc.freeze()


def pytest_unconfigure(config):
    """Libraries that count what was not freed at the end need not complain."""
    gc.unfreeze()


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item, call):
    """Where everything has to be installed, a skip for want of an install is a failure."""
    return _insisted((yield))


@pytest.hookimpl(wrapper=True)
def pytest_make_collect_report(collector):
    """The same for whole files that are skipped."""
    return _insisted((yield))


def _insisted(report):
    if report.skipped and os.environ.get("EVENFALL_ALL_EXTRAS") == "1":
        reason = str(report.longrepr)
        if _MISSING_INSTALL.search(reason):
            report.outcome, report.longrepr = "failed", f"skipped for want of an install: {reason}"
    return report


Array = npt.NDArray[np.float32]

LIGHTS = ("sun", "sky", "fill", "pendants", "cove", "garden", "screen_glow")

FIVE_LIGHTS = """format = 1
[lights.sun]
file = "sun.exr"
role = "key"
rendered = { kelvin = 5200, sun_altitude_degrees = 45 }
[lights.sky]
file = "sky.exr"
role = "sky"
rendered = { kelvin = 11500, sun_altitude_degrees = 45 }
[lights.fill]
file = "fill.exr"
role = "fill"
rendered = { kelvin = 5000 }
[lights.left]
file = "left.exr"
rendered = { kelvin = 4000, lumens = 800 }
[lights.right]
file = "right.exr"
rendered = { kelvin = 4000, lumens = 400 }
[groups]
pendants = ["left", "right"]
"""


@dataclass(frozen=True, eq=False)
class Studio:
    """Clean light by name, shape (H, W, 3), and how to make noisy renderings of it."""

    clean: dict[str, Array] = field(repr=False)
    samples: int = 64
    fireflies: float = 2e-5

    def render(self, light: Array, seed: int) -> Array:
        """One noisy rendering of scene-linear light, as half float values in float32."""
        rng = np.random.default_rng(seed)
        shape = self.samples * 0.25
        grain = rng.gamma(shape, 1 / shape, light.shape[:2])[..., None]
        colour_shape = self.samples * 4.0
        grain = grain * rng.gamma(colour_shape, 1 / colour_shape, light.shape)
        strikes = rng.random(light.shape[:2]) < self.fireflies
        grain[strikes] *= rng.uniform(10, 60, (int(strikes.sum()), 1))
        return (light * grain).astype(np.float16).astype(np.float32)

    def passes(self, seed: int = 1) -> dict[str, Array]:
        """All passes, each with noise of its own."""
        return {
            name: self.render(light, seed * 100 + index)
            for index, (name, light) in enumerate(self.clean.items())
        }

    def beauty(self, seed: int = 1, lights: tuple[str, ...] = LIGHTS) -> Array:
        """All lights at once: each light's own noise, from other seeds than the passes'."""
        total = np.zeros_like(self.clean["sun"])
        for index, name in enumerate(lights):
            total += self.render(self.clean[name], seed * 100 + 50 + index)
        return total.astype(np.float16).astype(np.float32)


def _fractal(rng: np.random.Generator, height: int, width: int) -> Array:
    from scipy.ndimage import gaussian_filter

    total = np.zeros((height, width))
    for sigma in (0.7, 2.0, 6.0, 20.0):
        layer = gaussian_filter(rng.standard_normal((height, width)), sigma)
        total += layer / layer.std()
    return (total / 4).astype(np.float32)


def _albedo(height: int, width: int) -> Array:
    rng = np.random.default_rng(7)
    y, x = np.mgrid[0:height, 0:width] / np.array([height, width])[:, None, None]
    grey = np.full((height, width), 0.75) + 0.02 * _fractal(rng, height, width)
    albedo = np.stack([grey, grey * 0.98, grey * 0.95], -1)
    floor = y > 0.68
    boards = 0.42 + 0.12 * np.sin(x * 90 + 3 * y) + 0.08 * _fractal(rng, height, width)
    wood = np.stack([boards, boards * 0.68, boards * 0.45], -1)
    albedo[floor] = wood[floor]
    sofa = (x > 0.12) & (x < 0.45) & (y > 0.58) & (y < 0.8)
    cloth = 0.3 + 0.15 * np.sign(np.sin(x * 400)) * np.sign(np.sin(y * 250))
    albedo[sofa] = np.stack([cloth * 0.5, cloth * 0.7, cloth], -1)[sofa]
    return np.clip(albedo, 0.03, 0.9).astype(np.float32)


def _lights(height: int, width: int) -> dict[str, Array]:
    y, x = np.mgrid[0:height, 0:width] / np.array([height, width])[:, None, None]
    window = (x > 0.6) & (x < 0.93) & (y > 0.15) & (y < 0.6)
    albedo = np.where(window[..., None], 1.0, _albedo(height, width))

    def tinted(level: npt.NDArray[np.float64], rgb: tuple[float, float, float]) -> Array:
        return (level[..., None] * np.array(rgb) * albedo).astype(np.float32)

    def pool(cx: float, cy: float, radius: float) -> npt.NDArray[np.float64]:
        return 1 / (1 + ((x - cx) ** 2 * 3 + (y - cy) ** 2) / radius**2) ** 2

    patch = (y > 0.7) & (np.abs(x - 0.75 + 0.6 * (y - 0.7)) < 0.16)
    sun = 6.0 * patch + 0.25 * pool(0.7, 0.8, 0.3) + 0.04 + 3.0 * window * (y > 0.42)
    sky = 0.6 * pool(0.76, 0.4, 0.45) + 0.05 + 2.2 * window * (1.3 - y)
    fill = 0.35 * (1 - 0.5 * x) * (0.7 + 0.3 * y) * ~window
    bulbs = sum((np.hypot((x - cx) * 1.78, y - 0.33) < 0.012) * 40.0 for cx in (0.25, 0.35, 0.45))
    pendants = (0.5 * pool(0.35, 0.55, 0.2) + 0.03) * ~window + bulbs
    cove = (0.4 * np.exp(-((y - 0.06) ** 2) / 0.01) + 0.02) * ~window
    garden = 0.9 * window * pool(0.7, 0.55, 0.08) + 0.01 * pool(0.76, 0.6, 0.3) + 0.0005
    screen = (x > 0.02) & (x < 0.1) & (y > 0.4) & (y < 0.52)
    return {
        "sun": tinted(sun, (1.0, 0.93, 0.82)),
        "sky": tinted(sky, (0.62, 0.8, 1.1)),
        "fill": tinted(fill, (1.0, 1.0, 1.0)),
        "pendants": tinted(pendants, (1.0, 0.62, 0.28)),
        "cove": tinted(cove, (1.0, 0.7, 0.38)),
        "garden": tinted(garden, (1.0, 0.75, 0.45)),
        "screen_glow": tinted(0.7 * screen + 0.02 * pool(0.06, 0.5, 0.15), (0.5, 0.7, 1.0)),
    }


@pytest.fixture(scope="session")
def studio_of() -> Callable[[int, int], Studio]:
    """The room at a height and width, clean and as noisy renderings."""
    return cache(lambda height, width: Studio(_lights(height, width)))


@pytest.fixture(scope="session")
def studio(studio_of: Callable[[int, int], Studio]) -> Studio:
    """The room at 480x272."""
    return studio_of(272, 480)


@pytest.fixture(scope="session")
def studio_passes(studio: Studio) -> dict[str, Array]:
    """One noisy rendering of each light; copy before changing."""
    return studio.passes()


@pytest.fixture(scope="session")
def studio_beauty(studio: Studio) -> Array:
    """The beauty of the same room, noise of its own; copy before changing."""
    return studio.beauty()


@pytest.fixture(scope="session")
def write_exr() -> Callable[..., Path]:
    """Write RGB(A) pixels, shape (H, W, 3 or 4), as a half float EXR file."""

    def write(path: Path, pixels: Array) -> Path:
        import OpenEXR

        half = np.ascontiguousarray(pixels.astype(np.float16))
        channels = {"RGBA" if half.shape[2] == 4 else "RGB": half}
        OpenEXR.File({"compression": OpenEXR.ZIP_COMPRESSION}, channels).write(str(path))
        return path

    return write


@pytest.fixture
def five_lights(tmp_path: Path) -> Callable[[str], Recipe]:
    """Load a recipe of five lights with the moods that are given as TOML."""

    def build(moods: str) -> Recipe:
        path = tmp_path / "view.toml"
        path.write_text(FIVE_LIGHTS + moods, encoding="utf-8")
        return load(path, check_files=False)

    return build


@pytest.fixture(scope="session", autouse=True)
def unflushed() -> Iterator[None]:
    """Files of tests need not outlive a power cut, and flushing is what a run waits for most.

    That it is flushed, and in which order, is held by tests/system/test_atomic.py.
    """
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(os, "fsync", os.fstat)
        yield


@pytest.fixture(scope="session")
def caches(tmp_path_factory) -> Iterator[Path]:
    """Where the cache of each test can be; made by the tests that need it."""
    root: Path = tmp_path_factory.mktemp("caches")
    return (root / str(number) for number in itertools.count())


@pytest.fixture(autouse=True)
def cache_path(caches, monkeypatch) -> Path:
    """Keep the user's cache out of it."""
    path: Path = next(caches)
    monkeypatch.setenv("EVENFALL_CACHE", str(path))
    return path


@pytest.fixture
def own_cache(cache_path) -> Path:
    """The cache folder of this test, empty."""
    cache_path.mkdir()
    return cache_path


@pytest.fixture
def corner(tmp_path):
    """The tiny example, 48x32, in a folder of its own."""
    return example_recipe(tmp_path)


@pytest.fixture
def write_recipe(tmp_path) -> Callable[..., evenfall.Recipe]:
    """Write passes of plain colours (or given pixels) and a recipe of this text, and load it."""
    import OpenEXR

    def write(text: str, passes: dict[str, object], **options: object) -> evenfall.Recipe:
        for name, value in passes.items():
            pixels = np.asarray(value, np.float32)
            if pixels.ndim == 1:
                pixels = np.broadcast_to(pixels, (16, 24, pixels.size))
            pixels = np.ascontiguousarray(pixels)
            channels = {"RGBA" if pixels.shape[2] == 4 else "RGB": pixels}
            OpenEXR.File({}, channels).write(str(tmp_path / f"{name}.exr"))
        path: Path = tmp_path / "view.toml"
        path.write_text(text, encoding="utf-8")
        return evenfall.load(path, **options)

    return write


@pytest.fixture(scope="session")
def chromium():
    """A real browser, driven by Playwright; skips where there is none."""
    playwright = pytest.importorskip(
        "playwright.sync_api", reason="pip install 'evenfall[test]' brings playwright"
    )
    program = next(filter(None, map(shutil.which, ("chromium", "chromium-browser"))), None)
    if program is None:
        pytest.skip("no Chromium: apt-get install chromium")
    with playwright.sync_playwright() as driver:
        browser = driver.chromium.launch(
            executable_path=program, args=["--no-sandbox", "--disable-gpu"]
        )
        yield browser
        browser.close()
