"""From a picture back to its recipe, and to the same bytes again."""

from __future__ import annotations

import json
import shutil
import tomllib
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

import evenfall
from evenfall.cli.main import main
from evenfall.develop.example import example_recipe
from evenfall.errors import PixelSourceError, UsageError
from evenfall.rounds.remaking import remake_picture
from evenfall.rounds.tracing import trace_picture

FORMATS = ("png", "jpeg", "tiff", "exr", "avif", "gain-map jpeg", "webp")


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """A deliverable of every format, and the contact sheet."""
    path = example_recipe(tmp_path_factory.mktemp("view")).path
    kinds = [f'[[deliverables]]\nformat = "{name}"\nsuffix = "_{name}"\n' for name in FORMATS]
    text = path.read_text(encoding="utf-8")
    path.write_text(f"{text}\n{''.join(kinds)}", encoding="utf-8")
    report = evenfall.open(path).run()
    evenfall.open(path).keep_round()
    return {file.format: file.path for file in report.files if file.mood == "day"} | {
        "sheet": report.files[-1].path
    }


@pytest.mark.parametrize("kind", [*FORMATS, "sheet"])
def test_every_kind_says_where_it_came_from(made: dict[str, Path], kind: str) -> None:
    traced = trace_picture(made[kind])
    assert traced.record.recipe == "corner.toml"
    assert traced.record.mood == ("" if kind == "sheet" else "day")
    assert traced.record.version == evenfall.__version__
    assert traced.home == made[kind].parent.parent
    assert traced.round == 1
    assert traced.passes_are_same
    assert tomllib.loads(traced.record.recipe_text)["format"] == 1


@pytest.mark.parametrize("kind", [*FORMATS, "sheet"])
def test_it_is_made_again_byte_for_byte(made: dict[str, Path], kind: str, tmp_path: Path) -> None:
    remade = remake_picture(trace_picture(made[kind]), tmp_path)
    [path] = remade.same
    assert path.read_bytes() == made[kind].read_bytes()
    assert [found.name for found in tmp_path.iterdir() if found.suffix != ".json"] == [path.name]


@pytest.mark.parametrize("kind", ["png", "exr"])
def test_a_mood_whose_meter_reads_another_is_made_again_too(
    made: dict[str, Path], kind: str, tmp_path: Path
) -> None:
    """Dusk is exposed by the sun of the day, which its text does not hold: the stops are noted."""
    dusk = made[kind].with_name(made[kind].name.replace("day", "dusk"))
    traced = trace_picture(dusk)
    assert [change.partition("=")[0] for change in traced.record.changes] == [
        "moods.dusk.camera.meter",
        "moods.dusk.camera.exposure_stops",
    ]
    assert set(traced.passes) == {"sky", "lamp"}
    assert remake_picture(traced, tmp_path).same


def test_a_draft_is_made_again_as_a_draft(tmp_path: Path) -> None:
    recipe = example_recipe()
    [draft] = evenfall.open(recipe, draft=True).run("day").files
    traced = trace_picture(draft.path)
    assert traced.record.draft
    assert remake_picture(traced, tmp_path).same


def test_changes_for_once_are_told_and_count(tmp_path: Path) -> None:
    recipe = example_recipe()
    view = evenfall.open(recipe, changes="moods.day.lights.sky=-2")
    [file] = view.run("day").files
    traced = trace_picture(file.path)
    assert traced.record.changes == ("moods.day.lights.sky=-2",)
    assert remake_picture(traced, tmp_path).same


@pytest.mark.parametrize("changes", ["", 'deliverables[0].moods=["dusk", "day"]'])
@pytest.mark.parametrize("mood", ["day", "dusk"])
def test_a_deliverable_of_several_moods_is_made_again(
    mood: str, changes: str, tmp_path: Path
) -> None:
    recipe = example_recipe(tmp_path)
    named = '["day"]' if changes else '["day", "dusk"]'
    more = f'\n[[deliverables]]\nformat = "png"\nmoods = {named}\n'
    recipe.path.write_text(recipe.text + more, encoding="utf-8")
    [file] = evenfall.open(recipe.path, changes=changes or ()).run(mood).files
    assert remake_picture(trace_picture(file.path), tmp_path / "again").same


