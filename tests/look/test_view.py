"""A studio's own OpenColorIO view, against OpenColorIO's processor for it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import PyOpenColorIO
import pytest

from evenfall.errors import PixelSourceError
from evenfall.light.primaries import BT709
from evenfall.look.chain import LookChain, build_chain
from evenfall.look.output import output_space
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
        ({"config": "none.ocio"}, r"none\.ocio: there is no such file; expected an OpenColorIO"),
        ({"config": "bad.ocio"}, r"bad\.ocio: cannot be read as a config"),
        ({"config": "ocio://none"}, "cannot be read as a config"),
    ],
)
def test_what_is_wrong_is_said(tmp_path: Path, changes: dict[str, str], message: str) -> None:
    (tmp_path / "studio.ocio").write_text(STUDIO)
    (tmp_path / "bad.ocio").write_text("nonsense: [")
    asked = {
        "config": "studio.ocio", "display": "desk", "view": "plain", "source": "house linear"
    } | changes  # fmt: skip
    with pytest.raises(PixelSourceError, match=message):
        chain(View(**asked), tmp_path)
