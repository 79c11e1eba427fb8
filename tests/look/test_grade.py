"""The grade: published CDL numbers, LUT files, and the look's own adjustments by definition."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import PyOpenColorIO
import pytest

from evenfall.errors import PixelSourceError, RecipeError
from evenfall.light.output_spaces import output_space
from evenfall.light.primaries import ACESCG, BT709, conversion_matrix, luminance_weights
from evenfall.light.transfer import encode_srgb
from evenfall.look.chain import build_chain
from evenfall.look.grade import apply_contrast, apply_split_tint, saturation_matrix
from evenfall.look.opencolorio import LutStep, cdl_processor
from evenfall.recipe.look import Cdl, Look, Lut, SplitTint

CDL = 5e-5  # OpenColorIO's quick power is within 3e-5 of the formula

NUMBERS: dict[str, Any] = {
    "slope": (1.2, 1, 0.9), "offset": (0.02, 0, -0.03), "power": (1.1, 1, 0.95), "saturation": 0.8
}  # fmt: skip
# ASC CDL v1.2: the formula evaluated by hand for the numbers above.
INPUT = [(0, 0, 0), (0.18, 0.18, 0.18), (0.5, 0.4, 0.3), (0.9, 0.6, 0.2), (2, 1, 0.5)]
CLAMPED = [
    (0.011395, 0.000575, 0.000575),
    (0.199957, 0.180542, 0.153394),
    (0.558917, 0.406070, 0.292271),
    (0.930726, 0.610726, 0.262666),
    (0.991894, 0.991894, 0.542788),
]
UNCLAMPED = [
    (0.010962, 0.000142, -0.023858),
    (0.199957, 0.180542, 0.153394),
    (0.558917, 0.406070, 0.292271),
    (1.023853, 0.615425, 0.267365),
    (2.376665, 1.061780, 0.612675),
]

CCC = """<ColorCorrectionCollection xmlns="urn:ASC:CDL:v1.01">
<ColorCorrection id="plain"><SOPNode><Slope>1 1 1</Slope><Offset>0 0 0</Offset>
<Power>1 1 1</Power></SOPNode></ColorCorrection>
<ColorCorrection id="evening"><SOPNode><Slope>1.2 1 0.9</Slope><Offset>0.02 0 -0.03</Offset>
<Power>1.1 1 0.95</Power></SOPNode><SatNode><Saturation>0.8</Saturation></SatNode>
</ColorCorrection></ColorCorrectionCollection>
"""


def planes_of(colours: Any) -> np.ndarray:
    return np.ascontiguousarray(np.array(colours, np.float32).T)


def graded(cdl: Cdl, folder: Path = Path()) -> np.ndarray:
    planes = planes_of(INPUT)
    cdl_processor(cdl, folder)(planes)
    return planes.T


def test_cdl_clamped_and_not() -> None:
    np.testing.assert_allclose(graded(Cdl(**NUMBERS, clamp=True)), CLAMPED, rtol=0, atol=CDL)
    np.testing.assert_allclose(graded(Cdl(**NUMBERS)), UNCLAMPED, rtol=3e-5, atol=CDL)


@pytest.mark.parametrize(("name", "inner"), [("set.ccc", False), ("set.cc", True)])
def test_cdl_from_files(tmp_path: Path, name: str, inner: bool) -> None:
    text = CCC
    if inner:
        start = CCC.index('<ColorCorrection id="evening">')
        text = CCC[start : CCC.index("</ColorCorrectionCollection>")]
    (tmp_path / name).write_text(text)
    cdl = Cdl(file=name, id=None if inner else "evening", clamp=True)
    np.testing.assert_allclose(graded(cdl, tmp_path), CLAMPED, rtol=0, atol=CDL)


def test_first_correction_of_a_file_is_taken_when_none_is_named(tmp_path: Path) -> None:
    (tmp_path / "set.ccc").write_text(CCC)
    np.testing.assert_allclose(graded(Cdl(file="set.ccc"), tmp_path), INPUT, rtol=0, atol=CDL)


def test_cdl_in_log_is_applied_to_acescct() -> None:
    """Against colour-science's ACEScct: an offset of 0.0570776 (1/17.52) is one stop."""
    colour = pytest.importorskip("colour")
    grey = np.array([0.05, 0.18, 1.0])
    cdl = Cdl(slope=(0.9, 0.9, 0.9), offset=(1 / 17.52, 0.01, -0.01), input="log")
    planes = planes_of(np.tile(grey[:, None], 3))
    cdl_processor(cdl, Path())(planes)
    log = colour.models.log_encoding_ACEScct(grey)
    for channel, offset in enumerate(cdl.offset):
        expected = colour.models.log_decoding_ACEScct(0.9 * log + offset)
        np.testing.assert_allclose(planes[channel], expected, rtol=1e-4, atol=1e-6)