def test_a_picture_of_a_folder_that_is_not_here(made: dict[str, Path], tmp_path: Path) -> None:
    alone = tmp_path / "from_the_client.png"
    shutil.copy(made["png"], alone)
    traced = trace_picture(alone)
    assert traced.home is None
    assert set(traced.passes.values()) == {"missing"}
    with pytest.raises(UsageError, match="its passes are not at hand: sun, sky; say where"):
        remake_picture(traced, tmp_path / "again")
    found = trace_picture(alone, home=made["png"].parent.parent)
    assert found.round == 1
    assert remake_picture(found, tmp_path / "again").same


def test_a_pass_that_is_another_is_named(tmp_path: Path) -> None:
    recipe = example_recipe()
    [file] = evenfall.open(recipe).run("day").files
    other = example_recipe(tmp_path, width=24, height=16)
    shutil.copy(other.path.with_name("sky.exr"), recipe.path.with_name("sky.exr"))
    shutil.copy(other.path.with_name("sun.exr"), recipe.path.with_name("sun.exr"))
    shutil.copy(other.path.with_name("lamp.exr"), recipe.path.with_name("lamp.exr"))
    traced = trace_picture(file.path)
    assert traced.passes == {"sun": "another", "sky": "another"}
    remade = remake_picture(traced, tmp_path / "again")
    assert not remade.same
    assert remade.reasons == (
        "the pass of sun is another file than it was made of",
        "the pass of sky is another file than it was made of",
    )


def test_what_carries_no_record(made: dict[str, Path], tmp_path: Path) -> None:
    from PIL import Image

    foreign = tmp_path / "foreign.png"
    Image.new("RGB", (8, 8)).save(foreign)
    with pytest.raises(PixelSourceError, match="carries no record of how it was made; either"):
        trace_picture(foreign)
    text = tmp_path / "text.txt"
    text.write_text("hello", encoding="utf-8")
    with pytest.raises(PixelSourceError, match="a file of another kind"):
        trace_picture(text)
    with pytest.raises(PixelSourceError, match="cannot be read: No such file"):
        trace_picture(tmp_path / "nothing.png")


def test_a_damaged_record_is_told_of(made: dict[str, Path], tmp_path: Path) -> None:
    data = made["png"].read_bytes()
    broken = tmp_path / "broken.png"
    broken.write_bytes(data.replace(b'"evenfall_record"', b'"evenfall_rec\x00rd"'))
    with pytest.raises(PixelSourceError, match="its record is damaged"):
        trace_picture(broken)


def trace(*arguments: object) -> Result:
    return CliRunner().invoke(main, ["trace", *map(str, arguments)])


def test_as_a_person_calls_it(made: dict[str, Path], tmp_path: Path) -> None:
    result = trace(made["png"])
    assert result.exit_code == 0
    assert result.stdout.splitlines()[0] == f"{made['png']}: mood day of corner.toml"
    assert "  round    round 1" in result.stdout
    assert "  passes   all 2 are here, and the same" in result.stdout
    written = trace(made["png"], "--recipe", tmp_path / "out.toml", "--remake", tmp_path / "again")
    assert written.exit_code == 0
    assert "the same, byte for byte" in written.stdout
    assert list(evenfall.load(tmp_path / "out.toml", check_files=False).moods) == ["day"]
    again = trace(made["png"], "--recipe", tmp_path / "out.toml")
    assert again.exit_code == 1
    assert "the file exists already" in again.stderr
    told = json.loads(trace(made["png"], "--json").stdout)
    assert (told["mood"], told["round"], told["passes"]["sun"]) == ("day", 1, "same")
