"""A recipe in kelvin starts without a colour library."""

from __future__ import annotations

import subprocess
import sys

PROGRAM = """
import sys
from evenfall.light.primaries import BT709
from evenfall.light.tint import tint_factors
from evenfall.light.daylight import daylight_state
from evenfall.recipe import LightSetting, Rendered
tint_factors(LightSetting(kelvin=2700), Rendered(kelvin=6500), BT709)
daylight_state(10)
print(sorted({"colour", "scipy", "PIL"} & set(sys.modules)))
"""


def test_kelvin_and_daylight_load_no_heavy_library():
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM], capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "[]"
