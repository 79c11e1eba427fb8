"""The guide's chapter on rounds: every command of it, in its order, on the small sample view."""

from __future__ import annotations

import shlex
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from evenfall.cli.main import main
from evenfall.view.live import DraftsFailed, DraftsMade, live_drafts

from .reading import chapter, commands

DIFFERENT = 1  # the exit code of `compare`


def interrupted_at_first(path: Path, **options: Any) -> Iterator[DraftsMade | DraftsFailed]:
    """Drafts as `--watch` makes them, until somebody presses Ctrl-C at once."""
    yield next(live_drafts(path, **options))
    raise KeyboardInterrupt


def test_every_command_of_the_chapter(sample: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(sample)
    monkeypatch.setattr("evenfall.view.live.live_drafts", interrupted_at_first)
    monkeypatch.setattr("evenfall.cli.live.stop_in_order", lambda: None)
    first = Path("view.toml").read_text(encoding="utf-8")
    said: list[str] = []
    typed = commands(chapter(9))
    for command in typed:
        program, *arguments = shlex.split(command)
        assert program == "evenfall"
        result = CliRunner().invoke(main, arguments)
        code = 130 if "--watch" in arguments else DIFFERENT if "compare" in arguments else 0
        assert result.exit_code == code, (command, result.output, result.exception)
        said.append(result.stdout)
        if "--dry-run" in arguments:
            assert Path("view.toml").read_text(encoding="utf-8") == first

    def told(start: str) -> str:
        """What the last command that begins so said."""
        both = zip(reversed(typed), reversed(said), strict=True)
        return next(text for command, text in both if command.startswith(f"evenfall {start}"))

    now = (sample / "rounds" / "002" / "view.toml").read_text(encoding="utf-8")
    lights = {mood: part["lights"] for mood, part in tomllib.loads(now)["moods"].items()}
    was = {mood: part["lights"] for mood, part in tomllib.loads(first)["moods"].items()}
    assert lights == {
        "day": was["day"],
        "dusk": was["dusk"]
        | {
            "sky": {"stops": "-4 5/6", "kelvin": 10000},
            "indoor": {"stops": "-1/3", "kelvin": 2562},  # 1e6 / (1e6 / 2700 + 20)
            "shelf_strip": "+1/6",  # a half up from -1/3
            "floor_lamp": {"stops": 0.2516, "kelvin": 2600},  # log2(1.5) up from -1/3
            "terrace_lantern": "off",
        },
        "night": was["night"]
        | {
            "pendants": {"stops": "-1 1/3", "kelvin": 2700},
            "shelf_strip": {"stops": 0, "kelvin": 2700},
            "table_lamp": {"stops": "2/3", "kelvin": 2700},
            "floor_lamp": {"stops": 1.585, "kelvin": 2600},
            "terrace_lantern": "off",
        },
    }
    assert any("pictures/round_2/view_day.png  kept" in one for one in said)
    assert "a red sky: declined: not at this hour" in told("round show")
    assert "dusk: shelf_strip: -1/3 stop, 2700 K -> +1/6 stop, 2562 K" in told("round show")
    assert "night: CIEDE2000 mean" in told("compare 1 2")
    assert Path("before_and_after.png").is_file()
    assert Path("view.toml").read_text(encoding="utf-8") == first
    assert told("run view.toml --round").count("the same, byte for byte") == 7
    assert "  round    round 1" in told("trace")
    assert "again/view_dusk.png  the same, byte for byte" in told("trace")
    traced = tomllib.loads(Path("what_it_was.toml").read_text(encoding="utf-8"))
    assert traced["moods"] == {"dusk": tomllib.loads(first)["moods"]["dusk"]}
