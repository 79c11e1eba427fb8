"""The sample passes, rendered by a path tracer, with each fault of the trade seeded in turn.

The lanterns, whose light is in few pixels, are proven in full size; others in a quarter of it,
which holds the same light and noise in fewer blocks, so that a proof has less to go by. A strong
light and the weakest stand for all eight; `tests/calibration` plants faults in each of them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from evenfall.passes.image import PassImage
from evenfall.passes.reading import read
from evenfall.prove.proof import Proof
from evenfall.prove.prove import prove

SAMPLES = Path(__file__).parents[2] / "sample_passes"
LIGHTS = (
    *("sun", "sky", "fill", "pendants", "floor_lamp", "table_lamp", "shelf_strip"),
    "terrace_lantern",
)

pytestmark = pytest.mark.skipif(
    not all((SAMPLES / f"{name}.exr").is_file() for name in (*LIGHTS, "beauty")),
    reason="the sample passes are not here",
)

Change = Callable[[np.ndarray], np.ndarray]
FACTOR_TOLERANCE = 0.05  # of the weakest light, 0.7 % of the whole


@pytest.fixture(scope="module")
def samples() -> dict[str, PassImage]:
    return {name: read(SAMPLES / f"{name}.exr")[0] for name in (*LIGHTS, "beauty")}


@pytest.fixture(scope="module")
def small(samples: dict[str, PassImage]) -> dict[str, PassImage]:
    """The same by means of 4 x 4 pixels."""

    def reduced(plane: np.ndarray) -> np.ndarray:
        rows, columns = plane.shape[0] // 4, plane.shape[1] // 4
        return plane.astype(np.float32).reshape(rows, 4, columns, 4).mean(axis=(1, 3))

    def picture(image: PassImage) -> PassImage:
        red, green, blue = (reduced(plane) for plane in image.planes)
        alpha = None if image.alpha is None else reduced(image.alpha)
        return replace(image, planes=(red, green, blue), alpha=alpha)

    return {name: picture(image) for name, image in samples.items()}


@pytest.fixture
def pictures(request: pytest.FixtureRequest) -> dict[str, PassImage]:
    """The passes of the size that is asked for."""
    found: dict[str, PassImage] = request.getfixturevalue(request.param)
    return found


def each_of(*cases: tuple[str, str]) -> pytest.MarkDecorator:
    return pytest.mark.parametrize(("pictures", "light"), cases, indirect=["pictures"])


LANTERN = ("samples", "terrace_lantern")


@pytest.fixture(scope="module")
def part(samples: dict[str, PassImage]) -> dict[str, PassImage]:
    """Sky, terrace and the room before them, pixel for pixel."""
    rows, columns = slice(240), slice(320, 800)

    def cut(image: PassImage) -> PassImage:
        red, green, blue = (plane[rows, columns] for plane in image.planes)
        return replace(image, planes=(red, green, blue), alpha=None)

    return {name: cut(image) for name, image in samples.items()}


def changed(image: PassImage, change: Change) -> PassImage:
    rgb = change(image.rgb()).astype(np.float32)
    red, green, blue = (np.ascontiguousarray(rgb[..., channel]) for channel in range(3))
    return replace(image, planes=(red, green, blue))


def proof_of(samples: dict[str, PassImage], **others: PassImage | None) -> Proof:
    pictures = {**samples, **others}
    beauty = pictures.pop("beauty")
    return prove(beauty, lambda: [(k, v) for k, v in pictures.items() if v is not None])


def codes(proof: Proof) -> list[tuple[str, tuple[str, ...]]]:
    return [(diagnosis.code, diagnosis.lights) for diagnosis in proof.diagnoses]


def remarked(proof: Proof) -> list[tuple[str, tuple[str, ...]]]:
    return [(remark.code, remark.lights) for remark in proof.remarks]


def srgb(linear: np.ndarray) -> np.ndarray:
    """IEC 61966-2-1, cut off at 1 as display files are."""
    power = 1.055 * np.maximum(linear, 1e-9) ** (1 / 2.4) - 0.055
    return np.minimum(np.where(linear <= 0.0031308, 12.92 * linear, power), 1)


def test_as_they_are_they_add_up(samples: dict[str, PassImage]) -> None:
    proof = proof_of(samples)
    assert proof.verdict == "adds up"
    assert codes(proof) == []
    assert all(each.as_rendered for each in proof.lights)
    assert proof.difference_share < 1.3 * proof.noise_share


@each_of(("small", "sky"), ("small", "table_lamp"), LANTERN)
def test_dropped(pictures: dict[str, PassImage], light: str) -> None:
    assert codes(proof_of(pictures, **{light: None})) == [("pass-missing", ())]


@each_of(("small", "sun"), ("small", "table_lamp"))
def test_doubled(pictures: dict[str, PassImage], light: str) -> None:
    proof = proof_of(pictures, copy=pictures[light])
    assert codes(proof) == [("pass-counted-twice", ("copy",))]
    assert f"same light as {light}" in proof.diagnoses[0].message


@each_of(("small", "sun"), ("small", "table_lamp"), LANTERN)
def test_one_stop_more(pictures: dict[str, PassImage], light: str) -> None:
    proof = proof_of(pictures, **{light: changed(pictures[light], lambda rgb: 2 * rgb)})
    assert codes(proof) == [("pass-exposure", (light,))]
    found = next(each for each in proof.lights if each.name == light)
    assert found.factor == pytest.approx(0.5, rel=FACTOR_TOLERANCE)


@each_of(("small", "sky"), ("small", "table_lamp"))
def test_display_encoded(pictures: dict[str, PassImage], light: str) -> None:
    proof = proof_of(pictures, **{light: changed(pictures[light], srgb)})
    assert codes(proof) == [("pass-display-encoded", (light,))]


def test_beauty_clamped_encoded_or_tone_mapped(small: dict[str, PassImage]) -> None:
    beauty = small["beauty"]
    clamped = changed(beauty, lambda rgb: np.minimum(rgb, 1))
    assert codes(proof_of(small, beauty=clamped)) == [("beauty-clipped", ())]
    encoded = changed(beauty, srgb)
    assert codes(proof_of(small, beauty=encoded)) == [("beauty-display-encoded", ())]
    curved = changed(beauty, lambda rgb: rgb / (1 + rgb))
    assert codes(proof_of(small, beauty=curved)) == [("beauty-tone-mapped", ())]


def grainy(seed: int) -> Change:
    """As few paths would make it: gamma deviates through the filter of the set, 1 6 1 over 8."""

    def change(rgb: np.ndarray) -> np.ndarray:
        grain = np.random.default_rng(seed).gamma(16, 1 / 16, rgb.shape[:2])[..., None] - 1
        for axis in (0, 1):
            before, after = np.roll(grain, 1, axis), np.roll(grain, -1, axis)
            grain = (before + 6 * grain + after) / 8
        return rgb * (1 + grain)

    return change


def test_denoised_apart(part: dict[str, PassImage]) -> None:
    """The pixel filter ties neighbours together; every second pixel is denoised apart.

    The sample has too many paths for a denoiser to change it; so it is made grainy first.
    """
    oidn = pytest.importorskip("pyoidn", reason="Open Image Denoise is an optional extra")
    grained = {
        name: changed(image, grainy(seed)) for seed, (name, image) in enumerate(part.items())
    }

    def smooth(rgb: np.ndarray) -> np.ndarray:
        done = np.empty_like(rgb)
        for place in ((slice(y, None, 2), slice(x, None, 2)) for y in (0, 1) for x in (0, 1)):
            done[place] = oidn.denoise(np.ascontiguousarray(rgb[place]), hdr=True)
        return done

    for light in ("sun", "sky", "pendants"):
        proof = proof_of(grained, **{light: changed(grained[light], smooth)})
        assert ("denoised-apart", (light,)) in remarked(proof)
        assert all(light in lights for _, lights in codes(proof))
    proof = proof_of(grained, beauty=changed(grained["beauty"], smooth))
    assert ("denoised-apart", ()) in remarked(proof)


@each_of(("samples", "sun"), ("small", "sky"), ("small", "pendants"))
def test_camera_moved(pictures: dict[str, PassImage], light: str) -> None:
    moved = changed(pictures[light], lambda rgb: np.roll(rgb, 1, axis=1))
    proof = proof_of(pictures, **{light: moved})
    assert codes(proof) == [("camera-moved", (light,))]
    assert "1.0 pixels right" in proof.diagnoses[0].message or "0.9" in proof.diagnoses[0].message


def test_alpha_missing(small: dict[str, PassImage]) -> None:
    bare: dict[str, Any] = {light: replace(small[light], alpha=None) for light in LIGHTS}
    proof = proof_of(small, **bare)
    assert (codes(proof), remarked(proof)) == ([], [("alpha-missing", LIGHTS)])


def test_background_missing(small: dict[str, PassImage]) -> None:
    """A sky that the beauty shows behind its alpha and no pass holds."""
    alpha = small["beauty"].alpha
    assert alpha is not None
    behind = (1 - alpha.astype(np.float32))[..., None] * np.float32([1.4, 2.0, 3.1])
    beauty = changed(small["beauty"], lambda rgb: rgb + behind)
    assert codes(proof_of(small, beauty=beauty)) == [("background-missing", ())]
