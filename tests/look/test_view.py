"""A studio's own OpenColorIO view, against OpenColorIO's processor for it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import PyOpenColorIO
import pytest

from evenfall.errors import PixelSourceError, RecipeError
from evenfall.light.output_spaces import output_space
from evenfall.light.primaries import BT709
from evenfall.look.chain import LookChain, build_chain
from evenfall.recipe.look import Look, View

NAME = "cg-config-v4.0.0_aces-v2.0_ocio-v2.5"
BUILT_IN = f"ocio://{NAME}"
DISPLAY, VIEW = "sRGB - Display", "ACES 2.0 - SDR 100 nits (Rec.709)"
SAME = 2e-5

STUDIO = """ocio_profile_version: 2
roles: {scene_linear: house linear, default: house linear}
displays:
  desk: [!<View> {name: plain, colorspace: house display}]
colorspaces:
  - !<ColorSpace> {name: house linear}
  - !<ColorSpace>
    name: house display
    from_scene_reference: !<ExponentTransform> {value: 2.0, direction: inverse}
"""

LOST_LUT = "!<FileTransform> {src: gone.cube}"
ASKED = {"config": "studio.ocio", "display": "desk", "view": "plain", "source": "house linear"}


def chain(view: View, folder: Path = Path(), look: dict[str, object] | None = None) -> LookChain:
    return build_chain(
        Look(view=view, **(look or {})), source=BT709, camera_matrix=2 * np.eye(3),
        output=output_space("sRGB"), size=(50, 1), recipe_folder=folder,
    )  # fmt: skip


def planes() -> np.ndarray:
    return np.random.default_rng(1).uniform(0, 1, (3, 1, 50)).astype(np.float32)


def expected() -> np.ndarray:
    config = PyOpenColorIO.Config.CreateFromBuiltinConfig(NAME)
    processor = config.getProcessor(
        "Linear Rec.709 (sRGB)", DISPLAY, VIEW, PyOpenColorIO.TRANSFORM_DIR_FORWARD
    ).getDefaultCPUProcessor()
    pixels = np.ascontiguousarray(2 * planes()[:, 0].T)
    processor.applyRGB(pixels)
    return pixels.T[:, None]


@pytest.mark.parametrize("source", [None, "Linear Rec.709 (sRGB)"])
def test_built_in_config(source: str | None) -> None:
    view = View(config=BUILT_IN, display=DISPLAY, view=VIEW, source=source)
    np.testing.assert_allclose(chain(view).encode_rows(planes(), 0), expected(), atol=SAME)


def test_grade_comes_before_the_view() -> None:
    view = View(config=BUILT_IN, display=DISPLAY, view=VIEW)
    grey = chain(view, look={"grade": {"saturation": 0.0}}).encode_rows(planes(), 0)
    assert np.ptp(grey, axis=0).max() < 2e-3
    assert np.ptp(chain(view).encode_rows(planes(), 0), axis=0).max() > 0.1


def test_config_file_beside_the_recipe(tmp_path: Path) -> None:
    (tmp_path / "studio.ocio").write_text(STUDIO)
    view = View(config="studio.ocio", display="desk", view="plain", source="house linear")
    shown = chain(view, tmp_path).encode_rows(planes(), 0)
    np.testing.assert_allclose(shown, np.clip(np.sqrt(2 * planes()), 0, 1), atol=2e-4)


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"display": "wall"}, r'look\.view\.display: found "wall"; the config has "desk"'),
        ({"view": "film"}, r'look\.view\.view: found "film"; the config has "plain"'),
        ({"source": "sRGB"}, r'look\.view\.source: found "sRGB"; the config has "house linear"'),
        ({"source": None}, r"no role aces_interchange.*name the passes' colour space"),
        ({"config": "ocio://none"}, 'no built-in config called "ocio://none"; .*"ocio://default"'),
        ({"display": "desks", "source": "linear"}, r'did you mean "desk"\?\nstudio.*"linear"'),
    ],
)
def test_names_that_are_not_there_are_faults_of_the_recipe(
    tmp_path: Path, changes: dict[str, str], message: str
) -> None:
    (tmp_path / "studio.ocio").write_text(STUDIO)
    with pytest.raises(RecipeError, match=message):
        chain(View(**(ASKED | changes)), tmp_path)


@pytest.mark.parametrize(
    ("config", "message"),
    [
        ("none.ocio", r"none\.ocio: there is no such file; expected an OpenColorIO"),
        ("bad.ocio", r"bad\.ocio: cannot be read as a config: line 2, column 1"),
        ("bytes.ocio", r"bytes\.ocio: cannot be read as a config"),
        ("lost.ocio", r"lost\.ocio: this view cannot be computed: .*gone\.cube"),
    ],
)
def test_configs_that_cannot_be_used(tmp_path: Path, config: str, message: str) -> None:
    lost = STUDIO.replace("!<ExponentTransform> {value: 2.0, direction: inverse}", LOST_LUT)
    (tmp_path / "lost.ocio").write_text(lost)
    (tmp_path / "bad.ocio").write_text("nonsense: [\n")
    (tmp_path / "bytes.ocio").write_bytes(bytes(range(256)))
    with pytest.raises(PixelSourceError, match=message):
        chain(View(**(ASKED | {"config": config})), tmp_path)
