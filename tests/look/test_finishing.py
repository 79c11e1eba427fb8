"""Glare, vignette, sharpening, grain and fringing: by physics, and the same at every size."""

from __future__ import annotations

import gc
from collections.abc import Callable

import numpy as np
import pytest
from scipy.signal import fftconvolve

from evenfall.look import grain_pattern as grain_module
from evenfall.look import sharpen as sharpen_module
from evenfall.look.fringe import add_fringe
from evenfall.look.glare import add_glare, point_spread
from evenfall.look.grain import Grain
from evenfall.look.grain_pattern import Pattern, lattice_noise, pattern_of
from evenfall.look.sharpen import sharpen
from evenfall.look.vignette import Vignette
from evenfall.recipe.look import Fringe, Glare, Sharpen
from evenfall.recipe.look import Grain as GrainSettings
from evenfall.recipe.look import Vignette as VignetteSettings

ENERGY = 1e-5  # float32 sums; a thousandth is what is asked
MOST_LATTICE = 1 << 22  # numbers: 16 MB in float32, and as much twice more while they are made
MOST_LATTICE_A_PIXEL = 3 * 32**2  # 32 cells a side, and the overlap of pieces
FEW_PIXELS = 0.05  # deviation from 48 x 48 pixels in 3 channels: about 1 / sqrt(2 x 6912), 6 times
Picture = np.ndarray

SMALL, LARGE = (240, 136), (1440, 816)  # six to one, as 1280 to 7680


