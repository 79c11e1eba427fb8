"""Calibrate the proof on hundreds of sets: false alarms of honest ones, names of planted faults.

    python tests/calibration/run.py honest 500
    python tests/calibration/run.py faults 20           sets a kind
    python tests/calibration/run.py pairs 200 --first 90000

Not part of the suite. Each line that is not as it should be is printed, and a table at the end.
What a method was changed on no longer counts: `--first` gives seeds that it has not seen.
"""

from __future__ import annotations

import argparse
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


def honest(seeds: range) -> None:
    """Prove sets in which nothing is wrong."""
    alarms: Counter[str] = Counter()
    remarked: Counter[str] = Counter()
    for seed in seeds:
        scene = scene_for(seed)
        make = random_make(np.random.default_rng(seed))
        proof = proof_of(render_set(scene.lights, make, seed, scene.alpha))
        remarked.update(remark.code for remark in proof.remarks)
        if proof.verdict != "adds up":
            alarms[scene.kind] += 1
            print("ALARM", seed, scene.kind, make, said(proof), flush=True)
    print(f"{sum(alarms.values())} false alarms in {len(seeds)} honest sets {dict(alarms)}")
    print(f"remarks: {dict(remarked)}")


def _strong_lights(found: RenderedSet) -> list[str]:
    light = {name: float(rgb.sum()) for name, rgb in found.passes.items()}
    total = sum(light.values())
    return [name for name, value in light.items() if value > _LEAST_SHARE * total]


def verdict_on(proof: Proof, planted: list[Planted]) -> str:
    """`named`, or what went wrong: `missed`, `innocent`, `half` named, `misnamed`."""
    found = said(proof)
    if not found:
        return "missed"
    guilty = {each.light for each in planted if each.light is not None}
    guilty |= {f"{name}_again" for name in guilty}
    doubled = any(each.kind == "pass twice" for each in planted)
    accused = {light for _, lights in found for light in lights if len(lights) == 1}
    if not (accused <= guilty or doubled):
        return "innocent"
    right = [
        any(
            code in each.codes and (each.light is None or each.light in lights)
            for code, lights in found
        )
        for each in planted
    ]
    return "named" if all(right) else "half" if any(right) else "misnamed"


def _rendered(seed: int, rng: np.random.Generator) -> tuple[RenderedSet, Any] | None:
    """Render a set exposed as to be shown; None where its grain is too strong to count."""
    scene = scene_for(seed)
    make = random_make(rng)
    if make.grain > _MOST_GRAIN or make.paths:
        return None
    bright = np.quantile(np.sum(list(scene.lights.values()), axis=0), 0.95)
    exposed = {name: light / bright for name, light in scene.lights.items()}
    return render_set(exposed, make, seed, scene.alpha), (scene.kind, make)


def _planted(
    found: RenderedSet, wanted: list[tuple[str, str]], rng: np.random.Generator
) -> tuple[RenderedSet, list[Planted]] | None:
    planted = []
    for kind, light in wanted:
        made = plant(kind, found, light, rng)
        if made is None:
            return None
        found, each = made
        planted.append(each)
    return found, planted


def _is_named_alone(seed: int, kind: str, light: str) -> bool:
    rng = np.random.default_rng([seed, 77])
    rendered = _rendered(seed, rng)
    made = rendered and _planted(rendered[0], [(kind, light)], rng)
    return made is not None and verdict_on(proof_of(made[0]), made[1]) == "named"


def _campaign(rows: list[tuple[int, list[str]]]) -> None:
    """Plant faults and count what is said; of two, only where each is named alone."""
    table: dict[str, Counter[str]] = defaultdict(Counter)
    total: Counter[str] = Counter()
    for seed, kinds in rows:
        rng = np.random.default_rng([seed, 77])
        rendered = _rendered(seed, rng)
        if rendered is None:
            continue
        lights = [str(light) for light in rng.permutation(_strong_lights(rendered[0]))]
        ordered = sorted(kinds, key=lambda each: each != "off in the beauty")  # it renders anew
        wanted = list(zip(ordered, lights[::-1], strict=False))
        made = _planted(rendered[0], wanted, rng) if len(wanted) == len(kinds) else None
        if made is None:
            continue
        if len(wanted) > 1 and not all(_is_named_alone(seed, *each) for each in wanted):
            continue
        found, planted = made
        proof = proof_of(found)
        word = verdict_on(proof, planted)
        total[word] += 1
        for kind in kinds:
            table[kind][word] += 1
        if word != "named":
            print(word.upper(), seed, wanted, rendered[1], said(proof), flush=True)
    for kind, words in table.items():
        print(f"{kind:34s} {words['named']:4d} of {sum(words.values()):4d}   {dict(words)}")
    every = sum(total.values())
    print(f"all: {total['named']} of {every}, {total['named'] / every:.1%}  {dict(total)}")


def _one_each(kinds: list[str], count: int, first: int) -> list[tuple[int, list[str]]]:
    places = {kind: first + 100 * place for place, kind in enumerate(FAULTS)}
    return [(places[kind] + n, [kind]) for kind in kinds or FAULTS for n in range(count)]


def _two_each(count: int, first: int) -> list[tuple[int, list[str]]]:
    rng = np.random.default_rng([5, first])
    kinds = [kind for kind in FAULTS if not kind.startswith("all ") and kind != "pass twice"]
    return [
        (first + n, [str(k) for k in rng.choice(kinds, 2, replace=False)]) for n in range(count)
    ]


def main() -> None:
    """Run one campaign."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("campaign", choices=["honest", "faults", "pairs"])
    parser.add_argument("count", type=int, help="sets; of faults: sets a kind, at most 100")
    parser.add_argument("kinds", nargs="*", help="of faults, instead of all")
    parser.add_argument("--first", type=int, default=0, help="first seed")
    asked = parser.parse_args()
    begun = time.monotonic()
    if asked.campaign == "honest":
        honest(range(asked.first, asked.first + asked.count))
    elif asked.campaign == "faults":
        _campaign(_one_each(asked.kinds, asked.count, asked.first))
    else:
        _campaign(_two_each(asked.count, asked.first))
    print(f"{time.monotonic() - begun:.0f} s")


if __name__ == "__main__":
    main()
