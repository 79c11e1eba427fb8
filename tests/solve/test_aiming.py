"""Aims met by gains, on views whose answer is known by hand, and metered back from the picture.

The view is two flat halves: a lamp lights the left one, the sky both. Light adds up, so every gain
can be worked out with a pencil. 18 % is middle grey; stops are log2 (ISO 2720 puts a metered spot
there, with K = 12.5: see `test_a_spot_meter_agrees`).
"""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from scipy.optimize import minimize

import evenfall
from evenfall.cli.main import main
from evenfall.errors import UsageError
from evenfall.light.units import luminance_from_ev100
from evenfall.solve.aimed import Aimed
from evenfall.solve.problem import Colour, Level, Moves, Ratio
from evenfall.solve.solving import solve

RECIPE = """\
format = 1                       # by hand
[passes]
luminance_scale = 100
[lights.lamp]
file = "lamp.exr"
rendered = { kelvin = 3000 }
[lights.sky]
file = "sky.exr"
rendered = { kelvin = 6500 }
[lights.spare]
file = "spare.exr"
[groups]
all = ["lamp", "sky"]
[camera]
meter = "off"
[moods.dusk]
lights.lamp = -1                 # low
lights.spare = "off"
"""
LEFT = "{ rectangle = [0.05, 0.1, 0.45, 0.9] }"
RIGHT = "{ rectangle = [0.55, 0.1, 0.95, 0.9] }"
WIDTH, HEIGHT = 64, 32
LAMP, SKY = 0.2, 0.05


