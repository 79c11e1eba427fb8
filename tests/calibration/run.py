"""Calibrate the proof on hundreds of sets: false alarms of honest ones, names of planted faults.

    python tests/calibration/run.py honest 500
    python tests/calibration/run.py faults 20           sets a kind
    python tests/calibration/run.py pairs 200

Not part of the suite. Each line that is not as it should be is printed, and a table at the end.
"""

from __future__ import annotations

import sys
import time
from collections import Counter, defaultdict
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))

from faults import FAULTS, Planted, plant
from rendering import RenderedSet, picture, random_make, render_set
from sources import scene_for

from evenfall.prove.proof import Proof
from evenfall.prove.prove import prove

_LEAST_SHARE = 0.01
_MOST_GRAIN = 0.2


def proof_of(found: RenderedSet) -> Proof:
    """Prove a rendered set."""
    beauty = picture(found.beauty, found.alpha)
    return prove(beauty, lambda: [(n, picture(p, found.alpha)) for n, p in found.passes.items()])


def said(proof: Proof) -> list[tuple[str, tuple[str, ...]]]:
    """Codes and lights of a proof."""
    return [(each.code, each.lights) for each in proof.diagnoses]


def honest(count: int) -> None:
    """Prove sets in which nothing is wrong."""
    alarms: Counter[str] = Counter()
    remarked: Counter[str] = Counter()
    for seed in range(count):
        scene = scene_for(seed)
        make = random_make(np.random.default_rng(seed))
        proof = proof_of(render_set(scene.lights, make, seed, scene.alpha))
        remarked.update(remark.code for remark in proof.remarks)
        if proof.verdict != "adds up":
            alarms[scene.kind] += 1
            print("ALARM", seed, scene.kind, make, said(proof), flush=True)
    print(f"{sum(alarms.values())} false alarms in {count} honest sets {dict(alarms)}")
    print(f"remarks: {dict(remarked)}")


def _strong_lights(found: RenderedSet) -> list[str]:
    light = {name: float(rgb.sum()) for name, rgb in found.passes.items()}
    total = sum(light.values())
    return [name for name, value in light.items() if value > _LEAST_SHARE * total]


def verdict_on(proof: Proof, planted: list[Planted]) -> str:
    """`named`, or what went wrong: `missed`, `misnamed`, `innocent`."""
    found = said(proof)
    if not found:
        return "missed"
    guilty = {each.light for each in planted if each.light is not None}
    guilty |= {f"{name}_again" for name in guilty}
    for each in planted:
        right = any(
            code in each.codes and (each.light is None or each.light in lights)
            for code, lights in found
        )
        if not right:
            return "misnamed"
    doubled = any(each.kind == "pass twice" for each in planted)
    accused = {light for _, lights in found for light in lights if len(lights) == 1}
    return "named" if accused <= guilty or doubled else "innocent"


def _planted_set(seed: int, kinds: list[str]) -> tuple[RenderedSet, list[Planted], Any] | None:
    rng = np.random.default_rng([seed, 77])
    scene = scene_for(seed)
    make = random_make(rng)
    if make.grain > _MOST_GRAIN:
        return None
    found = render_set(scene.lights, make, seed, scene.alpha)
    lights = list(rng.permutation(_strong_lights(found)))
    planted = []
    for kind in kinds:
        if not lights:
            return None
        made = plant(kind, found, str(lights.pop()), rng)
        if made is None:
            return None
        found, each = made
        planted.append(each)
    return found, planted, (scene.kind, make)


def _campaign(rows: list[tuple[int, list[str]]]) -> None:
    table: dict[str, Counter[str]] = defaultdict(Counter)
    for seed, kinds in rows:
        made = _planted_set(seed, kinds)
        if made is None:
            continue
        found, planted, about = made
        proof = proof_of(found)
        word = verdict_on(proof, planted)
        for kind in kinds:
            table[kind][word] += 1
        if word != "named":
            lights = [(each.kind, each.light) for each in planted]
            print(word.upper(), seed, lights, about, said(proof), flush=True)
    total: Counter[str] = Counter()
    for kind, words in table.items():
        total.update(words)
        print(f"{kind:34s} {words['named']:4d} of {sum(words.values()):4d}   {dict(words)}")
    every = sum(total.values())
    print(f"all: {total['named']} of {every}, {total['named'] / every:.1%}  {dict(total)}")


def main() -> None:
    """Run one campaign."""
    what, count = sys.argv[1], int(sys.argv[2])
    begun = time.monotonic()
    if what == "honest":
        honest(count)
    elif what == "faults":
        kinds = sys.argv[3:] or list(FAULTS)
        _campaign([(1000 + n, [kind]) for kind in kinds for n in range(count)])
    else:
        rng = np.random.default_rng(5)
        kinds = [k for k in FAULTS if not k.startswith("all ") and k != "pass twice"]
        rows = [
            (3000 + n, [str(k) for k in rng.choice(kinds, 2, replace=False)]) for n in range(count)
        ]
        _campaign(rows)
    print(f"{time.monotonic() - begun:.0f} s")


if __name__ == "__main__":
    main()
