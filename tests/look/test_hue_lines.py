"""Our rendering: what an eye may ask of it, judged in OKLab and CAM16-UCS by colour-science."""

from __future__ import annotations

import numpy as np
import pytest

from evenfall.light.output_spaces import OUTPUT_SPACES
from evenfall.light.primaries import (
    BT709,
    BT2020,
    DISPLAY_P3,
    RgbSpace,
    conversion_matrix,
    rgb_to_xyz,
)
from evenfall.light.transfer import encode_srgb
from evenfall.look.hue_lines import HUE_SPACE, LIGHTNESS_WEIGHTS, EvenfallRendering
from evenfall.recipe.look import Evenfall

from .lights import VISIBLE, cam16, lamp_light, led_light, oklab, to_space, turns

HDR_PEAK = 1000 / 203
STOPS = np.linspace(-5, 7, 241)
SPACES = {space.rgb.name: space.rgb for space in OUTPUT_SPACES.values()}
LAMPS, LEDS = lamp_light(), led_light()
LIGHTS = LAMPS | LEDS
SETTINGS = {
    "default": Evenfall(),
    "colour to the end": Evenfall(to_white=0.0),
    "film": Evenfall(to_white=1.0),
    "hard": Evenfall(contrast=2.0, soft_highlights=0.3, highlight_stops=3),
    "soft": Evenfall(contrast=0.8, highlight_stops=8, soft_highlights=1.0),
}

WARM_AND_COOL_DEGREES = 4.0
LED_DEGREES = 8.0
BLUE_DEGREES = 9.0
"""Pure blue on its way to white: OKLab and CAM16 disagree by 17.4 degrees at the last chroma that
is visible, so no way can stay within 8.7 of both (see the test that says so)."""


def is_blue(light: str) -> bool:
    return light.endswith("blue")


def shown(
    scene_xyz: np.ndarray, settings: Evenfall, space: RgbSpace, peak: float = 1.0
) -> np.ndarray:
    """XYZ of what a display shows, shape as given; values outside its range are cut off."""
    render = EvenfallRendering(settings, space, peak=peak)
    planes = to_space(scene_xyz, render.space).astype(np.float32)
    display = np.clip(render(np.ascontiguousarray(planes)).astype(float), 0, peak)
    return np.moveaxis(rgb_to_xyz(space) @ display, 0, -1).reshape(scene_xyz.shape)


def exposed(colours: dict[tuple[str, str], np.ndarray]) -> np.ndarray:
    """XYZ of colours over all stops; at 0 a white surface is at middle grey."""
    scale = 0.18 / 0.9 * 2.0**STOPS
    return np.stack(list(colours.values()))[:, None, :] * scale[:, None]


