"""Every file that a recipe can name: changed, exactly the pictures that need it are made again.

Which pictures need a file is written down by hand beside it. That nothing stale is ever kept is
held against runs into an empty folder, which know of no earlier ones.
"""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, TypeAlias, get_args

import numpy as np
import pytest
from PIL import Image

import evenfall
from evenfall.errors import EvenfallError
from evenfall.recipe import load
from evenfall.recipe.base import NamesFile, Part
from evenfall.recipe.model import RecipeModel
from evenfall.record.report import RunReport
from evenfall.system.opened import Opened, Openings

RECIPE = """
format = 1
sheet = { make = false }

[project]
logo = "logo.png"
stage = "scene.usda"

[passes]
folder = "passes"
beauty = { file = "beauty.exr" }

[camera]
meter = "off"

[lights.sun]
file = "sun.exr"
role = "key"
[lights.sky]
file = ["sky.exr", "sky_indirect.exr"]
role = "sky"
[lights.lamp]
file = "lamp.exr"

[moods.plain]
lights = { lamp = "off" }

[moods.lit]
lights = { sun = "off", sky = "off" }

[moods.behind]
based_on = "plain"
plate = { file = "plate.png" }

[moods.before]
based_on = "plain"
overlays = [{ file = "tree.png" }]

[moods.masked]
based_on = "plain"
regions = [{ area = { mask = "region.png" }, exposure_stops = -1 }]

[moods.numbered]
based_on = "plain"
regions = [{ area = { ids = "ids.exr", id = [3] }, lights = { sky = 1 } }]

[moods.corrected]
based_on = "plain"
look.grade.cdl = { file = "house.cc" }

[moods.tabled]
based_on = "plain"
look.grade.luts = [{ file = "warm.cube" }]

[moods.viewed]
based_on = "plain"
look.view = { config = "studio.ocio", display = "desk", view = "plain", source = "house linear" }

[moods.metered]
based_on = "plain"
camera = { meter = { of = "key", area = { mask = "metered.png" } } }

[moods.matched]
based_on = "plain"
lights = { sky = { match = { to = "sun", ratio = "2:1", area = { mask = "matched.png" } } } }

[moods.apart]
based_on = "plain"

# Its own gains are not matched; only its white is that of a spot in a mood that is.
[moods.spotted]
based_on = "plain"
camera = { white_balance = { neutral = [0.5, 0.5], neutral_mood = "matched" } }

[[deliverables]]

[[deliverables]]
format = "layered exr"
moods = ["apart"]
ids = "layer_ids.exr"
"""

CONFIG = """ocio_profile_version: 2
search_path: luts
strictparsing: true
roles: {{ default: house linear, scene_linear: house linear }}
file_rules: [!<Rule> {{ name: Default, colorspace: default }}]
displays: {{ desk: [!<View> {{ name: plain, colorspace: out }}] }}
active_displays: []
active_views: []
colorspaces:
  - !<ColorSpace> {{ name: house linear }}
  - !<ColorSpace>
    name: out
    from_scene_reference: !<GroupTransform>
      children:
        - !<FileTransform> {{ src: desk.cube }}
        - !<MatrixTransform> {{ matrix: [{0}, 0, 0, 0, 0, {0}, 0, 0, 0, 0, {0}, 0, 0, 0, 0, 1] }}
"""
CDL = """<ColorCorrection id="a"><SOPNode><Slope>{} 1 1</Slope><Offset>0 0 0</Offset>
<Power>1 1 1</Power></SOPNode><SatNode><Saturation>1</Saturation></SatNode></ColorCorrection>"""
LUT = "LUT_3D_SIZE 2\n0 0 0\n{0} 0 0\n0 1 0\n{0} 1 0\n0 0 1\n{0} 0 1\n0 1 1\n{0} 1 1\n"

WITHOUT_LAMP = {
    "plain", "behind", "before", "masked", "numbered", "corrected", "tabled", "viewed", "metered",
    "matched", "spotted", "apart",
}  # fmt: skip
FEW = {"plain", "spotted", "apart"}
"""Of moods that need a pass, those that stand for the others: metered or not, and layered."""

SIZE = (24, 16)
Pictures: TypeAlias = Mapping[str, bytes]