@pytest.mark.parametrize(
    ("cdl", "text", "message"),
    [
        (Cdl(file="none.cc"), None, r"none\.cc: there is no such file; expected a \.cc"),
        (Cdl(file="bad.ccc"), "<nonsense/>", r"bad\.ccc: cannot be used as a CDL"),
    ],
)
def test_cdl_files_that_cannot_be_used(
    tmp_path: Path, cdl: Cdl, text: str | None, message: str
) -> None:
    if text is not None and cdl.file is not None:
        (tmp_path / cdl.file).write_text(text)
    with pytest.raises(PixelSourceError, match=message):
        cdl_processor(cdl, tmp_path)


def test_a_correction_that_is_not_in_the_file(tmp_path: Path) -> None:
    (tmp_path / "set.ccc").write_text(CCC)
    with pytest.raises(RecipeError, match=r'cdl\.id: found "dawn"; the file has "'):
        cdl_processor(Cdl(file="set.ccc", id="dawn"), tmp_path)


def cube(function: Any, size: int = 17) -> str:
    """A 3D LUT as text, red fastest, as the .cube format orders it."""
    axis = np.linspace(0, 1, size)
    blue, green, red = np.meshgrid(axis, axis, axis, indexing="ij")
    rows = function(np.stack([red, green, blue])).reshape(3, -1).T
    return f"LUT_3D_SIZE {size}\n" + "\n".join(f"{r:.8f} {g:.8f} {b:.8f}" for r, g, b in rows)


def some_values() -> np.ndarray:
    return np.random.default_rng(8).uniform(0, 1, (3, 500)).astype(np.float32)


def test_cube_file_with_red_fastest(tmp_path: Path) -> None:
    path = tmp_path / "swap.cube"
    path.write_text(cube(lambda rgb: rgb[[2, 0, 1]]))
    planes = some_values()
    LutStep(Lut(file="swap.cube"), path)(planes)
    np.testing.assert_allclose(planes, some_values()[[2, 0, 1]], rtol=0, atol=1e-6)


def test_a_lut_that_changes_while_it_is_read_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """OpenColorIO opens files by their names: what it read may not be what was hashed."""
    path = tmp_path / "swap.cube"
    path.write_text(cube(lambda rgb: rgb))
    real = PyOpenColorIO.Config.getProcessor

    def reading(*arguments: Any) -> Any:
        path.write_text(cube(lambda rgb: 1 - rgb))
        return real(*arguments)

    monkeypatch.setattr(PyOpenColorIO.Config, "getProcessor", reading)
    with pytest.raises(PixelSourceError, match="changed while it was read"):
        LutStep(Lut(file="swap.cube"), path)


def test_cube_file_as_opencolorio_applies_it(tmp_path: Path) -> None:
    path = tmp_path / "curved.cube"
    path.write_text(cube(lambda rgb: (0.8 * rgb + 0.2 * rgb[::-1]) ** 0.8))
    planes, expected = some_values(), np.ascontiguousarray(some_values().T)
    LutStep(Lut(file="curved.cube"), path)(planes)
    transform = PyOpenColorIO.FileTransform(
        str(path), interpolation=PyOpenColorIO.INTERP_TETRAHEDRAL
    )
    config = PyOpenColorIO.Config.CreateRaw()
    config.getProcessor(transform).getDefaultCPUProcessor().applyRGB(expected)
    np.testing.assert_allclose(planes, expected.T, rtol=0, atol=1e-6)


def test_strength_blends(tmp_path: Path) -> None:
    path = tmp_path / "black.cube"
    path.write_text(cube(lambda rgb: 0 * rgb, size=2))
    planes = some_values()
    LutStep(Lut(file="black.cube", strength=0.25), path)(planes)
    np.testing.assert_allclose(planes, 0.75 * some_values(), rtol=0, atol=1e-6)


def test_a_rewritten_file_is_read_again(tmp_path: Path) -> None:
    path = tmp_path / "changing.cube"
    for factor in (0.5, 0.25):
        path.write_text(f"LUT_1D_SIZE 2\n0 0 0\n{factor} {factor} {factor}\n")
        planes = np.ones((3, 1), np.float32)
        LutStep(Lut(file="changing.cube"), path)(planes)
        np.testing.assert_allclose(planes, factor, rtol=0, atol=1e-6)


