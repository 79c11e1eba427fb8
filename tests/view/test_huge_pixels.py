"""One pixel that no light makes must not hide what all the others say.

1e30 and 3e38 are finite in single precision (IEEE 754: up to 3.4e38), and stand for broken pixels.
Which lights the beauty holds was planted here.
"""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import OpenEXR
import pytest

import evenfall
from evenfall.errors import PassError

RECIPE = """
format = 1
[passes]
beauty = { file = "beauty.exr" }
[lights.sun]
file = "sun.exr"
role = "key"
[lights.lamp]
file = "lamp.exr"
role = "fixture"
[moods.day]
"""
ROW, COLUMN = 20, 33


def lights() -> dict[str, np.ndarray]:
    """Two lights of one colour, with grain."""
    rng = np.random.default_rng(3)
    down, across = np.mgrid[0:96, 0:160]
    pictures = {
        "sun": 3.0 * np.exp(-((across - 120) ** 2 + (down - 60) ** 2) / 900),
        "lamp": 1.5 * np.exp(-((across - 30) ** 2 + (down - 30) ** 2) / 400) + 0.05,
    }
    return {
        name: (level[..., None] * [1.0, 0.8, 0.6] * rng.gamma(100, 0.01, (96, 160, 1)))
        for name, level in pictures.items()
    }


def a_view(folder: Path, worth: float, held: tuple[str, ...], spoilt: tuple[str, ...]) -> Path:
    """Write the lights, a beauty that holds some of them, and a broken pixel into some pictures."""
    lit = lights()
    lit["beauty"] = sum(lit[name] for name in held)
    for name, picture in lit.items():
        stored = picture.astype(np.float32)
        if name in spoilt:
            stored[ROW, COLUMN, 1] = worth
        OpenEXR.File({}, {"RGB": stored}).write(str(folder / f"{name}.exr"))
    path = folder / "view.toml"
    path.write_text(RECIPE, encoding="utf-8")
    return path


@pytest.mark.parametrize("worth", [1e30, 3e38])
@pytest.mark.parametrize(
    ("held", "adds_up"),
    [(("sun", "lamp"), True), (("sun",), False)],
    ids=["whole", "a light is missing"],
)
def test_a_proof_is_not_blinded(
    tmp_path: Path, worth: float, held: tuple[str, ...], adds_up: bool
) -> None:
    view = evenfall.open(a_view(tmp_path, worth, held, ("sun", "beauty")))
    proof = view.prove()
    assert (proof.verdict == "adds up") is adds_up
    factors = {each.name: each.factor for each in proof.lights}
    assert factors == pytest.approx({name: float(name in held) for name in factors}, abs=0.02)
    said = [remark for remark in proof.remarks if remark.code == "huge-pixel"]
    assert {remark.lights for remark in said} == {(), ("sun",)}
    assert all(f"pixel at {COLUMN}, {ROW} is {worth:.3g}" in remark.message for remark in said)


@pytest.mark.parametrize("worth", [1e30, 3e38])
def test_a_meter_names_pass_and_pixel(tmp_path: Path, worth: float) -> None:
    view = evenfall.open(a_view(tmp_path, worth, ("sun", "lamp"), ("sun",)))
    said = re.escape(f"its pixel at {COLUMN}, {ROW} is {worth:.3g}")
    with pytest.raises(PassError, match=rf"sun\.exr: lights\.sun: {said}"):
        view.meter()


@pytest.mark.parametrize("worth", [1e30, 3e38])
def test_a_fixed_exposure_needs_no_meter(tmp_path: Path, worth: float) -> None:
    path = a_view(tmp_path, worth, ("sun", "lamp"), ("sun",))
    fixed = evenfall.open(path, changes=["camera.meter=off"])
    (metered,) = fixed.meter().moods
    shares = {light.name: light.share for light in metered.facts.lights}
    means = {name: float(picture.mean()) for name, picture in lights().items()}
    truth = {name: mean / sum(means.values()) for name, mean in means.items()}
    assert shares == pytest.approx(truth, rel=1e-3)


def test_passes_without_such_pixels_are_not_told_of(tmp_path: Path) -> None:
    view = evenfall.open(a_view(tmp_path, 900.0, ("sun", "lamp"), ("sun", "beauty")))
    assert not [each for each in view.prove().remarks if each.code == "huge-pixel"]