@dataclass(frozen=True, eq=False)
class Named:
    """A file: the key of the model that names it, who needs it, and how it is written."""

    file: str
    needed_by: set[str]
    write: Callable[[Path, int], None]
    key: str = ""


def exr(path: Path, version: int) -> None:
    import OpenEXR

    down, across = np.mgrid[0:16, 0:24].astype(np.float32)
    slope = sum(path.name.encode()) % 7 / 100
    pixels = np.stack([0.2 + across * slope, 0.3 + down / 60, 0.25 + across * slope], axis=-1)
    pixels[:8] *= 1 + version / 4
    channels: dict[str, Any] = {"RGB": np.ascontiguousarray(pixels.astype(np.float32))}
    if path.name in ("sun.exr", "sky.exr", "lamp.exr"):
        alpha = np.where(across < 12, 1, 0.5).astype(np.float32)
        channels = {"RGBA": np.ascontiguousarray(np.dstack([channels["RGB"], alpha]))}
    OpenEXR.File({}, channels).write(str(path))


def numbers(path: Path, version: int) -> None:
    import OpenEXR

    ids = np.zeros((16, 24), np.float32)
    ids[4:12, 4 : 16 + version] = 3
    OpenEXR.File({}, {"id": ids}).write(str(path))


def picture(path: Path, version: int) -> None:
    Image.new("RGBA", SIZE, (120 + 20 * version, 90, 60, 200)).save(path)


def mask(path: Path, version: int) -> None:
    weights = np.zeros((16, 24), np.uint8)
    weights[: 6 + version, :12] = 255
    Image.fromarray(weights).save(path)


def text(pattern: str) -> Callable[[Path, int], None]:
    def write(path: Path, version: int) -> None:
        path.write_text(pattern.format(1 - version / 8), encoding="utf-8")

    return write


FILES = [
    Named("passes/sun.exr", WITHOUT_LAMP, exr, "lights.file"),
    Named("passes/sky.exr", WITHOUT_LAMP, exr),
    Named("passes/sky_indirect.exr", WITHOUT_LAMP, exr),
    Named("passes/lamp.exr", {"lit"}, exr),
    Named("passes/beauty.exr", set(), exr, "passes.beauty.file"),
    Named("plate.png", {"behind"}, picture, "moods.plate.file"),
    Named("tree.png", {"before"}, picture, "moods.overlays.file"),
    Named("region.png", {"masked"}, mask, "moods.regions.area.mask"),
    Named("passes/ids.exr", {"numbered"}, numbers, "moods.regions.area.ids"),
    Named("passes/layer_ids.exr", {"apart"}, numbers, "deliverables.ids"),
    Named("house.cc", {"corrected"}, text(CDL), "moods.look.grade.cdl.file"),
    Named("warm.cube", {"tabled"}, text(LUT), "moods.look.grade.luts.file"),
    Named("studio.ocio", {"viewed"}, text(CONFIG), "moods.look.view.config"),
    Named("luts/desk.cube", {"viewed"}, text(LUT)),
    Named("metered.png", {"metered"}, mask, "moods.camera.meter.area.mask"),
    Named("matched.png", {"matched", "spotted"}, mask, "moods.lights.match.area.mask"),
    Named("logo.png", set(), picture, "project.logo"),
    Named("scene.usda", set(), text("#usda {}"), "project.stage"),
]
ELSEWHERE = {
    "passes.repair.albedo": "test_guides_of_the_denoiser",
    "passes.repair.normal": "test_guides_of_the_denoiser",
    # The same parts as in a mood, from which moods inherit them.
    "look.grade.cdl.file": "moods.look.grade.cdl.file",
    "look.grade.luts.file": "moods.look.grade.luts.file",
    "look.view.config": "moods.look.view.config",
    "camera.meter.area.mask": "moods.camera.meter.area.mask",
    "camera.meter.area.ids": "moods.regions.area.ids",
    "moods.camera.meter.area.ids": "moods.regions.area.ids",
    "moods.lights.match.area.ids": "moods.regions.area.ids",
    "camera.as_in": "test_pictures_are_made_again_when_that_exposure_has_changed",
    "moods.camera.as_in": "test_pictures_are_made_again_when_that_exposure_has_changed",
    # Aims are read by their solver alone: what it writes are figures.
    "moods.aims.area.mask": "test_aiming",
    "moods.aims.area.ids": "test_aiming",
    "moods.aims.over.mask": "test_aiming",
    "moods.aims.over.ids": "test_aiming",
}


