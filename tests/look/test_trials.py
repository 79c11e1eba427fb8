"""LUTs, CDLs and configs: nothing that is in them holds the process, or makes a black picture."""

from __future__ import annotations

import os
import time
from pathlib import Path

import numpy as np
import pytest

from evenfall.errors import PixelSourceError, RecipeError
from evenfall.light.primaries import ACESCG
from evenfall.look import trials
from evenfall.look.checking import check_looks
from evenfall.look.opencolorio import LutStep, ViewRendering, cdl_processor
from evenfall.recipe import load
from evenfall.recipe.look import Cdl, Lut, View
from evenfall.system.opened import listening

IDENTITY = "LUT_1D_SIZE 2\n0 0 0\n1 1 1\n"
HALVING = "LUT_1D_SIZE 2\n0 0 0\n0.5 0.5 0.5\n"
CUT_CSP = "CSPLUTV100\n3D\n\nBEGIN METADATA\n"
"""A LUT that was cut inside its metadata: the reader of OpenColorIO 2.5 looks for their end for
ever."""

CDL_FILE = """<ColorCorrection id="a"><SOPNode><Slope>{} 1 1</Slope><Offset>0 0 0</Offset>
<Power>{} 1 1</Power></SOPNode><SatNode><Saturation>1</Saturation></SatNode></ColorCorrection>"""

CONFIG = """ocio_profile_version: 2
search_path: luts
roles: {scene_linear: house linear, default: house linear}
displays:
  desk: [!<View> {name: plain, colorspace: house display}]
colorspaces:
  - !<ColorSpace> {name: house linear}
  - !<ColorSpace>
    name: house display
    from_scene_reference: !<FileTransform> {src: desk.cube}
"""


def saved(path: Path, text: str) -> Path:
    path.parent.mkdir(exist_ok=True)
    path.write_text(text)
    return path


