"""Processor time of every stage of a run, one after the other on one thread; prints JSON.

    python stages.py RECIPE

The environment should be that of the program (`evenfall.cli.process.ENVIRONMENT`).
"""

from __future__ import annotations

import json
import sys
import time

import numpy as np

import evenfall
from evenfall.cli.memory import keep_freed_memory
from evenfall.deliver.png import encode_png
from evenfall.deliver.quantise import quantise
from evenfall.develop.asked import Asked
from evenfall.develop.engine import develop_moods
from evenfall.develop.opening import open_passes
from evenfall.mix.engine import mix_moods
from evenfall.mix.plan import plan_mix
from evenfall.passes.fingerprint import fingerprint

_ROWS = 24


def main() -> None:
    seconds: dict[str, float] = {}
    started = time.process_time()

    def lap(stage: str) -> None:
        nonlocal started
        now = time.process_time()
        seconds[stage] = seconds.get(stage, 0.0) + now - started
        started = now

    seconds["start and import"] = started
    keep_freed_memory()
    recipe = evenfall.load(sys.argv[1])
    source, asked, moods = open_passes(recipe), Asked(recipe), list(recipe.moods)
    lap("load and check")
    for header in source.headers.values():
        fingerprint(header.path)
    lap("fingerprints")
    developed = list(develop_moods(source, asked, moods, workers=1))
    lap("warm up")  # the first use of memory and of files
    factors = {mood.name: mood.balance.factors for mood in developed}
    del developed
    plan = plan_mix(factors, source.batches(recipe.model.lights))
    held = {}
    started = time.process_time()
    for batch in plan.batches:
        held |= source.read(batch)
    lap("decode")
    mixes, _ = mix_moods(plan, source, held=held, workers=1)
    lap("mix")
    del mixes
    developed = list(develop_moods(source, asked, moods, workers=1))
    lap("decode, mix and meter")
    seconds["meter"] = max(
        0.0, seconds.pop("decode, mix and meter") - seconds["decode"] - seconds["mix"]
    )
    width, height = source.size
    for mood in developed:
        chain = mood.chain()
        scene = mood.scene(chain)
        codes = np.empty((height, width, 3), np.uint8)
        for top in range(0, height, _ROWS):
            rows = slice(top, min(top + _ROWS, height))
            started = time.process_time()
            encoded = scene.encode_rows(chain, rows)
            lap("look")
            quantise(encoded, 8, first_row=top, out=codes[rows])
            lap("dither to whole codes")
        encode_png(codes)
        lap("encode")
    del seconds["warm up"]
    print(json.dumps(seconds))


if __name__ == "__main__":
    main()