def keys_that_name_files(part: type[Part], place: str = "") -> Iterator[str]:
    """Walk a model by its annotations, whatever a recipe says."""
    for key, field in part.model_fields.items():
        at = f"{place}.{key}".lstrip(".")
        if any(isinstance(each, NamesFile) for each in field.metadata):
            yield at
        else:
            for inner in parts_in(field.annotation):
                yield from keys_that_name_files(inner, at)


def parts_in(annotation: Any) -> Iterator[type[Part]]:
    if isinstance(annotation, type) and issubclass(annotation, Part):
        yield annotation
    for inner in get_args(annotation):
        yield from parts_in(inner)


def test_every_key_that_names_a_file_is_tried_here() -> None:
    tried = {named.key for named in FILES if named.key}
    assert set(keys_that_name_files(RecipeModel)) == tried | set(ELSEWHERE)


def test_every_key_that_sounds_like_a_file_is_marked() -> None:
    """By the words of its description, which people read."""

    def unmarked(part: type[Part], place: str) -> Iterator[str]:
        for key, field in part.model_fields.items():
            at = f"{place}.{key}".lstrip(".")
            if any(isinstance(each, NamesFile) for each in field.metadata):
                continue
            said = (field.description or "").lower()
            if "relative to the recipe" in said or "the passes' folder" in said:
                yield at
            for inner in parts_in(field.annotation):
                yield from unmarked(inner, at)

    assert set(unmarked(RecipeModel, "")) <= {"passes.folder", "passes.allow_links_outside"}


def write_home(folder: Path) -> Path:
    for inner in ("passes", "luts"):
        (folder / inner).mkdir()
    for named in FILES:
        named.write(folder / named.file, 0)
    (folder / "view.toml").write_text(RECIPE, encoding="utf-8")
    return folder


@pytest.fixture
def home(tmp_path: Path) -> Path:
    return write_home(tmp_path)


def run(home: Path, **options: Any) -> RunReport:
    return evenfall.open(home / "view.toml").run(overwrite=True, **options)


def made(report: Any) -> set[str]:
    return {file.mood for file in report.files if not file.kept}


def pictures_of(report: RunReport) -> Pictures:
    return {file.path.name: file.path.read_bytes() for file in report.files}


def tried_moods(named: Named) -> list[str]:
    return sorted(named.needed_by & FEW or named.needed_by)


@pytest.fixture(scope="module")
def begun_once(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, str]]:
    """A home whose pictures are made, and their hashes by mood."""
    home = write_home(tmp_path_factory.mktemp("begun"))
    run(home)
    kept = run(home)
    assert made(kept) == set()
    return home, {file.mood: file.sha256 for file in kept.files}


@pytest.fixture
def begun(begun_once: tuple[Path, dict[str, str]], tmp_path: Path) -> Path:
    return shutil.copytree(begun_once[0], tmp_path / "home")


@pytest.fixture(scope="module")
def fresh_pictures(tmp_path_factory: pytest.TempPathFactory) -> Callable[[Named, int], Pictures]:
    """Pictures that need a file, from a version of it, made where no earlier ones lie."""

    @cache
    def pictures(named: Named | None, version: int) -> Pictures:
        home = write_home(tmp_path_factory.mktemp("fresh"))
        moods: list[str] = []  # all
        if named is not None:
            named.write(home / named.file, version)
            moods = tried_moods(named)
        return pictures_of(run(home, moods=moods))

    return lambda named, version: pictures(named if version else None, version)


@pytest.mark.parametrize("named", FILES, ids=lambda named: named.file)
def test_exactly_the_pictures_that_need_it_are_made_again(
    named: Named, begun: Path, begun_once: tuple[Path, dict[str, str]]
) -> None:
    _, before = begun_once
    named.write(begun / named.file, 1)
    report = run(begun)
    assert made(report) == named.needed_by
    fresh = run(begun, out=begun / "empty")
    after = {file.mood: file.sha256 for file in fresh.files}
    assert {file.mood: file.sha256 for file in report.files} == after
    assert {mood for mood in before if before[mood] != after[mood]} == named.needed_by
    named.write(begun / named.file, 0)
    assert made(run(begun, dry_run=True)) == named.needed_by