def test_a_lut_that_is_read_for_ever_is_refused_in_time(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(trials, "_LEAST_SECONDS", 1)
    path = saved(tmp_path / "cut.csp", CUT_CSP)
    begun = time.monotonic()
    with pytest.raises(PixelSourceError, match=r"cut\.csp: .*more time or memory than a file of"):
        LutStep(Lut(file="cut.csp"), path)
    assert time.monotonic() - begun < 60


def test_a_file_is_tried_once_by_its_contents(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    LutStep(Lut(file="a.cube"), saved(tmp_path / "a.cube", IDENTITY + "# a line of its own\n"))
    monkeypatch.setattr(trials, "_tried", set())  # as in the next command
    monkeypatch.setattr(trials, "run_apart", lambda *_, **__: pytest.fail("tried again"))
    LutStep(Lut(file="b.cube"), saved(tmp_path / "b.cube", IDENTITY + "# a line of its own\n"))
    with pytest.raises(pytest.fail.Exception, match="tried again"):
        LutStep(Lut(file="b.cube"), saved(tmp_path / "b.cube", IDENTITY + "# and another\n"))


def test_a_view_is_tried_again_when_one_of_its_files_changes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    saved(tmp_path / "studio.ocio", CONFIG)
    lut = saved(tmp_path / "luts" / "desk.cube", IDENTITY)
    view = View(config="studio.ocio", display="desk", view="plain", source="house linear")
    counted: list[object] = []
    really = trials.run_apart
    monkeypatch.setattr(trials, "run_apart", lambda *a, **k: counted.append(a) or really(*a, **k))

    def seen() -> float:
        planes = np.full((3, 1), 0.5, np.float32)
        ViewRendering(view, ACESCG, tmp_path)(planes)
        return float(planes[0, 0])

    assert (seen(), seen()) == (0.5, 0.5)
    assert len(counted) == 1
    saved(lut, HALVING)
    assert seen() == 0.25
    assert len(counted) == 2
    # A file that comes before it on the search path, by being there at all.
    os.utime(lut.parent, ns=(1, 1))
    assert seen() == 0.25
    assert len(counted) == 3
    with listening() as openings:
        assert seen() == 0.25
    assert [each.path for each in openings] == [tmp_path / "studio.ocio", lut]


def test_what_is_tried_is_noted_as_opened(tmp_path: Path) -> None:
    saved(tmp_path / "studio.ocio", CONFIG)
    saved(tmp_path / "luts" / "desk.cube", IDENTITY)
    saved(tmp_path / "a.cube", IDENTITY)
    saved(tmp_path / "a.cc", CDL_FILE.format(1, 1))
    view = View(config="studio.ocio", display="desk", view="plain", source="house linear")
    with listening() as openings:
        for _ in range(2):  # whether it has been tried before or not
            LutStep(Lut(file="a.cube"), tmp_path / "a.cube")
            cdl_processor(Cdl(file="a.cc"), tmp_path)
            ViewRendering(view, ACESCG, tmp_path)
    assert {each.path.name for each in openings} == {"a.cube", "a.cc", "studio.ocio", "desk.cube"}
    assert all(each.sha256 for each in openings)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no FIFOs on this system")
def test_a_pipe_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "a.cube")
    with pytest.raises(PixelSourceError, match=r"a\.cube: "):
        LutStep(Lut(file="a.cube"), tmp_path / "a.cube")


@pytest.mark.parametrize(
    ("file", "text", "lut"),
    [
        ("nan.spimtx", "nan 0 0 0\n0 1 0 0\n0 0 1 0\n", {}),
        ("inf.spimtx", "1 0 0 inf\n0 1 0 0\n0 0 1 0\n", {}),
        # In ACEScct 341 is 2^(341 x 17.52 - 9.72), beyond single precision.
        ("far.cube", "LUT_3D_SIZE 2\n" + 8 * "341 341 341\n", {"place": "scene", "input": "log"}),
        ("nan.cube", "LUT_1D_SIZE 2\n0 0 0\nnan 1 1\n", {}),
    ],
)
def test_luts_that_give_no_numbers(
    tmp_path: Path, file: str, text: str, lut: dict[str, str]
) -> None:
    with pytest.raises(PixelSourceError, match=rf"{file}: cannot be used as a LUT: it .* \(?NaN"):
        LutStep(Lut(file=file, **lut), saved(tmp_path / file, text))


@pytest.mark.parametrize(
    ("slope", "power"),
    # The last: the light of a lamp, 2^10, to the 13th is over single precision's 2^128.
    [("inf", 1), (1, "inf"), (1e30, 9), (1, 13)],
)
def test_cdls_that_give_no_numbers(tmp_path: Path, slope: object, power: object) -> None:
    saved(tmp_path / "a.cc", CDL_FILE.format(slope, power))
    with pytest.raises(PixelSourceError, match=r"a\.cc: cannot be used as a CDL: it gives NaN"):
        cdl_processor(Cdl(file="a.cc"), tmp_path)


def test_numbers_of_a_cdl_in_the_recipe_are_a_fault_where_they_stand(tmp_path: Path) -> None:
    text = """format = 1
lights.sun = { file = "sun.exr", role = "key" }
[moods.day]
[moods.dusk]
look.grade.cdl = { slope = [99.0, 1.0, 1.0], power = [90.0, 1.0, 1.0] }
"""
    recipe = load(saved(tmp_path / "view.toml", text), check_files=False)
    with pytest.raises(RecipeError, match="it gives NaN or Inf for colours of values up to"):
        cdl_processor(recipe.moods["dusk"].look.grade.cdl, tmp_path)
    (fault,) = check_looks(recipe, ["day", "dusk"]).wrong
    assert (fault.line, fault.place) == (5, "moods.dusk.look.grade.cdl")


def test_very_bright_light_in_a_steep_cdl_stays_bright(tmp_path: Path) -> None:
    """(2^20)^8 is beyond single precision; it is no reason for a black pixel."""
    from evenfall.light.output_spaces import output_space
    from evenfall.look.chain import build_chain
    from evenfall.recipe.look import Look

    chain = build_chain(
        Look(tone="clip", grade={"cdl": {"power": (8.0, 8.0, 8.0)}}),
        source=ACESCG,
        camera_matrix=np.eye(3),
        output=output_space("sRGB"),
        size=(2, 1),
        recipe_folder=tmp_path,
    )
    encoded = chain.encode_rows(np.array([[[2.0**20, 0.5]]] * 3, np.float32), 0)
    assert encoded[:, 0, 0].tolist() == [1, 1, 1]
    assert (encoded[:, 0, 1] < 0.2).all()


def test_remarks_of_the_library_never_reach_the_terminal(
    tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    saved(tmp_path / "luts" / "desk.cube", IDENTITY)
    odd = CONFIG.replace("search_path", '"o\\edd": 1\nsearch_path')  # a key that holds ESC
    saved(tmp_path / "studio.ocio", odd)
    view = View(config="studio.ocio", display="desk", view="plain", source="house linear")
    ViewRendering(view, ACESCG, tmp_path)
    said = capfd.readouterr()
    assert (said.out, said.err) == ("", "")


def test_a_config_whose_names_are_no_text(tmp_path: Path) -> None:
    saved(tmp_path / "luts" / "desk.cube", IDENTITY)
    odd = CONFIG.encode() + b"  - !<ColorSpace> {name: caf\xe9}\n"
    (tmp_path / "studio.ocio").write_bytes(odd)
    view = View(config="studio.ocio", display="desk", view="none", source="house linear")
    with pytest.raises(PixelSourceError, match=r"studio\.ocio: .*it is no text"):
        ViewRendering(view, ACESCG, tmp_path)
