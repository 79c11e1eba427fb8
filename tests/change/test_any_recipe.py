"""Whatever way a recipe says it: after a change lights stand where they should, no other moves."""

from __future__ import annotations

import math
import random
import re
from pathlib import Path

import pytest

from evenfall.change.changing import change_recipe
from evenfall.compare.standing import Stand, stand, tint_of
from evenfall.errors import UsageError
from evenfall.recipe import Recipe, load

LIGHTS = ("sun", "sky", "left", "right", "big lamp")
GROUPS = {"pair": ("left", "right"), "lamps": ("left", "right", "big lamp"), "out": ("sun", "sky")}
MOODS = ("day", "dusk", "late dusk", "night")
NEAR_STOPS = 3e-3  # figures are written in four digits
NEAR_MIRED = 0.11  # and kelvin in whole ones


def any_gain(rng: random.Random, *, first: bool) -> str:
    """A gain in any of the ways that a mood may say it, as the inside of a table."""
    ways = ["stops = {:g}", 'stops = "{:+d} 1/3"', "factor = {:g}", "lumens = {:g}", "off = true",
            "watts = {:g}, lumens_per_watt = 90"]  # fmt: skip
    if not first:
        ways += ['stops = "down {:g}"', 'stops = "up {:g}"', "on = true"]
    way = rng.choice(ways)
    size = rng.randint(-3, 3) if "stops" in way else rng.choice([0.5, 2, 3.3])
    if "lumens =" in way or "watts" in way:
        size = rng.randint(5, 900)
    return way.format(abs(size) if "down" in way or "up" in way else size)


def any_entry(rng: random.Random, *, first: bool) -> str:
    parts = []
    if rng.random() < 0.8:
        parts.append(any_gain(rng, first=first))
    if rng.random() < 0.5 or not parts:
        parts.append(rng.choice(["kelvin = {}", "mired_shift = {}", "xy = [0.44, 0.40]"]).format(
            rng.randint(25, 60) * 100 if rng.random() < 1 else 0
        ).replace("mired_shift = ", "mired_shift = 0.00"))  # fmt: skip
    return ", ".join(parts)


def written(rng: random.Random, mood: str, name: str, entry: str) -> str:
    """An entry in one of the layouts that TOML knows."""
    key = f'"{name}"' if " " in name else name
    layout = rng.choice(["inline", "dotted", "tight"])
    if layout == "dotted" and "," not in re.sub(r"\[.*?\]", "", entry):
        left, _, right = entry.partition(" = ")
        return f"lights.{key}.{left} = {right}   # {name}\n"
    inside = entry.replace(" = ", "=") if layout == "tight" else f" {entry} "
    return f"lights.{key} = {{{inside}}}   # {name} in {mood}\n"


def any_recipe(rng: random.Random, path: Path) -> Path:
    text = "# kept\nformat = 1\n"
    for light in LIGHTS:
        text += f'[lights."{light}"]\nfile = "{light}.exr"\nrendered = {{ lumens = 400 }}\n'
        text += 'role = "key"\n' if light == "sun" else ""
    text += "[groups]\n"
    for group, lights in GROUPS.items():
        text += f"{group} = [{', '.join(repr(light) for light in lights)}]\n"
    for number, mood in enumerate(MOODS):
        base = rng.choice([None, *MOODS[:number]])
        text += f'[moods."{mood}"]   # {mood}\n'
        text += f'based_on = "{base}"\n' if base else ""
        for name in rng.sample((*LIGHTS, *GROUPS), rng.randint(0, 5)):
            text += written(rng, mood, name, any_entry(rng, first=base is None))
    path.write_text(text, encoding="utf-8")
    return path


def places(recipe: Recipe) -> dict[tuple[str, str], Stand]:
    return {(mood, light): stand(recipe, mood, light) for mood in MOODS for light in LIGHTS}


def same(one: Stand, other: Stand) -> bool:
    return one.is_near(other, NEAR_STOPS)