def view_of(folder: Path, aims: str, text: str = RECIPE, **passes: np.ndarray) -> evenfall.View:
    path = folder / "flat.toml"
    path.write_text(text + aims, encoding="utf-8")
    flat = np.ones((HEIGHT, WIDTH, 3), np.float32)
    left = flat * (np.arange(WIDTH) < WIDTH // 2)[None, :, None]
    usual = {"lamp": LAMP * left, "sky": SKY * flat, "spare": 0.3 * (flat - left)}
    return evenfall.open(path, passes=usual | passes)


def result(aimed: Aimed, aim: str, kind: int = 0) -> evenfall.solve.aimed.AimResult:
    return [each for each in aimed.aims if each.aim == aim][kind]


def metered(view: evenfall.View, place: str) -> float:
    """What the developed picture has there: a mood developed afresh from what was written."""
    return evenfall.open(view.recipe.path, passes=_arrays(view)).ask("dusk", place).stops


def _arrays(view: evenfall.View) -> dict[str, np.ndarray]:
    source = view.passes
    return {
        light: np.moveaxis(np.stack(source.read((light,))[light].planes), 0, -1).copy()
        for light in source.headers
    }


def test_two_aims_two_lights(tmp_path: Path) -> None:
    """Right: sky alone at -2 stops, 0.045. Left at grey, 0.18: the lamp gives 0.135 of 0.2."""
    view = view_of(
        tmp_path,
        f"[moods.dusk.aims]\nleft = {{ area = {LEFT}, stops = 0 }}\n"
        f"right = {{ area = {RIGHT}, stops = -2 }}\n",
    )
    aimed = view.aim("dusk")
    assert aimed.are_met
    assert aimed.written
    after = evenfall.load(view.recipe.path, check_files=False).moods["dusk"].lights
    assert after["sky"].stops == pytest.approx(math.log2(0.045 / SKY), abs=0.01)
    assert after["lamp"].stops == pytest.approx(math.log2(0.135 / LAMP), abs=0.03)
    assert "# low" in aimed.text
    assert "# by hand" in aimed.text
    assert metered(view, "0.1,0.2,0.4,0.8") == pytest.approx(0, abs=0.02)
    assert metered(view, "0.6,0.2,0.9,0.8") == pytest.approx(-2, abs=0.02)


def test_a_ratio_is_metered_back(tmp_path: Path) -> None:
    """4:1 with the sky held: the lamp gives 0.15 beside 0.05."""
    view = view_of(
        tmp_path,
        f'[moods.dusk.aims]\nleft = {{ area = {LEFT}, ratio = "4:1", over = {RIGHT} }}\n',
    )
    aimed = view.aim("dusk", hold=["sky"])
    assert aimed.are_met
    lamp = evenfall.load(view.recipe.path, check_files=False).moods["dusk"].lights["lamp"]
    assert lamp.stops == pytest.approx(math.log2(0.15 / LAMP), abs=0.02)
    ratio = metered(view, "0.1,0.2,0.4,0.8") - metered(view, "0.6,0.2,0.9,0.8")
    assert ratio == pytest.approx(2, abs=0.02)


def test_brighter_counts_from_where_it_stood(tmp_path: Path) -> None:
    """It stood at 0.1 + 0.05; half a stop more is 0.2121, of which the lamp gives 0.1621."""
    view = view_of(tmp_path, f'[moods.dusk.aims]\nleft = {{ area = {LEFT}, brighter = "1/2" }}\n')
    aimed = view.aim("dusk", move=["lamp"], dry_run=True)
    assert not aimed.written
    assert "lamp = -1 " in view.recipe.path.read_text(encoding="utf-8")
    assert aimed.moved[0].stops == pytest.approx(math.log2((0.15 * 2**0.5 - 0.05) / 0.1), abs=0.01)
    assert result(aimed, "left").comes_to == f"{math.log2(0.15 * 2**0.5 / 0.18):+.2f} stops"


def test_a_spot_meter_agrees(tmp_path: Path) -> None:
    """A luminance that a meter with K = 12.5 gives EV 5 (ISO 2720): 4 cd/m2; grey at 100 cd/m2 a
    unit and an exposure for EV 5 is 0.18, so the area must have 4 cd/m2 in the scene."""
    assert luminance_from_ev100(5) == pytest.approx(2**5 * 12.5 / 100)
    text = RECIPE.replace(
        'meter = "off"', "settings = { iso = 100, aperture = 5.6568542, shutter = 1 }"
    )  # N^2 / t = 32: EV 5
    view = view_of(tmp_path, f"[moods.dusk.aims]\nright = {{ area = {RIGHT}, stops = 0 }}\n", text)
    assert view.aim("dusk").are_met
    after = evenfall.open(view.recipe.path, passes=_arrays(view)).ask("dusk", "0.6,0.2,0.9,0.8")
    assert after.cd_m2 == pytest.approx(4.0, rel=0.01)


def test_the_camera_may_move(tmp_path: Path) -> None:
    view = view_of(tmp_path, f"[moods.dusk.aims]\nright = {{ area = {RIGHT}, stops = -1 }}\n")
    view.aim("dusk", move=["exposure"])
    after = evenfall.load(view.recipe.path, check_files=False).moods["dusk"]
    assert after.camera.exposure_stops == pytest.approx(math.log2(0.09 / SKY), abs=0.01)
    assert after.lights["lamp"].stops == -1


def test_a_metered_key_moves_the_camera_against_it(tmp_path: Path) -> None:
    """The meter puts the lamp at middle grey: alone it stays there, however strong it is. Beside a
    sky that stays, half as strong a lamp opens the camera by a stop, and the sky goes up."""
    text = RECIPE.replace('meter = "off"', 'meter = { of = "lamp" }')
    aims = f"[moods.dusk.aims]\nleft = {{ area = {LEFT}, stops = 1 }}\n"
    dark = text.replace("lights.spare =", 'lights.sky = "off"\nlights.spare =')
    alone = view_of(tmp_path, aims, dark).aim("dusk", dry_run=True)
    assert not alone.are_met
    assert "the meter reads lamp" in result(alone, "left").why
    view = view_of(tmp_path, aims, text)
    aimed = view.aim("dusk", move=["lamp"])
    assert aimed.are_met
    # The lamp is at 0.18, so the sky must give 0.18 too: 0.05 g with g = 0.18 / (0.2 f).
    assert aimed.moved[0].stops - 1 == pytest.approx(math.log2(0.05 / 0.2), abs=0.03)
    assert metered(view, "0.1,0.2,0.4,0.8") == pytest.approx(1, abs=0.03)


def test_groups_move_as_one_and_ratios_follow(tmp_path: Path) -> None:
    view = view_of(tmp_path, f"[moods.dusk.aims]\nleft = {{ area = {LEFT}, brighter = 1 }}\n")
    view.aim("dusk", move=["all"])
    after = evenfall.load(view.recipe.path, check_files=False).moods["dusk"].lights
    assert (after["lamp"].stops, after["sky"].stops) == pytest.approx((0, 1), abs=0.01)
    text = RECIPE.replace("lights.lamp = -1 ", 'lights.lamp = { match = { to = "sky" } } #')
    tied = view_of(tmp_path, f"[moods.dusk.aims]\nleft = {{ area = {LEFT}, brighter = 1 }}\n", text)
    assert tied.aim("dusk").are_met
    after = evenfall.load(view.recipe.path, check_files=False).moods["dusk"].lights
    assert after["sky"].stops == pytest.approx(1, abs=0.01)
    assert after["lamp"].match is not None


def test_limits_of_the_display(tmp_path: Path) -> None:
    """With the curve `clip` the left clips where it is over 1: at most 0.9 of a stop less."""
    text = RECIPE + '[look]\ntone = "clip"\n'
    bright = RECIPE.replace("lights.lamp = -1 ", "lights.lamp = 4 ") + '[look]\ntone = "clip"\n'
    aims = f"[moods.dusk.aims]\nleft = {{ area = {LEFT}, clipped_at_most = 0, must = true }}\n"
    aimed = view_of(tmp_path, aims, bright).aim("dusk", move=["lamp"])
    assert aimed.are_met
    assert result(aimed, "left").stood == "100.0%"
    went = math.log2(0.95 / (16 * LAMP))
    assert aimed.moved[0].stops == pytest.approx(went, abs=0.05)
    # L* 30 is a luminance of 0.0623 (CIE 15:2018); the sky on the right has 0.05.
    aims = f"[moods.dusk.aims]\nright = {{ area = {RIGHT}, shadows_at_least = 30 }}\n"
    aimed = view_of(tmp_path, aims, text).aim("dusk", move=["sky"])
    assert aimed.are_met
    assert aimed.moved[0].stops == pytest.approx(math.log2(((30 + 16) / 116) ** 3 / SKY), abs=0.05)


def test_colours(tmp_path: Path) -> None:
    """The left is to be neutral: only with tints can that be."""
    warm = LAMP * np.array([1.0, 0.7, 0.35], np.float32) * np.ones((HEIGHT, WIDTH, 3), np.float32)
    warm[:, WIDTH // 2 :] = 0
    aims = f"[moods.dusk.aims]\nleft = {{ area = {LEFT}, neutral = true }}\n"
    without = view_of(tmp_path, aims, lamp=warm).aim("dusk", move=["lamp"], within=1, dry_run=True)
    assert not without.are_met
    assert "--tints" in result(without, "left").why
    view = view_of(tmp_path, aims, lamp=warm)
    aimed = view.aim("dusk", move=["lamp"], tints=True)
    assert aimed.are_met
    mixed = evenfall.open(view.recipe.path, passes=_arrays(view)).mix("dusk")[16, 10]
    assert mixed == pytest.approx([mixed[1]] * 3, rel=0.03)
    lamp = evenfall.load(view.recipe.path, check_files=False).moods["dusk"].lights["lamp"]
    assert lamp.kelvin is not None
    assert lamp.kelvin > 4000


def test_colours_are_missed_in_kelvin_and_against_green(tmp_path: Path) -> None:
    """A lamp of D65 white (CIE 15: 6504 K) is asked for 4000 K: 2504 K and 96 mired away; and one
    whose red is 1.3 and whose blue is 0.6 of its green is so far from neutral."""
    aims = f"[moods.dusk.aims]\nright = {{ area = {RIGHT}, kelvin = 4000 }}\n"
    aimed = view_of(tmp_path, aims).aim("dusk", move=["lamp"], dry_run=True)
    missed = result(aimed, "right").missed
    assert missed.startswith("2504 K (96 mired) too cool and Duv +0.003"), missed
    warm = SKY * np.array([1.3, 1.0, 0.6], np.float32) * np.ones((HEIGHT, WIDTH, 3), np.float32)
    aims = f"[moods.dusk.aims]\nright = {{ area = {RIGHT}, neutral = true }}\n"
    aimed = view_of(tmp_path, aims, sky=warm).aim("dusk", move=["lamp"], dry_run=True)
    assert result(aimed, "right").missed == "red +30%, blue -40% against green"


def test_a_persons_comment_stays_and_is_named(tmp_path: Path) -> None:
    aims = f"[moods.dusk.aims]\nleft = {{ area = {LEFT}, stops = 0 }}\n"
    aimed = view_of(tmp_path, aims).aim("dusk", move=["lamp"])
    text = view_of_text(tmp_path)
    assert "# low" in text
    assert any('line 17, "low", was written for another figure' in note for note in aimed.notes)
    own = RECIPE.replace("# low", "# lit by day too: they are seen, and add little")
    aimed = view_of(tmp_path, aims, own).aim("dusk", move=["lamp"])
    lamp = next(line for line in view_of_text(tmp_path).splitlines() if "lights.lamp =" in line)
    assert lamp.endswith("# solved for the aims")
    assert not any("another figure" in note for note in aimed.notes)


def test_a_comment_beside_a_figure_that_stays_is_not_named(tmp_path: Path) -> None:
    """Only stops are added to the lamp: what the person wrote of its colour is still true."""
    warm = RECIPE.replace("lights.lamp = -1                 # low", "lights.lamp = {K}  # warm")
    aims = f"[moods.dusk.aims]\nleft = {{ area = {LEFT}, stops = 0 }}\n"
    text = warm.replace("{K}", "{ kelvin = 2700 }")
    aimed = view_of(tmp_path, aims, text).aim("dusk", move=["lamp"])
    assert "kelvin = 2700, stops = " in view_of_text(tmp_path)
    assert not any("another figure" in note for note in aimed.notes)
    text = warm.replace("{K}", "{ kelvin = 2700, stops = -1 }")
    aimed = view_of(tmp_path, aims, text).aim("dusk", move=["lamp"])
    assert any('"warm", was written for another figure' in note for note in aimed.notes)


def view_of_text(folder: Path) -> str:
    return (folder / "flat.toml").read_text(encoding="utf-8")


@pytest.mark.parametrize("moved", ["a light", "the camera", "a group"])
def test_figures_go_into_the_views_own_file(tmp_path: Path, moved: str) -> None:
    """The shared file says everything but the aim; other views build on it, so it stays."""
    shared = tmp_path / "house.toml"
    shared.write_text(RECIPE, encoding="utf-8")
    aims = f"[moods.dusk.aims]\nleft = {{ area = {LEFT}, stops = 0 }}\n"
    view = view_of(tmp_path, aims, 'format = 1\nbased_on = "house.toml"\n')
    move = {"a light": ["lamp"], "the camera": ["exposure"], "a group": ["all"]}[moved]
    aimed = view.aim("dusk", move=move)
    assert aimed.are_met
    assert shared.read_text(encoding="utf-8") == RECIPE
    assert metered(view, "0.1,0.2,0.4,0.8") == pytest.approx(0, abs=0.02)
    after = evenfall.load(view.recipe.path, check_files=False).moods["dusk"]
    if moved == "a light":  # 0.18 without the sky's 0.05
        assert after.lights["lamp"].stops == pytest.approx(math.log2(0.13 / LAMP), abs=0.01)
    elif moved == "the camera":
        assert after.camera.exposure_stops == pytest.approx(math.log2(0.18 / 0.15), abs=0.01)
    said = "the figures stand in flat.toml alone; house.toml, for every view, stays as it is"
    assert said in aimed.notes


def test_what_no_light_can_serve_is_said(tmp_path: Path) -> None:
    aims = f"[moods.dusk.aims]\nright = {{ area = {RIGHT}, brighter = 1 }}\n"
    aimed = view_of(tmp_path, aims).aim("dusk", move=["lamp"], dry_run=True)
    why = result(aimed, "right").why
    assert "no light can serve it: none of those that may move (lamp) reaches it" in why
    assert "sky 100%" in why
    assert "spare, now off, would reach it" in why
    assert aimed.moved[0].play > 2.5
    assert abs(aimed.moved[0].stops) < 0.01


@pytest.mark.parametrize("asked", ["stops = -6", "clipped_at_most = 0", "darker = 4"])
def test_no_light_that_is_off_is_offered_where_there_is_too_much(
    tmp_path: Path, asked: str
) -> None:
    aims = f"[moods.dusk.aims]\nright = {{ area = {RIGHT}, {asked} }}\n"
    burnt = np.full((HEIGHT, WIDTH, 3), 40, np.float32)
    view = view_of(tmp_path, aims, sky=burnt, spare=burnt)
    found = result(view.aim("dusk", within=1, dry_run=True), "right")
    assert "sky would have to go further than 1 stop" in found.why
    assert "now off" not in found.why


def test_contradictions_are_named(tmp_path: Path) -> None:
    aims = (
        f"[moods.dusk.aims]\nbright = {{ area = {RIGHT}, stops = 0, must = true }}\n"
        f"dark = {{ area = {RIGHT}, stops = -3, must = true }}\n"
        f"left = {{ area = {LEFT}, stops = 0 }}\n"
    )
    view = view_of(tmp_path, aims)
    before = view.recipe.path.read_bytes()
    aimed = view.aim("dusk")
    assert "contradicts dark" in result(aimed, "bright").why
    assert "contradicts bright" in result(aimed, "dark").why
    assert not aimed.written
    assert view.recipe.path.read_bytes() == before
    assert any("must be met and cannot be" in note for note in aimed.notes)


def test_a_must_goes_before_a_wish(tmp_path: Path) -> None:
    aims = (
        f"[moods.dusk.aims]\nbright = {{ area = {RIGHT}, stops = 0, weight = 3 }}\n"
        f"dark = {{ area = {RIGHT}, stops = -1, must = true }}\n"
    )
    aimed = view_of(tmp_path, aims).aim("dusk")
    assert result(aimed, "dark").is_met
    assert aimed.written
    assert result(aimed, "bright").missed_by == pytest.approx(1, abs=0.01)


def test_lights_that_light_alike(tmp_path: Path) -> None:
    aims = f"[moods.dusk.aims]\nright = {{ area = {RIGHT}, brighter = 1 }}\n"
    same = 0.1 * np.ones((HEIGHT, WIDTH, 3), np.float32)
    text = RECIPE.replace('lights.spare = "off"\n', "")
    aimed = view_of(tmp_path, aims, text, spare=same).aim("dusk", dry_run=True)
    assert ("sky", "spare") in aimed.alike
    assert ("lamp", "sky") not in aimed.alike


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ({"hold": ["lamp", "sky"]}, "all lights that are on in dusk are held"),
        ({"move": ["lmap"]}, "did you mean"),
        ({"move": ["spare"]}, "spare is off in dusk"),
        ({"move": ["lamp"], "hold": ["all"]}, "is to move and to be held"),
        ({"move": ["lamp", "all"]}, "would move with lamp and with all"),
        ({"within": 0}, "stops above 0"),
    ],
)
def test_wrong_options(tmp_path: Path, options: dict[str, object], said: str) -> None:
    view = view_of(tmp_path, f"[moods.dusk.aims]\nleft = {{ area = {LEFT}, stops = 0 }}\n")
    with pytest.raises(UsageError, match=said):
        view.aim("dusk", **options)  # type: ignore[arg-type]


