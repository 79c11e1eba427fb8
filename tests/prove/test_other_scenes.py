"""A few sets of the calibration: scenes of other make, noise of several makes, faults by name.

`tests/calibration` makes hundreds of them and says what came out; here a dozen stand for all. Sums
of clean light are exact, so what is honest and what is planted is known without asking the product.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

CALIBRATION = Path(__file__).parents[1] / "calibration"


@pytest.fixture(scope="module")
def calibration() -> Iterator[Any]:
    """The calibration's modules."""
    with pytest.MonkeyPatch.context() as patch:
        patch.syspath_prepend(str(CALIBRATION))
        import run

        yield run
    for name in ("run", "faults", "rendering", "sources", "made_scenes"):
        sys.modules.pop(name, None)


@pytest.fixture(scope="module")
def scene_of(calibration: Any) -> Callable[[int], Any]:
    """Scenes by seed, each made once."""
    from sources import scene_for

    return cache(scene_for)


@pytest.fixture(scope="module")
def sound_set(scene_of: Callable[[int], Any]) -> Callable[[int], Any]:
    """Sound sets by seed, each rendered once; faults are planted in copies."""
    from rendering import Make, render_set

    @cache
    def render(seed: int) -> Any:
        scene = scene_of(seed)
        return render_set(scene.lights, Make(0.05, 1.3), seed, scene.alpha)

    return render


@pytest.mark.parametrize(
    ("seed", "beauty_grain"), [(0, 2.0), (2, 0.5), (2, 1.3), (5, 1.3), (5, 2.0), (7, 0.5), (7, 2.0)]
)
def test_honest_sets_add_up(
    calibration: Any, scene_of: Callable[[int], Any], seed: int, beauty_grain: float
) -> None:
    from rendering import Make, render_set

    scene = scene_of(seed)
    filtered = (0.0, -1.0, 0.8)[seed % 3]
    make = Make(0.1, beauty_grain, filtered, 1e-4 * (seed % 2), picks_lights=seed > 4)
    proof = calibration.proof_of(render_set(scene.lights, make, seed, scene.alpha))
    assert (proof.verdict, calibration.said(proof)) == ("adds up", [])


@pytest.mark.parametrize(
    ("seed", "noise"),
    [
        (108, {"grain": 0.176, "beauty_grain": 2.0, "filter_pixels": 0.5, "picks_lights": True}),
        (183, {"grain": 0.192, "beauty_grain": 2.0, "filter_pixels": 0.5, "picks_lights": True}),
        (1010255, {"grain": 0.052, "beauty_grain": 2.0, "picks_lights": True, "cut": (1, 3)}),
        (610138, {"grain": 0.12346166453705179, "paths": 0.5, "cut": (0, 1)}),
    ],
    ids=["a smaller factor", "another", "a shift", "a background"],
)
def test_what_skewed_noise_feigns(calibration: Any, seed: int, noise: dict[str, Any]) -> None:
    """Sets that were accused while groups of blocks, or blocks left out, had no say."""
    from rendering import Make, render_set
    from sources import scene_for

    scene = scene_for(seed)
    make = Make(**{"paths": 1.0, "cut": (2, 1), **noise})
    proof = calibration.proof_of(render_set(scene.lights, make, seed, scene.alpha))
    assert (proof.verdict, calibration.said(proof)) == ("adds up", [])


@pytest.mark.parametrize(("kind", "seed"), [("beauty vignetted", 1332305), ("light missing", 0)])
def test_odd_sizes_hide_nothing_and_add_nothing(
    calibration: Any, scene_of: Callable[[int], Any], kind: str, seed: int
) -> None:
    """What makes no whole block is left away at all sides, so that a lens stays centred."""
    from faults import plant
    from rendering import Make, render_set

    scene = scene_of(seed)
    sound = render_set(scene.lights, Make(0.027, 0.7, 0.5, cut=(2, 1)), seed, scene.alpha)
    light = max(sound.passes, key=lambda name: float(sound.passes[name].sum()))
    made = plant(kind, sound, light, np.random.default_rng(seed))
    assert made is not None
    changed, planted = made
    proof = calibration.proof_of(changed)
    assert calibration.verdict_on(proof, [planted]) == "named"
    height, width = changed.beauty.shape[:2]
    assert all(d.region.right <= width and d.region.bottom <= height for d in proof.diagnoses)


@pytest.mark.parametrize(("seed", "paths"), [(1, 0.5), (4, 0.5), (4, 2.0), (6, 2.0)])
def test_light_that_few_paths_find_is_no_fault(
    calibration: Any, scene_of: Callable[[int], Any], seed: int, paths: float
) -> None:
    """Skewed noise feigns smaller factors block for block; and blocks that are cut off are noisier.

    The noise is that of a path tracer: the number of paths that find a light is Poisson's.
    """
    from rendering import Make, render_set

    scene = scene_of(seed)
    make = Make(0.1, 1.3, paths=paths, cut=(2, 1))
    proof = calibration.proof_of(render_set(scene.lights, make, seed, scene.alpha))
    assert (proof.verdict, calibration.said(proof)) == ("adds up", [])
    assert "denoised-apart" not in {remark.code for remark in proof.remarks if not remark.lights}


@pytest.mark.parametrize(
    ("kind", "seed"),
    [
        *(("light missing", seed) for seed in (0, 2, 9)),
        *(("pass filmic", seed) for seed in (0, 2, 9)),
        *(("half a stop down", seed) for seed in (0, 9)),
        *(("off in the beauty", seed) for seed in (0, 9)),
        *(("beauty vignetted", seed) for seed in (0, 2)),
        ("beauty with bloom", 0),
        ("pass x/(1+x)", 2),
        ("all passes in other primaries", 2),
    ],
)
def test_planted_faults_are_named(
    calibration: Any, sound_set: Callable[[int], Any], kind: str, seed: int
) -> None:
    from faults import plant

    sound = sound_set(seed)
    light = max(sound.passes, key=lambda name: float(sound.passes[name].sum()))
    made = plant(kind, sound, light, np.random.default_rng(seed))
    assert made is not None
    changed, planted = made
    assert calibration.verdict_on(calibration.proof_of(changed), [planted]) == "named"
