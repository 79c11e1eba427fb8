"""Denoising as an extra: what it does to noise, its cache, and clear words when it is missing."""

from __future__ import annotations

import sys
from importlib.util import find_spec
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest

from evenfall.errors import PassError, UsageError
from evenfall.passes.mending import denoise as denoise_module
from evenfall.passes.mending.denoise import Guides, denoise

needs_library = pytest.mark.skipif(
    find_spec("pyoidn") is None, reason="Open Image Denoise is an optional extra"
)


def planes_of(rgb: np.ndarray) -> tuple[np.ndarray, ...]:
    return tuple(np.ascontiguousarray(rgb[..., channel]) for channel in range(3))


@needs_library
@pytest.mark.parametrize("dtype", [np.float16, np.float32])
def test_noise_goes_and_light_stays(studio: Any, tmp_path: Path, dtype: type) -> None:
    clean = studio.clean["fill"]
    noisy = planes_of(studio.render(clean, 5).astype(dtype))
    kept = [plane.copy() for plane in noisy]
    denoised = denoise(noisy, cache=tmp_path)
    for channel, plane in enumerate(denoised):
        assert plane.dtype == dtype
        assert plane.flags.c_contiguous
        before = np.abs(noisy[channel].astype(float) - clean[..., channel]).mean()
        after = np.abs(plane.astype(float) - clean[..., channel]).mean()
        assert after < before / 4
        assert plane.mean(dtype=float) == pytest.approx(clean[..., channel].mean(), rel=0.02)
        assert np.array_equal(noisy[channel], kept[channel])


@needs_library
def test_guides_keep_edges(studio: Any, tmp_path: Path) -> None:
    """Texture that noise hides comes back where the albedo shows it."""
    rng = np.random.default_rng(2)
    stripes = np.where(np.arange(96) // 3 % 2, 0.5, 0.6)[None, :, None] * np.ones((64, 1, 3))
    noisy = (stripes * rng.gamma(1.5, 1 / 1.5, stripes.shape)).astype(np.float32)
    guides = Guides(albedo=stripes.astype(np.float32))
    plain = np.stack(denoise(planes_of(noisy), cache=tmp_path), -1)
    guided = np.stack(denoise(planes_of(noisy), guides, cache=tmp_path), -1)
    assert np.abs(guided - stripes).mean() < 0.8 * np.abs(plain - stripes).mean()


@needs_library
def test_the_cache_goes_by_content(
    studio: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    noisy = planes_of(studio.render(studio.clean["cove"], 6))
    first = denoise(noisy, cache=tmp_path)
    assert len(list(tmp_path.glob("*.npy"))) == 1
    assert not list(tmp_path.glob("*.part"))

    def refuse(*_: object) -> None:
        raise AssertionError("denoised again though it is in the cache")

    monkeypatch.setattr(denoise_module, "_run", refuse)
    again = denoise(noisy, cache=tmp_path)
    assert all(np.array_equal(a, b) for a, b in zip(first, again, strict=True))
    other = [plane.copy() for plane in noisy]
    other[0][0, 0] += 1
    with pytest.raises(AssertionError, match="denoised again"):
        denoise(other, cache=tmp_path)


@needs_library
def test_a_damaged_cache_is_made_again(studio: Any, tmp_path: Path) -> None:
    noisy = planes_of(studio.render(studio.clean["cove"], 7))
    first = denoise(noisy, cache=tmp_path)
    kept = next(tmp_path.glob("*.npy"))
    kept.write_bytes(kept.read_bytes()[:200])
    again = denoise(noisy, cache=tmp_path)
    assert all(np.array_equal(a, b) for a, b in zip(first, again, strict=True))
    assert kept.stat().st_size > 200


@needs_library
def test_a_cache_that_cannot_be_written_is_no_error(studio: Any, tmp_path: Path) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("a file where the folder should be")
    assert len(denoise(planes_of(studio.clean["cove"]), cache=blocked)) == 3


@needs_library
def test_negative_light_is_taken_as_none(tmp_path: Path) -> None:
    planes = planes_of(np.full((32, 32, 3), -0.5, np.float32))
    assert max(float(plane.max()) for plane in denoise(planes, cache=tmp_path)) < 1e-3


@needs_library
def test_guides_of_another_size_are_refused(tmp_path: Path) -> None:
    planes = planes_of(np.ones((32, 48, 3), np.float32))
    guides = Guides(normal=np.zeros((32, 40, 3), np.float32))
    with pytest.raises(PassError, match=r"the guide is 40 x 32 pixels, the picture 48 x 32"):
        denoise(planes, guides, cache=tmp_path)


def test_without_the_extra_the_way_out_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(denoise_module, "find_spec", lambda name: None)
    with pytest.raises(UsageError, match=r"pip install 'evenfall\[denoise\]'"):
        denoise(planes_of(np.ones((8, 8, 3), np.float32)))


def test_a_library_that_is_too_old_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(denoise_module, "find_spec", lambda name: object())
    monkeypatch.setitem(sys.modules, "pyoidn", ModuleType("pyoidn"))
    with pytest.raises(UsageError, match=r"is too old; expected pyoidn 2\.5\.1 or newer"):
        denoise(planes_of(np.ones((8, 8, 3), np.float32)))


@needs_library
def test_without_a_folder_the_common_cache_is_used(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("EVENFALL_CACHE", str(tmp_path))
    denoise(planes_of(np.ones((32, 32, 3), np.float32)))
    assert [path.suffix for path in (tmp_path / "denoised").iterdir()] == [".npy"]