def test_nothing_to_aim_at(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match=r"dusk has no aims.*moods\.dusk\.aims"):
        view_of(tmp_path, "").aim("dusk")
    view = view_of(tmp_path, f"[moods.dusk.aims]\nleft = {{ area = {LEFT}, stops = 0 }}\n")
    with pytest.raises(UsageError, match="one-off changes"):
        view.with_changes("moods.dusk.lights.lamp=1").aim("dusk")


def test_an_empty_mask(tmp_path: Path) -> None:
    from PIL import Image

    Image.fromarray(np.zeros((8, 8), np.uint8)).save(tmp_path / "black.png")
    view = view_of(
        tmp_path, '[moods.dusk.aims]\nleft = { area = { mask = "black.png" }, stops = 0 }\n'
    )
    with pytest.raises(UsageError, match=r"aims\.left\.area: nothing of the picture lies in it"):
        view.aim("dusk")


def test_the_command(corner: evenfall.Recipe) -> None:
    text = corner.text + (
        "[moods.dusk.aims]\nwall = { area = { rectangle = [0.1, 0.1, 0.5, 0.6] }, stops = -1 }\n"
    )
    corner.path.write_text(text, encoding="utf-8")
    dry = CliRunner().invoke(main, ["aim", str(corner.path), "dusk", "--dry-run", "--json"])
    assert dry.exit_code == 0, dry.output
    assert json.loads(dry.stdout)["aims"][0]["is_met"] is True
    assert corner.path.read_text(encoding="utf-8") == text
    done = CliRunner().invoke(main, ["aim", str(corner.path), "dusk", "--hold", "sky"])
    assert done.exit_code == 0, done.output
    assert "is changed" in done.stdout
    assert "sure, within" in done.stdout
    spot = evenfall.open(corner.path).ask("dusk", "0.1,0.1,0.5,0.6")
    assert spot.stops == pytest.approx(-1, abs=0.02)


