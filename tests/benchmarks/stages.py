"""Processor time of every stage of a run, one after the other on one thread; prints JSON.

    python stages.py RECIPE

The environment should be that of the program (`evenfall.cli.process.ENVIRONMENT`).
"""

from __future__ import annotations

import json
import sys
import time
from pathlib import Path

import numpy as np

import evenfall
from evenfall.cli.memory import keep_freed_memory
from evenfall.deliver.png import encode_png
from evenfall.deliver.quantise import quantise
from evenfall.develop.mixing import mix_and_expose
from evenfall.develop.view import open_view
from evenfall.light.output_spaces import output_space
from evenfall.look.chain import build_chain
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
    view = open_view(recipe)
    lap("load and check")
    for header in view.files.headers.values():
        fingerprint(header.path)
    lap("fingerprints")
    moods = list(recipe.moods)
    exposed = mix_and_expose(view, moods, workers=1)
    lap("warm up")  # the first use of memory and of files
    factors = {mood: exposed.measuring.balances[mood].factors for mood in moods}
    del exposed
    plan = plan_mix(factors, view.passes.batches(recipe.model.lights))
    held = {}
    started = time.process_time()
    for batch in plan.batches:
        held |= view.passes.read(batch)
    lap("decode")
    mixes, _ = mix_moods(plan, view.passes, held=held, workers=1)
    lap("mix")
    del mixes
    exposed = mix_and_expose(view, moods, workers=1)
    lap("decode, mix and meter")
    seconds["meter"] = max(
        0.0, seconds.pop("decode, mix and meter") - seconds["decode"] - seconds["mix"]
    )
    width, height = view.size
    for mood in moods:
        planes = exposed.mixes[mood].planes
        chain = build_chain(
            recipe.moods[mood].look,
            source=view.space,
            camera_matrix=exposed.cameras[mood].matrix,
            output=output_space("sRGB"),
            size=view.size,
            recipe_folder=Path(),
        )
        codes = np.empty((height, width, 3), np.uint8)
        for top in range(0, height, _ROWS):
            rows = slice(top, min(top + _ROWS, height))
            started = time.process_time()
            encoded = chain.encode_rows(np.ascontiguousarray(planes[:, rows]), top)
            lap("look")
            quantise(encoded, 8, first_row=top, out=codes[rows])
            lap("dither to whole codes")
        encode_png(codes)
        lap("encode")
    del seconds["warm up"]
    print(json.dumps(seconds))


if __name__ == "__main__":
    main()