def test_log_lut_gets_acescct(tmp_path: Path) -> None:
    """A LUT that lowers its input by one stop of ACEScct (1/17.52) halves linear values."""
    path = tmp_path / "stop.cube"
    stop = 1 / 17.52
    path.write_text(f"LUT_1D_SIZE 2\n{-stop} {-stop} {-stop}\n{1 - stop} {1 - stop} {1 - stop}\n")
    planes = np.full((3, 4), 0.4, np.float32)
    LutStep(Lut(file="stop.cube", place="scene", input="log"), path)(planes)
    np.testing.assert_allclose(planes, 0.2, rtol=1e-4)


def chain_with(luts: list[dict[str, Any]], folder: Path) -> Any:
    look = Look(tone="clip", gamut={"method": "clip"}, grade={"luts": tuple(luts)})
    return build_chain(
        look, source=BT709, camera_matrix=np.eye(3), output=output_space("sRGB"), size=(1, 1),
        recipe_folder=folder,
    )  # fmt: skip


def test_place_decides_what_the_lut_sees(tmp_path: Path) -> None:
    (tmp_path / "half.cube").write_text("LUT_1D_SIZE 2\n0 0 0\n0.5 0.5 0.5\n")
    grey = np.full((3, 1, 1), 0.18, np.float32)
    encoded = chain_with([{"file": "half.cube"}], tmp_path).encode_rows(grey, 0)
    np.testing.assert_allclose(encoded, 0.46135613 / 2, rtol=0, atol=5e-5)
    linear = {"file": "half.cube", "place": "scene", "input": "linear"}
    encoded = chain_with([linear], tmp_path).encode_rows(grey, 0)
    np.testing.assert_allclose(encoded, encode_srgb(np.array(0.09)), rtol=0, atol=5e-5)


@pytest.mark.parametrize(
    ("name", "content", "message"),
    [
        ("none.cube", None, r"none\.cube: there is no such file; expected a LUT file"),
        ("short.cube", b"LUT_3D_SIZE 4\n0 0 0\n", r"a LUT: Incorrect.*Found 1, expected 64"),
        ("words.cube", b"hello\n", r"a LUT: At line \(1\): 'hello'.*export it again"),
        ("bytes.cube", bytes(range(128, 256)), r"bytes\.cube: cannot be used as a LUT: it is no t"),
        ("nan.cube", b"LUT_1D_SIZE 2\n0 0 0\nnan 1 1\n", r"a LUT: it holds numbers that are not f"),
        ("inf.cube", b"LUT_3D_SIZE 2\n" + 8 * b"0 inf 0\n", r"a LUT: it holds numbers that are no"),
        ("photo.jpg", b"\xff\xd8\xff", r"photo\.jpg: .*it is of no format that is known"),
    ],
)
def test_lut_files_that_cannot_be_used(
    tmp_path: Path, name: str, content: bytes | None, message: str
) -> None:
    if content is not None:
        (tmp_path / name).write_bytes(content)
    with pytest.raises(PixelSourceError, match=message):
        chain_with([{"file": name}], tmp_path)


def test_a_lut_by_half_codes_may_hold_infinities(tmp_path: Path) -> None:
    """Its entries stand for all 65,536 half floats, NaN and infinities among them (CLF v3)."""
    half_codes = np.arange(65536, dtype=np.uint16).view(np.float16).astype(str)
    (tmp_path / "identity.clf").write_text(
        '<ProcessList id="identity" compCLFversion="3">'
        '<LUT1D inBitDepth="16f" outBitDepth="16f" halfDomain="true"><Array dim="65536 1">'
        + "\n".join(half_codes)
        + "</Array></LUT1D></ProcessList>"
    )
    planes = np.full((3, 1), 0.25, np.float32)
    lut = Lut(file="identity.clf", place="scene", input="linear")
    LutStep(lut, tmp_path / "identity.clf")(planes)
    np.testing.assert_array_equal(planes, 0.25)


def test_contrast_is_the_slope_over_stops_around_grey() -> None:
    stops = np.linspace(-8, 6, 50)
    planes = planes_of(np.tile((0.18 * 2.0**stops)[:, None], 3))
    apply_contrast(planes, 1.3)
    np.testing.assert_allclose(np.log2(planes[0] / 0.18), 1.3 * stops, rtol=0, atol=1e-4)
    below = np.full((3, 1), -0.18, np.float32)
    apply_contrast(below, 1.3)
    np.testing.assert_allclose(below, -0.18, rtol=1e-5)


def test_saturation_keeps_luminance_and_greys() -> None:
    weights = luminance_weights(ACESCG)
    colours = np.random.default_rng(1).uniform(0, 2, (3, 100))
    for saturation in (0.0, 0.5, 1.7):
        changed = saturation_matrix(saturation) @ colours
        np.testing.assert_allclose(weights @ changed, weights @ colours, rtol=1e-12)
    np.testing.assert_allclose(saturation_matrix(1.7).sum(axis=1), 1, rtol=1e-12)
    np.testing.assert_allclose(saturation_matrix(1.0), np.eye(3), atol=1e-12)