def test_the_optimum_is_that_of_another_method() -> None:
    """The same problems given to a method that knows no squares and no derivatives of ours:
    L-BFGS-B on the plain cost, from several beginnings."""
    rng = np.random.default_rng(4)
    for _ in range(6):
        lights, unknowns = 7, 5
        ways = np.zeros((lights, 3, unknowns))
        for light in range(lights):
            ways[light, :, light % unknowns] = 1.0
        moves = Moves(
            factors=rng.uniform(0.2, 2, (lights, 3)),
            ways=ways,
            low=np.full(unknowns, -1.5),
            high=np.full(unknowns, 1.0),
            charge=np.full(unknowns, 0.05),
            exposure=np.zeros(unknowns),
            metered=rng.dirichlet(np.ones(lights)),
        )
        areas = rng.gamma(0.5, 0.1, (6, lights, 3))
        demands = [
            Level(1.0, areas[0], -2.0),
            Level(0.5, areas[1], -1.0),
            Ratio(2.0, areas[2], areas[3], 1.0),
            Colour(1.0, rng.gamma(1.0, 0.1, (3, lights, 3)), (0.21, 0.48)),
            Level(30.0, areas[4], -3.0),
        ]

        def cost(unknown: np.ndarray, moves: Moves = moves, demands: list = demands) -> float:
            factors = moves.factors_at(unknown)
            rows = [demand.weight * demand.residuals(factors) for demand in demands]
            return float(sum((row**2).sum() for row in rows) + ((0.05 * unknown) ** 2).sum()) / 2

        found = solve(demands, moves)
        assert found.cost == pytest.approx(cost(found.unknowns), rel=1e-9)
        others = [
            minimize(cost, start, method="L-BFGS-B", bounds=[(-1.5, 1.0)] * unknowns)
            for start in (np.zeros(unknowns), *rng.uniform(-1.5, 1, (3, unknowns)))
        ]
        best = min(others, key=lambda other: other.fun)
        assert found.cost <= best.fun * 1.001 + 1e-9
        near = [other for other in others if other.fun < best.fun * 1.0001 + 1e-9]
        assert min(np.abs(other.x - found.unknowns).max() for other in near) < 0.02