@pytest.fixture
def sound(tmp_path: Path) -> object:
    """A recipe that is sound, by seed; the first tries may count steps from lights that are off."""

    def make(seed: int) -> tuple[random.Random, Path]:
        rng = random.Random(seed)
        while True:
            path = any_recipe(rng, tmp_path / "view.toml")
            try:
                load(path, check_files=False)
            except Exception:
                continue
            return rng, path

    return make


@pytest.mark.parametrize("seed", range(60))
def test_gains_move_by_what_was_said(sound: object, seed: int) -> None:
    rng, path = sound(seed)  # type: ignore[operator]
    before = load(path, check_files=False)
    comments = re.findall(r"#.*", path.read_text(encoding="utf-8"))
    subject = rng.choice((*LIGHTS, *GROUPS))
    moods = rng.sample(MOODS, rng.randint(1, 3))
    way, phrase = rng.choice([(1 / 3, "+1/3"), (-0.5, "down 1/2"), (math.log2(1.5), "x1.5")])
    members = before.members(subject)
    if all(stand(before, mood, light).is_off for mood in moods for light in members):
        with pytest.raises(UsageError, match="is off in"):
            change_recipe(path, moods, [f"{subject} {phrase}"])
        return
    changed = change_recipe(path, moods, [f"{subject} {phrase}"])
    after = load(path, check_files=False)
    was, now = places(before), places(after)
    for (mood, light), place in was.items():
        if mood in moods and light in before.members(subject):
            wanted = place if place.is_off else place.moved(way)
            assert same(now[mood, light], wanted), (mood, light)
        elif mood in moods:
            assert same(now[mood, light], place), (mood, light)
        assert tint_of(after.moods[mood].lights[light]) == tint_of(before.moods[mood].lights[light])
    moved = {mood for (mood, _), place in was.items() for light in LIGHTS
             if not now[mood, light].is_near(was[mood, light], 1e-9)}  # fmt: skip
    assert moved == {*changed.moods, *changed.carried}
    found = re.findall(r"#.*", path.read_text(encoding="utf-8"))
    assert [one for one in comments if one not in found] == []


@pytest.mark.parametrize("seed", range(60, 100))
def test_a_kept_mood_stays_while_its_base_changes(sound: object, seed: int) -> None:
    rng, path = sound(seed)  # type: ignore[operator]
    before = load(path, check_files=False)
    mood = rng.choice(MOODS)
    phrases = [f"{rng.choice((*LIGHTS, *GROUPS))} {rng.choice(['= 1/3', '-1', 'off', '3000 K'])}"]
    try:
        trial = change_recipe(path, mood, phrases, dry_run=True)
    except UsageError:  # it is off, or stands so already, or others count from it
        return
    changed = change_recipe(path, mood, phrases, keep=list(trial.carried))
    after = load(path, check_files=False)
    assert not changed.carried
    for other in trial.carried:
        for light in LIGHTS:
            assert same(stand(after, other, light), stand(before, other, light)), (other, light)
            tints = [tint_of(recipe.moods[other].lights[light]) for recipe in (before, after)]
            assert tints[0] in (tints[1], {} if tints[1] == {"mired_shift": 0} else tints[1])


@pytest.mark.parametrize("seed", range(100, 140))
def test_colours_shift_by_what_was_said(sound: object, seed: int) -> None:
    rng, path = sound(seed)  # type: ignore[operator]
    before = load(path, check_files=False)
    subject, mood = rng.choice((*LIGHTS, *GROUPS)), rng.choice(MOODS)
    shift = rng.choice([15, -20])
    phrase = f"{subject} {'warmer' if shift > 0 else 'cooler'} {abs(shift)}"
    change_recipe(path, mood, [phrase])
    after = load(path, check_files=False)
    for light in LIGHTS:
        was = before.moods[mood].lights[light]
        now = after.moods[mood].lights[light]
        assert same(stand(before, mood, light), stand(after, mood, light))
        if light not in before.members(subject):
            assert tint_of(now) == tint_of(was)
        elif was.kelvin is not None:
            assert now.kelvin is not None
            assert 1e6 / now.kelvin - 1e6 / was.kelvin == pytest.approx(shift, abs=NEAR_MIRED)
        elif was.xy is None:
            assert now.mired_shift == pytest.approx((was.mired_shift or 0) + shift, abs=0.01)
