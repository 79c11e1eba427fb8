"""What is wrong with a sequence is told with its place and what to do."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from evenfall.errors import RecipeError
from evenfall.recipe import load

Corner = Callable[..., Path]


def faults_of(path: Path) -> str:
    with pytest.raises(RecipeError) as raised:
        load(path)
    return "\n".join(str(fault) for fault in raised.value.faults)


@pytest.mark.parametrize(
    ("keys", "said"),
    [
        ('{ mood = "day", frame = 5 }, { mood = "dusk", frame = 2 }',
         "frame 2 comes behind frame 5"),
        ('{ mood = "day", time = "23:30" }, { mood = "dusk", time = "0:30" }',
         'after midnight hours run on: "24:30" is on the next day'),
        ('{ mood = "day", frame = 1 }, { mood = "dawn", frame = 9 }',
         'there is no mood called "dawn"'),
        ('{ mood = "day", frame = 1 }, { mood = "dusk", time = "9:00" }',
         "every key says frame, every key says time, or every key says both"),
        ('{ mood = "day", frame = 1 }, { mood = "dusk", frame = 12 }',
         "the sequence has frames 1-9"),
        ('{ mood = "day", time = "noon" }', "expected a time of day such as"),
        ('{ mood = "day", time = "12:61" }', "expected a time of day such as"),
    ],
)  # fmt: skip
def test_keys(corner: Corner, keys: str, said: str) -> None:
    assert said in faults_of(corner(f"\n[sequence]\nframes = 9\nkeys = [{keys}]\n"))


def test_a_sequence_is_not_called_like_a_mood(corner: Corner) -> None:
    text = '\n[sequence]\nname = "day"\nframes = 9\nkeys = [{ mood = "day", frame = 1 }]\n'
    assert '"day" is a mood too' in faults_of(corner(text))


def test_daylight_needs_times(corner: Corner) -> None:
    text = """
[sequence]
frames = 9
keys = [{ mood = "day", frame = 1 }]
daylight = { sky = "skyy", latitude = 60, longitude = 5, date = "2026-06-21" }
"""
    told = faults_of(corner(text))
    assert "the daylight model needs to know what time it is" in told
    assert 'there is no light or group called "skyy"' in told


@pytest.mark.parametrize(
    ("light", "said"),
    [
        ('times = ["17:00"]', "1 said, 2 there"),
        ('times = ["18:00", "17:00"]', "times go on from pass to pass"),
        ("sun_altitudes_degrees = [30, 30]", "rise or fall from pass to pass"),
        ('times = ["17:00", "18:00"]', "nobody says what time it is"),
        ("sun_altitudes_degrees = [30, 20]", "nobody says how high the sun stands"),
    ],
)
def test_lights_on_their_way(corner: Corner, light: str, said: str) -> None:
    path = corner("")
    text = path.read_text().replace('file = "sun.exr"', f'file = ["sun.exr", "sky.exr"]\n{light}')
    path.write_text(
        text.replace('[lights.sky]\nfile = "sky.exr"', '[lights.sky]\nfile = "lamp.exr"').replace(
            '[lights.lamp]\nfile = "lamp.exr"', '[lights.lamp]\nfile = "other.exr"'
        )
    )
    assert said in faults_of(path)