def test_split_tint_keeps_luminance_and_goes_the_right_way() -> None:
    tint = SplitTint(shadows="#3060a0", highlights="#ffd2a0", strength=0.5)
    weights = luminance_weights(ACESCG)
    random = np.random.default_rng(2)
    planes = (2.0 ** random.uniform(-8, 6, 300) * random.uniform(0.3, 1, (3, 300))).astype("f4")
    before = weights @ planes
    apply_split_tint(planes, tint)
    np.testing.assert_allclose(weights @ planes, before, rtol=1e-5)
    dark, bright = np.full((3, 1), 0.001, np.float32), np.full((3, 1), 8.0, np.float32)
    for grey, warmer in ((dark, False), (bright, True)):
        apply_split_tint(grey, tint)
        red, _, blue = (conversion_matrix(ACESCG, BT709) @ grey)[:, 0]
        assert (red > blue) == warmer


def test_grey_tints_and_black_change_nothing() -> None:
    planes = np.array([[0.0, 0.3, -0.01], [0.0, 0.2, 0.0], [0.0, 0.1, 0.0]], np.float32)
    kept = planes.copy()
    apply_split_tint(planes, SplitTint(strength=1.0))
    np.testing.assert_allclose(planes, kept, rtol=1e-5, atol=1e-9)
    apply_split_tint(planes, SplitTint(shadows="#3060a0", strength=1.0))
    assert np.isfinite(planes).all()
    assert (planes[:, 0] == 0).all()


def test_balance_stops_move_the_split_along_the_scene() -> None:
    """A split two stops up does to light two stops brighter what it did before."""
    grey = 0.18 * 2.0 ** np.linspace(-6, 4, 40)
    plain, moved = planes_of(np.tile(grey[:, None], 3)), planes_of(np.tile(4 * grey[:, None], 3))
    tints = {"shadows": "#3060a0", "highlights": "#ffd2a0", "strength": 0.6}
    apply_split_tint(plain, SplitTint(**tints))
    apply_split_tint(moved, SplitTint(balance_stops=2.0, **tints))
    np.testing.assert_allclose(moved, 4 * plain, rtol=1e-5)
    assert np.ptp(plain[0] / plain[2]) > 0.1


def test_a_tint_at_full_strength_is_the_colour_that_was_named() -> None:
    """IEC 61966-2-1 by hand: codes 48, 96 and 160 of #3060a0 are 0.029557, 0.116971, 0.351533."""
    planes = np.full((3, 1), 0.3, np.float32)
    apply_split_tint(planes, SplitTint(shadows="#3060a0", highlights="#3060a0", strength=1.0))
    shown = (conversion_matrix(ACESCG, BT709) @ planes)[:, 0]
    assert shown / shown[2] == pytest.approx(
        np.array([0.029557, 0.116971, 0.351533]) / 0.351533, rel=1e-4
    )


def test_the_correction_comes_before_luts_of_the_scene(tmp_path: Path) -> None:
    """0.3 doubled is 0.6, of which a LUT up to 0.5 keeps 0.5; the other way round it is 0.6."""
    (tmp_path / "held.cube").write_text("LUT_1D_SIZE 3\n0 0 0\n0.5 0.5 0.5\n0.5 0.5 0.5\n")
    lut = {"file": "held.cube", "place": "scene", "input": "linear"}
    look = Look(
        tone={"curve": "clip"}, gamut={"method": "clip"},
        grade={"cdl": {"slope": (2, 2, 2)}, "luts": (lut,)},
    )  # fmt: skip
    chain = build_chain(
        look, source=ACESCG, camera_matrix=np.eye(3), output=output_space("sRGB"), size=(1, 1),
        recipe_folder=tmp_path,
    )  # fmt: skip
    shown = chain.linear_rows(np.full((3, 1, 1), 0.3, np.float32), 0)
    np.testing.assert_allclose(shown, 0.5, atol=1e-3)


def test_grain_lies_over_luts_of_the_display(tmp_path: Path) -> None:
    (tmp_path / "flat.cube").write_text("LUT_1D_SIZE 2\n0.5 0.5 0.5\n0.5 0.5 0.5\n")
    look = Look(grade={"luts": ({"file": "flat.cube"},)}, grain={"strength": 0.5, "size": 0.02})
    chain = build_chain(
        look, source=BT709, camera_matrix=np.eye(3), output=output_space("sRGB"), size=(64, 64),
        recipe_folder=tmp_path,
    )  # fmt: skip
    assert chain.encode_rows(np.full((3, 64, 64), 0.18, np.float32), 0).std() > 0.01
