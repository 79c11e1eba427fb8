"""Light that would count twice: told by meter, run and check, from what was seen in the pixels.

The room of the shared fixtures: seven lights, each with noise of its own, and a beauty rendered
apart. A recipe that names the beauty as a light gives twice the light.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

import evenfall
from evenfall.errors import Advice

LIGHTS = ("sun", "sky", "pendants", "cove", "garden", "screen_glow", "fill")
ALL = "".join(f'[lights.{name}]\nfile = "{name}.exr"\nrole = "fixture"\n' for name in LIGHTS)
TWICE = f"""format = 1
{ALL}
[lights.room]
file = "room.exr"
role = "key"
[moods.day]
[moods.night]
lights.room = "off"
"""


@pytest.fixture
def folder(
    tmp_path: Path,
    studio_passes: dict[str, np.ndarray],
    studio_beauty: np.ndarray,
    write_exr: Callable[..., Path],
) -> Path:
    for name, picture in studio_passes.items():
        write_exr(tmp_path / f"{name}.exr", picture)
    write_exr(tmp_path / "room.exr", studio_beauty)
    return tmp_path


def view(folder: Path, text: str) -> evenfall.View:
    (folder / "view.toml").write_text(text, encoding="utf-8")
    return evenfall.open(folder / "view.toml")


def counted_twice(advice: tuple[Advice, ...]) -> list[str]:
    return [str(each) for each in advice if each.code == "counted-twice"]


def test_meter_run_and_check_say_so(folder: Path) -> None:
    opened = view(folder, TWICE)
    assert counted_twice(opened.check().advice) == []  # no pixel has been seen
    (said,) = counted_twice(opened.meter().advice)
    assert "lights.room" in said
    assert "counts twice in day" in said
    report = opened.run(out=folder / "out")
    assert any("counts twice in day" in note for note in report.notes)
    (again,) = counted_twice(view(folder, TWICE).check().advice)
    assert again == said


def test_a_survey_has_seen_it_too(folder: Path) -> None:
    evenfall.survey_folder(folder, write=folder / "first.toml")
    (said,) = counted_twice(view(folder, TWICE).check().advice)
    assert "is the sum of" in said or "holds the light of" in said


def test_a_copy_is_told(folder: Path) -> None:
    (folder / "sun_2.exr").write_bytes((folder / "sun.exr").read_bytes())
    copy = '[lights.sun_2]\nfile = "sun_2.exr"\n'
    text = f"format = 1\n{ALL}{copy}[moods.day]\n"
    (said,) = counted_twice(view(folder, text).meter().advice)
    assert "lights.sun_2: its pass is the same picture as that of sun" in said


def test_a_group_that_is_on_by_itself_is_no_fault(folder: Path) -> None:
    others = "".join(f'lights.{name} = "off"\n' for name in LIGHTS)
    text = TWICE.replace("[moods.day]\n", f"[moods.day]\n{others}")
    assert counted_twice(view(folder, text).meter().advice) == []


def test_it_can_be_silenced(folder: Path) -> None:
    text = TWICE.replace("format = 1\n", 'format = 1\nsilence = ["counted-twice"]\n')
    assert counted_twice(view(folder, text).meter().advice) == []


def test_sound_sets_hear_nothing(folder: Path) -> None:
    sound = f"format = 1\n{ALL}[moods.day]\n"
    assert counted_twice(view(folder, sound).meter().advice) == []