def test_a_file_that_only_bears_another_date_changes_nothing(begun: Path) -> None:
    for named in FILES:
        data = (begun / named.file).read_bytes()
        (begun / named.file).unlink()
        (begun / named.file).write_bytes(data)
    assert made(run(begun)) == set()


def test_folders_may_move_together(begun: Path, tmp_path_factory: pytest.TempPathFactory) -> None:
    elsewhere = tmp_path_factory.mktemp("elsewhere") / "villa"
    shutil.copytree(begun, elsewhere)
    assert made(run(elsewhere)) == set()
    FILES[0].write(elsewhere / FILES[0].file, 1)
    assert made(run(elsewhere)) == FILES[0].needed_by


def test_a_file_on_the_configs_search_path_that_comes_first(begun: Path) -> None:
    """The config finds `desk.cube` in another folder now; no file that was opened has changed."""
    config = (begun / "studio.ocio").read_text(encoding="utf-8")
    both = config.replace("search_path: luts", "search_path: first:luts")
    (begun / "studio.ocio").write_text(both, encoding="utf-8")
    assert made(run(begun)) == {"viewed"}
    (begun / "first").mkdir()
    text(LUT)(begun / "first" / "desk.cube", 3)
    assert made(run(begun)) == {"viewed"}


def test_guides_of_the_denoiser(home: Path) -> None:
    pytest.importorskip("pyoidn", reason="Open Image Denoise is an optional extra")
    for name in ("albedo", "normal"):
        exr(home / "passes" / f"{name}.exr", 0)
    said = ["passes.repair.denoise=true", "passes.repair.albedo=albedo.exr"]
    said.append("passes.repair.normal=normal.exr")
    moods = ["plain", "lit"]

    def again() -> set[str]:
        recipe = load(home / "view.toml", changes=said)
        return made(evenfall.open(recipe).run(moods, overwrite=True))

    assert (again(), again()) == (set(moods), set())
    for name in ("albedo", "normal"):
        exr(home / "passes" / f"{name}.exr", 1)
        assert (again(), again()) == (set(moods), set())


@pytest.mark.parametrize("at_once", [True, False])
@pytest.mark.parametrize("time", [1, 2, 3])
@pytest.mark.parametrize(
    "named", [named for named in FILES if named.needed_by], ids=lambda named: named.file
)
def test_a_file_that_is_swapped_during_a_run_is_never_taken_for_the_old_one(
    named: Named,
    time: int,
    at_once: bool,
    home: Path,
    fresh_pictures: Callable[[Named, int], Pictures],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """It changes as soon as it has been opened, for the first time or later, and changes back."""
    moods = tried_moods(named)
    path, left = (home / named.file).resolve(), [time]
    (home / "aside").mkdir()
    other = home / "aside" / path.name
    named.write(other, 1)

    def swap() -> None:
        if at_once:
            other.replace(path)
        else:
            named.write(path, 1)

    real = Openings.note

    def noting(self: Openings, opened: Iterable[Opened]) -> None:
        told = tuple(opened)
        real(self, told)
        if any(each.path.resolve() == path for each in told):
            left[0] -= 1
            if left[0] == 0:
                swap()

    with monkeypatch.context() as patch:
        patch.setattr(Openings, "note", noting)
        try:
            run(home, moods=moods)
        except EvenfallError as error:
            assert re.search("changed (while it was|since its header)", str(error))  # noqa: PT017
    if left[0] > 0:
        pytest.skip("it is not opened so often")
    named.write(home / named.file, 0)
    for file in run(home, moods=moods, dry_run=True).files:
        if file.kept:
            assert file.path.read_bytes() == fresh_pictures(named, 0)[file.path.name]
    named.write(home / named.file, 1)
    found, fresh = pictures_of(run(home, moods=moods)), fresh_pictures(named, 1)
    assert found == {name: fresh[name] for name in found}
