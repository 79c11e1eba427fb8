"""A few sets of the calibration: scenes of other make, noise of several makes, faults by name.

`tests/calibration` makes hundreds of them and says what came out; here a dozen stand for all. Sums
of clean light are exact, so what is honest and what is planted is known without asking the product.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

CALIBRATION = Path(__file__).parents[1] / "calibration"


@pytest.fixture
def calibration(monkeypatch: pytest.MonkeyPatch) -> Iterator[Any]:
    """The calibration's modules."""
    monkeypatch.syspath_prepend(str(CALIBRATION))
    import run

    yield run
    for name in ("run", "faults", "rendering", "sources", "made_scenes"):
        sys.modules.pop(name, None)


@pytest.mark.parametrize("beauty_grain", [0.5, 1.3, 2.0])
@pytest.mark.parametrize("seed", [0, 2, 5, 7])
def test_honest_sets_add_up(calibration: Any, seed: int, beauty_grain: float) -> None:
    from rendering import Make, render_set
    from sources import scene_for

    scene = scene_for(seed)
    filtered = (0.0, -1.0, 0.8)[seed % 3]
    make = Make(0.1, beauty_grain, filtered, 1e-4 * (seed % 2), picks_lights=seed > 4)
    proof = calibration.proof_of(render_set(scene.lights, make, seed, scene.alpha))
    assert (proof.verdict, calibration.said(proof)) == ("adds up", [])


@pytest.mark.parametrize(
    "kind",
    [
        *("light missing", "half a stop down", "pass x/(1+x)", "pass filmic"),
        *("all passes in other primaries", "beauty vignetted", "off in the beauty"),
    ],
)
@pytest.mark.parametrize("seed", [0, 2, 9])
def test_planted_faults_are_named(calibration: Any, kind: str, seed: int) -> None:
    from faults import plant
    from rendering import Make, render_set
    from sources import scene_for

    scene = scene_for(seed)
    sound = render_set(scene.lights, Make(0.05, 1.3), seed, scene.alpha)
    light = max(sound.passes, key=lambda name: float(sound.passes[name].sum()))
    made = plant(kind, sound, light, np.random.default_rng(seed))
    assert made is not None
    changed, planted = made
    assert calibration.verdict_on(calibration.proof_of(changed), [planted]) == "named"