def room(size: tuple[int, int], lamps: bool = True) -> Picture:
    """A wall with a soft gradient, a window and two round lamps; anti-aliased, (3, H, W)."""
    width, height = size
    oversampling = max(1, 1440 // width)
    x = (np.arange(width * oversampling) + 0.5) / (width * oversampling)
    y = (np.arange(height * oversampling) + 0.5) / (width * oversampling)
    down, across = y[:, None], x[None, :]
    level = 0.1 + 0.4 * np.exp(-((across - 0.3) ** 2 + (down - 0.2) ** 2) / 0.05)
    level = np.where((across > 0.6) & (across < 0.8) & (down > 0.1) & (down < 0.4), 2.0, level)
    if lamps:
        for centre in (0.2, 0.45):
            level = level + 50.0 * (np.hypot(across - centre, down - 0.15) < 0.02)
    blocks = level.reshape(height, oversampling, width, oversampling).mean(axis=(1, 3))
    return np.stack([blocks, 0.8 * blocks, 0.6 * blocks]).astype(np.float32)


def reduced(planes: Picture, factor: int) -> Picture:
    count, height, width = planes.shape
    shape = (count, height // factor, factor, width // factor, factor)
    return planes.reshape(shape).mean(axis=(2, 4))


def applied(step: Callable[[Picture], object], planes: Picture) -> Picture:
    changed = planes.copy()
    step(changed)
    return changed


# --- glare ------------------------------------------------------------------------------------


@pytest.mark.parametrize("size", [(240, 136), (333, 187), (1000, 562)])
@pytest.mark.parametrize("radius", [0.004, 0.012, 0.1])
def test_glare_keeps_energy(size: tuple[int, int], radius: float) -> None:
    planes = room(size)
    before = planes.sum(axis=(1, 2), dtype=np.float64)
    add_glare(planes, Glare(strength=0.2, radius=radius))
    after = planes.sum(axis=(1, 2), dtype=np.float64)
    np.testing.assert_allclose(after, before, rtol=ENERGY)


def test_glare_leaves_a_flat_picture_flat() -> None:
    planes = np.full((3, 90, 160), 0.18, np.float32)
    add_glare(planes, Glare(strength=0.5))
    np.testing.assert_allclose(planes, 0.18, rtol=1e-5)


def test_glare_is_the_convolution_with_the_stated_spread() -> None:
    """Far from the borders, against scipy's convolution with the spread pixel by pixel."""
    size, radius, strength = (401, 301), 0.02, 0.1
    planes = np.zeros((3, size[1], size[0]), np.float32)
    planes[:, 140:146, 190:200] = 40.0
    reach = np.hypot(*np.mgrid[-300:301, -400:401]) / (radius * size[0])
    spread = point_spread(reach)
    spread /= spread.sum()
    glow = fftconvolve(planes[0].astype(float), spread, mode="same")
    expected = (1 - strength) * planes[0] + strength * glow
    add_glare(planes, Glare(strength=strength, radius=radius))
    near = (slice(100, 190), slice(140, 250))
    # The paper's spread has no end; what the mirrored borders give back is a few per cent here.
    np.testing.assert_allclose(planes[0][near], expected[near], rtol=0.06, atol=1e-4)


def test_glare_blooms_around_lamps_and_does_not_wash_out_the_rest() -> None:
    planes = room((480, 272))
    glared = applied(lambda p: add_glare(p, Glare(strength=0.03)), planes)
    beside = (0, 72, 110)  # 14 pixels from the middle of a lamp of 10 pixels' radius
    assert glared[beside] > 1.2 * planes[beside]
    far = (0, slice(230, 270), slice(300, 470))
    np.testing.assert_allclose(glared[far], planes[far], rtol=0.25)
    assert glared[far].mean() < 1.15 * planes[far].mean()


def test_glare_is_the_same_for_any_number_of_threads() -> None:
    once, twice = room(SMALL), room(SMALL)
    add_glare(once, Glare(strength=0.05), workers=1)
    add_glare(twice, Glare(strength=0.05), workers=2)
    np.testing.assert_array_equal(once, twice)


# --- the same at every size -------------------------------------------------------------------


def worst_in_stops(small: Picture, large: Picture) -> tuple[float, float]:
    difference = np.abs(np.log2(small) - np.log2(reduced(large, 6)))
    return float(np.percentile(difference, 99)), float(difference.mean())


@pytest.mark.parametrize(
    ("step", "worst", "mean"),
    [
        (lambda p: add_glare(p, Glare(strength=0.1)), 0.06, 0.01),
        (lambda p: add_fringe(p, Fringe(strength=1.0)), 0.1, 0.008),
        (lambda p: sharpen(p, Sharpen(strength=0.5, radius=0.006)), 0.1, 0.01),
    ],
    ids=["glare", "fringe", "sharpen"],
)
def test_a_large_picture_made_small_looks_like_the_small_one(
    step: Callable[[Picture], object], worst: float, mean: float
) -> None:
    small, large = applied(step, room(SMALL)), applied(step, room(LARGE))
    assert np.abs(np.log2(small) - np.log2(room(SMALL))).max() > 2 * worst  # it does something
    found_worst, found_mean = worst_in_stops(small, large)
    assert found_worst < worst
    assert found_mean < mean


def test_vignette_is_the_same_at_every_size() -> None:
    settings = VignetteSettings(natural=1.0, creative_stops=1.0, centre=(0.3, 0.6))
    small = Vignette(settings, SMALL).factors(0, SMALL[0] * SMALL[1]).reshape(1, *SMALL[::-1])
    large = Vignette(settings, LARGE).factors(0, LARGE[0] * LARGE[1]).reshape(1, *LARGE[::-1])
    np.testing.assert_allclose(reduced(large, 6), small, rtol=1e-3)


def test_grain_is_the_same_pattern_at_every_size() -> None:
    settings = GrainSettings(strength=1.0, size=0.01)
    small = Grain(settings, SMALL).rows(0, SMALL[1])
    large = reduced(Grain(settings, LARGE).rows(0, LARGE[1]), 6)
    assert np.corrcoef(small.ravel(), large.ravel())[0, 1] > 0.999
    assert np.std(small - large) < 0.02 * np.std(small)


# --- vignette ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("focal_length_mm", "horizontal_degrees"), [(24, 73.740), (28, 65.471), (35, 54.432)]
)
def test_natural_vignette_is_cos4_of_the_angle_of_view(
    focal_length_mm: float, horizontal_degrees: float
) -> None:
    """Angles of view of a 36 mm wide frame from a lens table, at the ends of the middle row."""
    settings = VignetteSettings(natural=1.0, focal_length_mm=focal_length_mm)
    row = Vignette(settings, (20001, 1)).factors(0, 20001)
    expected = np.cos(np.radians(horizontal_degrees / 2)) ** 4
    assert row[0] == pytest.approx(expected, rel=2e-4)
    assert row[-1] == pytest.approx(expected, rel=2e-4)
    assert row[10000] == pytest.approx(1.0, abs=1e-6)


def test_half_a_natural_vignette_is_half_the_stops() -> None:
    stops = [
        np.log2(Vignette(VignetteSettings(natural=share), SMALL).factors(0, 240))
        for share in (0.5, 1.0)
    ]
    np.testing.assert_allclose(stops[0], stops[1] / 2, rtol=1e-4)


def test_creative_vignette_reaches_its_stops_in_the_furthest_corner() -> None:
    settings = VignetteSettings(creative_stops=2.0, centre=(0.25, 0.25))
    picture = Vignette(settings, LARGE).factors(0, LARGE[0] * LARGE[1]).reshape(LARGE[::-1])
    assert picture[-1, -1] == pytest.approx(0.25, rel=0.01)
    assert picture.min() == picture[-1, -1]
    assert picture[816 // 4, 1440 // 4] == pytest.approx(1.0, abs=1e-4)


def test_vignette_of_a_run_that_begins_and_ends_within_rows() -> None:
    vignette = Vignette(VignetteSettings(natural=0.7, creative_stops=1.0), (17, 11))
    whole = vignette.factors(0, 17 * 11)
    np.testing.assert_array_equal(vignette.factors(23, 100), whole[23:123])


# --- sharpening -------------------------------------------------------------------------------


def soft_edge() -> Picture:
    """An edge of three stops, blurred as by a lens."""
    ramp = np.clip((np.arange(200) - 96) / 8, 0, 1)
    ramp = ramp * ramp * (3 - 2 * ramp)
    return np.tile((0.1 * 8.0**ramp).astype(np.float32), (3, 60, 1))


def test_sharpening_steepens_edges_without_overshoot() -> None:
    planes = soft_edge()
    sharp = applied(lambda p: sharpen(p, Sharpen(strength=1.0, radius=0.01)), planes)
    assert sharp.max() <= planes.max() * (1 + 1e-5)
    assert sharp.min() >= planes.min() * (1 - 1e-5)
    assert np.diff(sharp[0, 30]).max() > 1.5 * np.diff(planes[0, 30]).max()
    assert (np.diff(sharp[0, 30]) > -1e-6).all()


def test_sharpening_keeps_flat_areas_and_colour() -> None:
    planes = np.full((3, 40, 60), 0.18, np.float32)
    np.testing.assert_allclose(
        applied(lambda p: sharpen(p, Sharpen(strength=1.0)), planes), 0.18, rtol=1e-5
    )
    picture = room(SMALL)
    sharp = applied(lambda p: sharpen(p, Sharpen(strength=1.0, radius=0.005)), picture)
    np.testing.assert_allclose(sharp[1] / sharp[0], picture[1] / picture[0], rtol=1e-4)


def test_sharpening_adds_twice_what_a_gaussian_takes_away() -> None:
    """It leaves exp(-2 (pi sigma / wavelength)^2) of a wave, by the Fourier transform of a
    Gaussian; counted in stops, on the slopes, as crests may not overshoot."""
    width, sigma, wavelength = 640, 10, 40
    stops = 0.2 * np.sin(2 * np.pi * np.arange(width) / wavelength)
    planes = np.broadcast_to(0.18 * np.exp2(stops), (3, 24, width)).astype(np.float32)
    sharp = applied(lambda p: sharpen(p, Sharpen(strength=1.0, radius=sigma / width)), planes)
    slope = np.diff(np.log2(sharp[1, 12].astype(float) / 0.18))[320] / np.diff(stops)[320]
    left = np.exp(-2 * (np.pi * sigma / wavelength) ** 2)
    assert slope == pytest.approx(1 + 2 * (1 - left), rel=0.004)  # the blur ends at 3 sigma


def test_sharpening_leaves_black_and_its_noise() -> None:
    """Ten stops below middle grey and less is black."""
    planes = np.zeros((3, 40, 60), np.float32)
    sharpen(planes, Sharpen(strength=1.0, radius=0.05))
    assert (planes == 0).all()
    noise = 0.18 * 2.0**-16 * np.random.default_rng(2).uniform(0.5, 2, (40, 60))
    planes = np.stack([noise] * 3).astype(np.float32)
    sharp = applied(lambda p: sharpen(p, Sharpen(strength=1.0, radius=0.05)), planes)
    assert np.abs(np.log2(sharp / planes)).max() < 0.1


def test_sharpening_does_not_depend_on_threads_or_strips(monkeypatch: pytest.MonkeyPatch) -> None:
    tall = np.random.default_rng(3).uniform(0.01, 2, (3, 700, 40)).astype(np.float32)
    one = applied(lambda p: sharpen(p, Sharpen(strength=0.7, radius=0.05), workers=1), tall)
    two = applied(lambda p: sharpen(p, Sharpen(strength=0.7, radius=0.05), workers=2), tall)
    np.testing.assert_array_equal(one, two)
    monkeypatch.setattr(sharpen_module, "_STRIP_ROWS", 91)
    more = applied(lambda p: sharpen(p, Sharpen(strength=0.7, radius=0.05)), tall)
    np.testing.assert_array_equal(more, one)


# --- grain ------------------------------------------------------------------------------------


def test_noise_of_the_lattice_is_white_and_normal_enough() -> None:
    noise = lattice_noise(np.arange(1000), 1000, seed=5).astype(float)
    assert noise.mean() == pytest.approx(0, abs=5e-3)
    assert noise.std() == pytest.approx(1, abs=5e-3)
    for shifted in (noise[1:] * noise[:-1], noise[:, 1:] * noise[:, :-1]):
        assert abs(shifted.mean()) < 5e-3
    other = lattice_noise(np.arange(1000), 1000, seed=6)
    assert abs((noise * other).mean()) < 5e-3


def test_grain_depends_on_exposure_as_dots_that_cover_or_do_not() -> None:
    """Deviation over codes follows sqrt(v (1 - v)): the binomial law."""
    grain = Grain(GrainSettings(strength=0.4, size=0.005), (400, 200))
    pattern = grain.rows(0, 200).reshape(3, -1)
    deviations = []
    codes = [0.0, 0.1, 0.5, 0.8, 1.0]
    for code in codes:
        encoded = np.full(pattern.shape, code, np.float32)
        grain.add(encoded, pattern)
        deviations.append(encoded[0].std())
    expected = 2 * np.sqrt(np.multiply(codes, np.subtract(1, codes))) * pattern[0].std()
    np.testing.assert_allclose(deviations, expected, rtol=0.01, atol=1e-7)


def test_another_seed_is_another_pattern_and_the_same_seed_the_same() -> None:
    first, same, other = (
        Grain(GrainSettings(strength=1.0, seed=seed), SMALL).rows(0, 136) for seed in (1, 1, 2)
    )
    np.testing.assert_array_equal(first, same)
    assert abs(np.corrcoef(first.ravel(), other.ravel())[0, 1]) < 0.02


def test_grain_of_some_rows_is_that_of_the_whole() -> None:
    grain = Grain(GrainSettings(strength=1.0), SMALL)
    whole = grain.rows(0, 136)
    np.testing.assert_array_equal(grain.rows(37, 41), whole[:, 37:78])


@pytest.fixture
def lattices(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """How many lattice numbers are made, each time that some are."""
    made: list[int] = []

    def noted(*arguments: object) -> Picture:
        noise = lattice_noise(*arguments)
        made.append(noise.size)
        return noise

    monkeypatch.setattr(grain_module, "lattice_noise", noted)
    return made


@pytest.mark.parametrize("size", [(2, 3000), (1, 1), (3000, 2), (40, 700), (300, 100)])
@pytest.mark.parametrize("grain_size", [0.0006, 1e-5, 1e-300])
def test_grain_needs_little_memory_whatever_the_shape(
    lattices: list[int], size: tuple[int, int], grain_size: float
) -> None:
    """A pixel of a picture 2 wide is 1667 cells of the usual grain: 10^11 numbers for 3000 rows."""
    width, height = size
    rows = min(height, 25)
    shown = Grain(GrainSettings(strength=1.0, size=grain_size), size).rows(0, rows)
    assert shown.shape == (3, rows, width)
    assert np.isfinite(shown).all()
    assert max(lattices) <= MOST_LATTICE
    assert sum(lattices) / 3 <= MOST_LATTICE_A_PIXEL * (width + 2) * (rows + 2)


def test_grain_in_pieces_is_that_of_the_whole(monkeypatch: pytest.MonkeyPatch) -> None:
    settings = GrainSettings(strength=1.0)
    whole = Grain(settings, SMALL).rows(0, 136)
    monkeypatch.setattr(grain_module, "_MOST_LATTICE", 20_000)
    assert len(list(Pattern(settings.size, settings.seed, SMALL)._pieces(136))) > 100
    np.testing.assert_array_equal(Grain(settings, SMALL).rows(0, 136), whole)


def test_grain_finer_than_its_lattice_is_as_weak_as_it_would_be(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A grain 80 times as fine as a pixel, against its own lattice without a limit."""
    settings = GrainSettings(strength=1.0, size=2 / (80 * 48))
    limited = Grain(settings, (48, 48)).rows(0, 48).std()
    monkeypatch.setattr(grain_module, "_MOST_CELLS_PER_PIXEL", 1e9)
    full = Grain(settings, (48, 48)).rows(0, 48).std()
    assert limited == pytest.approx(full, rel=FEW_PIXELS)


def test_channels_have_part_of_their_grain_in_common() -> None:
    """Equal deviations, and the correlation that the square of the shared share says: 0.64."""
    codes = Pattern(0.01, 3, (600, 400)).rows(0, 400).reshape(3, -1).astype(float)
    np.testing.assert_allclose(codes.std(axis=1), 32, rtol=0.03)
    np.testing.assert_allclose(np.corrcoef(codes)[np.triu_indices(3, 1)], 0.64, atol=0.02)


def test_moods_share_a_pattern_while_they_need_it() -> None:
    settings = [GrainSettings(strength=strength, size=0.011) for strength in (0.1, 0.4)]
    soft, strong = (Grain(each, SMALL) for each in settings)
    assert pattern_of(0.011, 1, SMALL) is pattern_of(0.011, 1, SMALL)
    np.testing.assert_allclose(strong.rows(3, 5), 4 * soft.rows(3, 5), rtol=1e-5)
    del soft, strong
    for seed in range(2, 6):  # small ones stay until four others were asked for
        pattern_of(0.011, seed, SMALL)
    gc.collect()
    assert (0.011, 1, SMALL) not in grain_module._patterns


# --- fringing ---------------------------------------------------------------------------------


@pytest.mark.parametrize("strength", [1.0, 0.4])
def test_fringing_moves_red_outwards_and_blue_inwards(strength: float) -> None:
    width, height = 1000, 100
    planes = np.zeros((3, height, width), np.float32)
    planes[:, :, 880:900] = 1.0
    shifted = applied(lambda p: add_fringe(p, Fringe(strength=strength)), planes)
    columns = np.arange(width) + 0.5
    red, green, blue = ((plane[50] * columns).sum() / plane[50].sum() for plane in shifted)
    distance = green - width / 2
    # 0.3 % of the distance from the middle, at full strength.
    assert red - green == pytest.approx(0.003 * strength * distance, rel=0.02)
    assert green - blue == pytest.approx(0.003 * strength * distance, rel=0.02)
    np.testing.assert_array_equal(shifted[1], planes[1])
    assert shifted.min() >= 0


def test_grain_of_full_strength_deviates_by_a_twentieth_in_the_mid_tones() -> None:
    """0.05 of the display's range at a code of one half; of some 10,000 specks, so within 1 %."""
    grain = Grain(GrainSettings(strength=1.0, size=0.01), (1200, 1200))
    encoded = np.full((3, 1200, 1200), 0.5, np.float32)
    grain.add(encoded, grain.rows(0, 1200))
    assert encoded.std() == pytest.approx(0.05, rel=0.01)


def test_grain_of_values_beyond_the_display_is_none() -> None:
    grain = Grain(GrainSettings(strength=1.0, size=0.01), (60, 60))
    encoded = np.full((3, 60, 60), 1.5, np.float32)
    encoded[:, :30] = -0.5
    grain.add(encoded, grain.rows(0, 60))
    np.testing.assert_array_equal(encoded[:, 30:], 1)
    np.testing.assert_array_equal(encoded[:, :30], 0)


def test_creative_vignette_is_half_its_stops_half_way_to_the_corner() -> None:
    """It eases in and out along the way r, as r^2 (3 - 2 r) does, which is 1/2 at r = 1/2."""
    vignette = Vignette(VignetteSettings(creative_stops=2.0), (401, 301))
    stops = -np.log2(vignette.factors(0, 401 * 301)).reshape(301, 401)
    assert stops[150 + 75, 200 + 100] == pytest.approx(1.0, abs=0.01)
    assert stops[150 + 38, 200 + 50] == pytest.approx(2.0 * (3 / 16 - 1 / 32), abs=0.01)


def test_natural_vignette_stays_on_the_axis_of_the_lens() -> None:
    settings = VignetteSettings(natural=1.0, centre=(0.2, 0.9))
    factors = Vignette(settings, (90, 60)).factors(0, 90 * 60).reshape(60, 90)
    np.testing.assert_allclose(factors, factors[::-1, ::-1], rtol=1e-6)
