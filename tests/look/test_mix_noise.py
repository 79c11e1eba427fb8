"""Noise of a mix: measured against noise that is known, and which way it is taken off."""

from __future__ import annotations

from importlib.util import find_spec
from typing import Any

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

import evenfall
from evenfall.look import mix_noise
from evenfall.look.mix_noise import MixNoise, denoise_mix, measure_noise, share_of_noise_left
from evenfall.passes.mending import denoise as denoise_module
from evenfall.passes.mending.denoise import Guides

needs_library = pytest.mark.skipif(
    find_spec("pyoidn") is None, reason="install it with: pip install 'evenfall[denoise]'"
)


def room(height: int = 288, width: int = 384) -> np.ndarray:
    """Walls in soft light, with straight edges and a bright window; (3, H, W)."""
    y, x = np.mgrid[0:height, 0:width] / height
    wall = 0.2 + 0.3 * np.exp(-((x - 0.4) ** 2 + (y - 0.3) ** 2) / 0.2)
    wall[(x > 0.9) & (x < 1.1) & (y < 0.5)] = 4.0
    wall[y > 0.8] *= 0.4
    return (wall * np.array([1.0, 0.8, 0.6])[:, None, None]).astype(np.float32)


def grainy(deviation: float, sigma: float = 0.0, seed: int = 0) -> tuple[np.ndarray, float]:
    """The room with noise, and the noise's correlation of neighbours, measured on itself."""
    noise = np.random.default_rng(seed).normal(size=room().shape)
    if sigma:
        noise = gaussian_filter(noise, (0, sigma, sigma))
    noise /= noise.std()
    tied = float(np.mean(noise[..., 1:] * noise[..., :-1]))
    return np.maximum(room() * (1 + deviation * noise), 0).astype(np.float32), tied


@pytest.mark.parametrize("deviation", [0.03, 0.1, 0.3])
@pytest.mark.parametrize("sigma", [0.0, 0.4, 0.5, 0.6])
def test_noise_is_measured(deviation: float, sigma: float) -> None:
    """Gaussian filters about as wide as those of renderers; three channels average out."""
    planes, tied = grainy(deviation, sigma)
    found = measure_noise(planes)
    assert found is not None
    assert found.correlation == pytest.approx(tied, abs=0.06)
    averaged = deviation * np.sqrt(np.sum(np.square([1, 0.8, 0.6]))) / 2.4
    assert found.deviation == pytest.approx(averaged, rel=0.15)


def test_little_to_measure_is_nothing_measured() -> None:
    assert measure_noise(np.zeros((3, 300, 300), np.float32)) is None
    assert measure_noise(np.ones((3, 40, 40), np.float32)) is None
    assert measure_noise(room()[:, :, :1]) is None
    assert share_of_noise_left(np.zeros((3, 9, 9), np.float32), np.zeros((3, 9, 9))) is None


def test_what_is_left_is_a_share_of_what_was_there() -> None:
    noisy, _ = grainy(0.1)
    for share in (0.0, 0.25, 1.0):
        left = share_of_noise_left(noisy, room() + np.float32(share) * (noisy - room()))
        assert left == pytest.approx(share, abs=0.02)


@pytest.fixture
def parts(monkeypatch: pytest.MonkeyPatch) -> list[tuple[int, ...]]:
    """Sizes of the pictures that the denoiser is given; it gives them back as they are."""
    given: list[tuple[int, ...]] = []

    def noted(planes: Any, guides: Guides, *, place: str) -> Any:
        assert place == "look.denoise"
        shape = planes[0].shape
        for guide in (guides.albedo, guides.normal):
            assert guide is None or guide.shape == (*shape, 3)
        given.append(shape)
        return planes

    monkeypatch.setattr(mix_noise, "denoise", noted)
    return given


def test_tied_noise_is_taken_apart_and_the_rest_is_not(parts: list[tuple[int, ...]]) -> None:
    planes, guide = room(201, 303), np.ones((201, 303, 3), np.float32)
    same = denoise_mix(planes, Guides(guide, guide), 1.0, MixNoise(0.1, 0.4))
    assert parts == [(101, 152), (101, 151), (100, 152), (100, 151), (201, 303)]
    np.testing.assert_allclose(same, planes, rtol=1e-6)
    parts.clear()
    denoise_mix(planes, Guides(guide), 1.0, MixNoise(0.1, 0.1))
    denoise_mix(planes, Guides(), 1.0, None)
    denoise_mix(room(100, 100), Guides(), 1.0, MixNoise(0.1, 0.4))  # parts would be too small
    assert parts == [(201, 303), (201, 303), (100, 100)]


@needs_library
@pytest.mark.parametrize("sigma", [0.0, 0.5])
def test_error_falls_and_edges_stay(
    sigma: float, tmp_path: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(denoise_module, "cache_folder", lambda: tmp_path)
    noisy, _ = grainy(0.1, sigma)
    clean = denoise_mix(noisy, Guides(), 1.0, measure_noise(noisy))
    before, after = (np.sqrt(np.mean((x / room() - 1) ** 2)) for x in (noisy, clean))
    assert after < 0.35 * before
    window = np.s_[:, 20:120, 262:314]
    assert clean[window].mean() == pytest.approx(room()[window].mean(), rel=0.01)


@needs_library
def test_a_run_takes_noise_off_the_picture_and_not_off_the_mix(
    write_recipe: Any, tmp_path: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """EXR holds the mix bit by bit; the picture is calm; both sentences are said."""
    monkeypatch.setattr(denoise_module, "cache_folder", lambda: tmp_path / "cache")
    noisy, _ = grainy(0.1, 0.5)
    text = """
format = 1
[camera]
meter = "off"
[lights.lamp]
file = "lamp.exr"
[look]
tone = "clip"
denoise = { strength = 1 }
[moods.night]
[[deliverables]]
format = "exr"
bits = 32
camera = false
[[deliverables]]
format = "png"
bits = 16
"""
    view = evenfall.open(write_recipe(text, {"lamp": np.moveaxis(noisy, 0, -1)}))
    said: list[str] = []
    report = view.run(on_event=lambda event: said.append(getattr(event, "text", "")))
    assert any("denoised; its noise is tied from pixel to pixel" in text for text in said)
    (note,) = report.moods["night"].notes
    assert "of the noise in calm places" in note
    mix = view.mix("night")
    import OpenImageIO as oiio  # noqa: N813

    held = oiio.ImageBuf(str(report.files[0].path)).get_pixels(oiio.FLOAT)[..., :3]
    np.testing.assert_array_equal(held, mix)
    encoded = view.develop("night").encoded()
    quiet = np.s_[20:60, 20:60]
    raw = evenfall.open(evenfall.load(view.recipe.path, changes=["look.denoise.strength=0"]))
    before, after = (
        np.diff(picture[quiet], axis=1).std()
        for picture in (raw.develop("night").encoded(), encoded)
    )
    assert after < 0.3 * before


def test_the_missing_extra_is_a_fault_of_the_recipe(
    write_recipe: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    from evenfall.look.checking import check_looks

    monkeypatch.setattr(denoise_module, "find_spec", lambda name: None)
    text = (
        'format = 1\n[lights.lamp]\nfile = "lamp.exr"\n[look]\ndenoise.strength = 1\n[moods.day]\n'
    )
    recipe = write_recipe(text, {"lamp": (0.1, 0.1, 0.1)})
    (fault,) = check_looks(recipe, ["day"]).wrong
    assert (fault.line, fault.place) == (5, "look.denoise")
    assert "pip install 'evenfall[denoise]'" in fault.hint
    assert "look.denoise.strength = 0" in fault.hint