def largest_turns(
    colours: dict[tuple[str, str], np.ndarray], seen: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Largest turn of each colour from its own hue, in OKLab and in CAM16-UCS."""
    own = np.stack([xyz * 0.18 / xyz[1] for xyz in colours.values()])
    _, chroma, hue = oklab(seen)
    visible = chroma >= VISIBLE
    in_oklab = np.where(visible, turns(hue, oklab(own)[2][:, None]), 0)
    in_cam16 = np.where(visible, turns(cam16(seen)[2], cam16(own)[2][:, None]), 0)
    return in_oklab.max(axis=1), in_cam16.max(axis=1)


@pytest.mark.parametrize("peak", [1.0, HDR_PEAK], ids=["SDR", "HDR"])
@pytest.mark.parametrize("space", SPACES.values(), ids=SPACES)
@pytest.mark.parametrize("name", SETTINGS)
def test_light_keeps_its_hue(name: str, space: RgbSpace, peak: float) -> None:
    for colours in (LAMPS, LEDS):
        seen = shown(exposed(colours), SETTINGS[name], space, peak)
        for turned in largest_turns(colours, seen):
            for (light, surface), degrees in zip(colours, turned, strict=True):
                allowed = WARM_AND_COOL_DEGREES if colours is LAMPS else LED_DEGREES
                allowed = BLUE_DEGREES if is_blue(light) else allowed
                assert degrees < allowed, (light, surface, degrees)


def test_no_way_to_white_keeps_the_hue_of_blue_in_both() -> None:
    """Whatever hue a nearly white blue has, it is 8.6 degrees off its own in OKLab or in CAM16."""
    blue = LEDS["BT.709 blue", "white"]
    own = blue * 0.18 / blue[1]
    around = np.radians(oklab(own)[2] + np.linspace(-25, 25, 501))
    lab = np.stack([np.full(501, 0.95), 0.03 * np.cos(around), 0.03 * np.sin(around)], axis=-1)
    import colour

    nearly_white = colour.Oklab_to_XYZ(lab)
    off = [turns(found(nearly_white)[2], found(own)[2]) for found in (oklab, cam16)]
    assert np.maximum(*off).min() == pytest.approx(8.65, abs=0.15)


@pytest.mark.parametrize("peak", [1.0, HDR_PEAK], ids=["SDR", "HDR"])
@pytest.mark.parametrize("space", SPACES.values(), ids=SPACES)
@pytest.mark.parametrize("name", SETTINGS)
def test_chroma_rises_to_one_maximum_and_falls(name: str, space: RgbSpace, peak: float) -> None:
    seen = shown(exposed(LIGHTS), SETTINGS[name], space, peak)
    _, chroma, _ = oklab(seen)
    rounding = 2e-4  # single precision, and a white that OKLab's matrix gives a chroma of 4e-5
    for ramp, colour in zip(chroma, LIGHTS, strict=True):
        top = int(ramp.argmax())
        assert (np.diff(ramp[: top + 1]) > -rounding).all(), colour
        assert (np.diff(ramp[top:]) < rounding).all(), colour


@pytest.mark.parametrize("space", SPACES.values(), ids=SPACES)
def test_all_light_finds_its_way_to_white(space: RgbSpace) -> None:
    bright = np.stack([xyz / xyz[1] * 0.18 * 2.0**8 for xyz in LIGHTS.values()])
    for settings in SETTINGS.values():
        if settings.highlight_stops < 8:
            lightness, chroma, _ = oklab(shown(bright, settings, space))
            assert chroma.max() < 2e-3
            assert lightness.min() > 0.999


@pytest.mark.parametrize("peak", [1.0, HDR_PEAK], ids=["SDR", "HDR"])
@pytest.mark.parametrize("space", SPACES.values(), ids=SPACES)
@pytest.mark.parametrize("name", SETTINGS)
def test_lightness_rises_strictly(name: str, space: RgbSpace, peak: float) -> None:
    settings = SETTINGS[name]
    seen = shown(exposed(LIGHTS), settings, space, peak)
    of_oklab, of_cam16 = oklab(seen)[0], cam16(seen)[0]
    top = oklab(np.array(peak) * rgb_to_xyz(space).sum(axis=1))[0]
    between = (of_oklab > 1e-3) & (of_oklab < 0.998 * top)  # neither black nor white yet
    rising = between[:, :-1] & between[:, 1:]
    assert (np.diff(of_oklab, axis=1)[rising] > 0).all()
    assert (np.diff(of_cam16, axis=1)[rising] > 0).all()


@pytest.mark.parametrize("space", [BT709, DISPLAY_P3], ids=lambda space: space.name)
def test_no_ridge_in_a_ramp(space: RgbSpace) -> None:
    """The chroma of a ramp bends less than half as sharply as that of the published ACES 2.0."""
    from evenfall.look.aces import AcesRendering

    scene = exposed(LIGHTS)
    aces = AcesRendering(space)
    planes = np.ascontiguousarray(to_space(aces_white(scene), aces.space).astype(np.float32))
    by_aces = np.clip(aces(planes).astype(float), 0, 1)
    of_aces = np.moveaxis(rgb_to_xyz(space) @ by_aces, 0, -1).reshape(scene.shape)
    ours, theirs = (sharpest_bend(seen) for seen in (shown(scene, Evenfall(), space), of_aces))
    assert ours < 0.5
    assert ours < 0.5 * theirs


def aces_white(xyz: np.ndarray) -> np.ndarray:
    """XYZ adapted from D65 to the white of ACES, Bradford."""
    from evenfall.light.primaries import ACES2065_1, adaptation_matrix

    return xyz @ adaptation_matrix(BT709.white, ACES2065_1.white).T


def sharpest_bend(seen: np.ndarray) -> float:
    """Largest second derivative of chroma by stops, where it is light enough to see."""
    lightness, chroma, _ = oklab(seen)
    bend = np.abs(np.diff(chroma, n=2, axis=1)) / (STOPS[1] - STOPS[0]) ** 2
    light = (lightness[:, 1:-1] > 0.15) & (lightness[:, 1:-1] < 0.9995)
    return float(np.where(light, bend, 0).max())


@pytest.mark.parametrize("name", SETTINGS)
@pytest.mark.parametrize("space", SPACES.values(), ids=SPACES)
def test_grey_stays_and_black_and_white_are_reached(name: str, space: RgbSpace) -> None:
    settings = SETTINGS[name]
    stops = np.array([-settings.shadow_stops, 0.0, settings.highlight_stops, 30.0])
    greys = np.tile(0.18 * 2.0**stops, (3, 1)).astype(np.float32)
    found = EvenfallRendering(settings, space)(greys).astype(float)
    np.testing.assert_allclose(found, np.tile([0, 0.18, 1, 1], (3, 1)), rtol=0, atol=3e-5)


@pytest.mark.parametrize("peak", [1.0, HDR_PEAK], ids=["SDR", "HDR"])
@pytest.mark.parametrize("space", SPACES.values(), ids=SPACES)
def test_any_colour_ends_inside_the_gamut(space: RgbSpace, peak: float) -> None:
    random = np.random.default_rng(5)
    scene = random.uniform(0, 1, (3, 50_000)) ** 3 * 2.0 ** random.uniform(-8, 8, 50_000)
    planes = (conversion_matrix(BT2020, HUE_SPACE) @ scene).astype(np.float32)
    found = EvenfallRendering(Evenfall(), space, peak=peak)(planes)
    assert found.min() > -2e-6
    assert found.max() < peak * (1 + 2e-6)


def test_without_the_fit_colours_are_left_outside() -> None:
    red = np.array([[1.0], [0.0], [0.0]])
    planes = (conversion_matrix(BT2020, HUE_SPACE) @ red).astype(np.float32)
    assert EvenfallRendering(Evenfall(), BT709, fit=False)(planes.copy()).min() < -0.01
    assert EvenfallRendering(Evenfall(), BT709)(planes.copy()).min() > -1e-6


@pytest.mark.parametrize("space", SPACES.values(), ids=SPACES)
def test_ramps_are_smooth(space: RgbSpace) -> None:
    """Steps of ramps between colours follow one another: no seam where a pixel is looked at closer.

    Measured as how far a step is from the mean of its neighbours, in codes of 10 bits.
    """
    random = np.random.default_rng(8)
    render = EvenfallRendering(Evenfall(), space)
    inwards = conversion_matrix(BT709, HUE_SPACE)
    along = np.linspace(0.01, 0.99, 20_001)
    for _ in range(60):
        first, last = random.uniform(0.01, 1, (2, 3, 1)) ** 2 * 2.0 ** random.uniform(
            -4, 4, (2, 1, 1)
        )
        ramp = inwards @ (first * (1 - along) + last * along)
        codes = 1023 * encode_srgb(np.clip(render(ramp.astype(np.float32)).astype(float), 0, 1))
        steps = np.diff(codes, axis=1)
        assert np.abs(steps[:, 1:-1] - (steps[:, :-2] + steps[:, 2:]) / 2).max() < 0.25


def test_sdr_and_hdr_of_one_mood_agree_in_hue() -> None:
    scene = exposed(LIGHTS)
    of_sdr = oklab(shown(scene, Evenfall(), BT709))
    of_hdr = oklab(shown(scene, Evenfall(), DISPLAY_P3, HDR_PEAK))
    both = (of_sdr[1] >= VISIBLE) & (of_hdr[1] >= VISIBLE)
    apart = np.where(both, turns(of_sdr[2], of_hdr[2]), 0).max(axis=1)
    for (light, surface), degrees in zip(LIGHTS, apart, strict=True):
        allowed = WARM_AND_COOL_DEGREES if light.endswith("K") else LED_DEGREES
        assert degrees < allowed, (light, surface, degrees)


def test_more_to_white_leaves_less_colour_in_highlights_only() -> None:
    lamp = {key: xyz for key, xyz in LAMPS.items() if key == ("2700 K", "white")}
    ramps = [
        oklab(shown(exposed(lamp), Evenfall(to_white=share), BT709))[1][0]
        for share in (0.0, 0.25, 0.5, 0.75, 1.0)
    ]
    shadow, highlight = (int(np.argmin(np.abs(STOPS - at))) for at in (-3, 2))
    for less, more in zip(ramps[1:], ramps[:-1], strict=True):
        assert less[highlight] < more[highlight] - 0.001
        assert less[shadow] == pytest.approx(more[shadow], rel=0.06)


def test_colour_rises_with_the_root_of_contrast() -> None:
    """Well below white a difference from grey is scaled by it, on square roots (own arithmetic)."""
    colour = np.array([0.013, 0.010, 0.008])
    for contrast in (0.8, 1.0, 2.0):
        settings = Evenfall(contrast=contrast, to_white=0.0)
        inwards = conversion_matrix(BT709, HUE_SPACE)
        found = EvenfallRendering(settings, BT709)((inwards @ colour)[:, None].astype(np.float32))
        roots = np.sqrt(inwards @ colour), np.sqrt(inwards @ found[:, 0].astype(float))
        apart = [root / (np.array(LIGHTNESS_WEIGHTS) @ root) - 1 for root in roots]
        np.testing.assert_allclose(apart[1], np.sqrt(contrast) * apart[0], rtol=0, atol=1e-5)


def test_lightness_is_that_of_oklab_for_muted_colours() -> None:
    """L^2 is near the cube of OKLab's lightness, so colours are as bright as greys that look so."""
    random = np.random.default_rng(2)
    colours = random.uniform(0.3, 1, (3, 4000))
    roots = np.sqrt(conversion_matrix(BT709, HUE_SPACE) @ colours)
    ours = (np.array(LIGHTNESS_WEIGHTS) @ roots) ** 2
    theirs = oklab((rgb_to_xyz(BT709) @ colours).T)[0] ** 3
    np.testing.assert_allclose(ours, theirs, rtol=0.035)
    assert sum(LIGHTNESS_WEIGHTS) == pytest.approx(1)
