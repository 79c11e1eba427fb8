"""The meter: what counts, how it is averaged, and where it is brought to."""

from __future__ import annotations

import numpy as np
import pytest

from evenfall.camera.meter import meter, method_weights, spot_weights
from evenfall.errors import PassError
from evenfall.light.primaries import BT709, luminance_weights
from evenfall.recipe import Meter

WEIGHTS = luminance_weights(BT709)
FLOAT32 = 1e-5


def grey(values):
    """Planes of neutral pixels of these luminances."""
    values = np.asarray(values, dtype=np.float32)
    return np.repeat(np.atleast_2d(values)[None], 3, axis=0)


def read(planes, **settings):
    return meter(planes, WEIGHTS, Meter(**settings))


def test_the_log_average_of_a_published_example():
    # exp(mean(ln L)) as in Reinhard et al. 2002, with 1/N inside the exponent
    reading = read(grey([0.01, 0.18, 1.0, 10.0]))
    assert reading.luminance == pytest.approx(0.366284150, rel=FLOAT32)
    assert reading.lit_share == 1


@pytest.mark.parametrize("percent", [18.0, 12.5, 50.0])
def test_a_flat_grey_is_brought_to_the_target(percent):
    reading = read(grey(np.full((8, 8), 0.02)), grey_percent=percent)
    assert 0.02 * reading.factor == pytest.approx(percent / 100, rel=FLOAT32)
    assert 0.02 * 2**reading.stops == pytest.approx(percent / 100, rel=FLOAT32)


@pytest.mark.parametrize("method", ["average", "centre", "spot", "highlights"])
def test_twice_the_light_is_one_stop_less(method):
    rng = np.random.default_rng(5)
    planes = rng.gamma(1.0, 0.3, (3, 60, 90)).astype(np.float32)
    planes[:, :20] = 0
    first, second = read(planes, method=method), read(planes * 2, method=method)
    assert first.stops - second.stops == pytest.approx(1, abs=FLOAT32)


def test_luminance_is_weighted_by_the_primaries():
    planes = np.zeros((3, 4, 4), np.float32)
    planes[1] = 0.5
    # BT.709 luminance of green
    assert read(planes).luminance == pytest.approx(0.5 * 0.715169, rel=1e-4)


def test_what_the_light_does_not_reach_is_not_metered():
    half = np.full((10, 10), 0.3)
    half[:5] = 0
    reading = read(grey(half))
    assert reading.luminance == pytest.approx(0.3, rel=FLOAT32)
    assert reading.lit_share == pytest.approx(0.5)


def test_noise_around_nothing_does_not_pull_the_average():
    rng = np.random.default_rng(6)
    half = np.full((40, 40), 0.3)
    half[:20] = rng.normal(0, 1e-5, (20, 40))  # negatives too
    assert read(grey(half)).luminance == pytest.approx(0.3, rel=FLOAT32)


def test_dim_light_counts_as_far_as_ten_stops_below_the_mean():
    dim = np.full((1, 2), 1.0)
    dim[0, 1] = 2.0**-10  # mean 0.5005: nine stops below it
    assert read(grey(dim)).luminance == pytest.approx(2.0**-5, rel=1e-3)


def test_alpha_leaves_out_what_the_view_does_not_cover():
    values = np.array([[0.1, 4.0]])
    alpha = np.array([[1.0, 0.0]], np.float16)
    reading = meter(grey(values), WEIGHTS, Meter(), alpha=alpha)
    assert reading.luminance == pytest.approx(0.1, rel=FLOAT32)


def test_area_weights_weigh():
    values = np.array([[0.1, 0.4]])
    area = np.array([[1.0, 3.0]], np.float32) / 3
    reading = meter(grey(values), WEIGHTS, Meter(), area)
    assert reading.luminance == pytest.approx(0.1**0.25 * 0.4**0.75, rel=1e-4)


def test_the_spot_sees_only_itself():
    picture = np.full((90, 160), 0.01)
    picture[40:50, 30:50] = 0.5
    at = (40 / 160, 45 / 90)
    assert read(grey(picture), method="spot", at=at).luminance == pytest.approx(0.5, rel=FLOAT32)
    assert read(grey(picture), method="spot").luminance == pytest.approx(0.01, rel=FLOAT32)


def test_the_spot_is_a_twentieth_of_the_width_across():
    weights = method_weights(Meter(method="spot"), 400, 200)
    assert weights.sum() == pytest.approx(np.pi * 10**2, rel=0.005)
    assert weights[100, 200] == 1
    assert weights[100, 211] == 0


def test_a_spot_smaller_than_a_pixel_takes_the_nearest():
    weights = spot_weights((0.0, 0.0), 1e-4, 10, 10)
    assert weights.sum() == 1
    assert weights[0, 0] == 1


def test_centre_weighting_prefers_the_middle():
    picture = np.full((60, 90), 0.1)
    picture[20:40, 30:60] = 0.4
    averaged, centred = (read(grey(picture), method=m).luminance for m in ("average", "centre"))
    assert averaged == pytest.approx(0.1 ** (8 / 9) * 0.4 ** (1 / 9), rel=1e-4)
    assert averaged < centred < 0.4
    # Gaussian of a quarter of width and height: the middle third holds erf(2/3 / sqrt(2))^2 of the
    # weight inside the picture
    from math import erf, sqrt

    share = (erf((1 / 6) / 0.25 / sqrt(2)) / erf(0.5 / 0.25 / sqrt(2))) ** 2
    assert np.log(centred / 0.1) / np.log(4) == pytest.approx(share, rel=0.01)


def test_highlights_bring_a_percentile_to_white():
    ramp = np.linspace(0.001, 1.0, 1000).reshape(20, 50)
    reading = read(grey(ramp), method="highlights", percentile=99, highlight_percent=90)
    assert reading.luminance == pytest.approx(0.99, abs=0.0011)
    assert reading.luminance * reading.factor == pytest.approx(0.9)


def test_highlights_of_an_area_are_weighted():
    ramp = np.arange(1, 101, dtype=float).reshape(10, 10)
    area = np.zeros((10, 10), np.float32)
    area[:5] = 1  # 1 to 50
    planes = grey(ramp)
    half = meter(planes, WEIGHTS, Meter(method="highlights", percentile=50), area)
    top = meter(planes, WEIGHTS, Meter(method="highlights", percentile=100), area)
    assert half.luminance == pytest.approx(25, rel=FLOAT32)
    assert top.luminance == pytest.approx(50, rel=FLOAT32)
    everywhere = np.ones((10, 10), np.float32)
    for percentile in (1, 33.3, 50, 99, 100):
        settings = Meter(method="highlights", percentile=percentile)
        weighted = meter(planes, WEIGHTS, settings, everywhere)
        assert weighted.luminance == meter(planes, WEIGHTS, settings).luminance


@pytest.mark.parametrize("method", ["average", "centre", "spot", "highlights"])
@pytest.mark.parametrize("value", [0.0, -0.1])
def test_darkness_cannot_be_metered(method, value):
    with pytest.raises(PassError, match="no light of sun") as caught:
        meter(grey(np.full((9, 9), value)), WEIGHTS, Meter(method=method), subject="sun")
    assert caught.value.faults[0].place == "camera.meter"
    assert "another light" in str(caught.value)


def test_an_area_without_weight_cannot_be_metered():
    with pytest.raises(PassError, match="no light"):
        meter(grey(np.ones((4, 4))), WEIGHTS, Meter(), np.zeros((4, 4), np.float32))


def test_strips_do_not_change_the_reading():
    rng = np.random.default_rng(8)
    planes = rng.gamma(0.5, 0.3, (3, 700, 40)).astype(np.float32)
    flat = np.tensordot(WEIGHTS, planes.astype(np.float64), 1)
    lit = flat[flat > flat.mean() * 2.0**-10]
    assert read(planes).luminance == pytest.approx(np.exp(np.log(lit).mean()), rel=FLOAT32)


def test_weights_of_an_area_are_shares_from_nothing_to_all():
    """What a mask holds beyond 1 counts once, and below 0 not at all."""
    planes = grey(np.tile([0.1, 0.4, 0.9], (4, 1)))
    wild = np.tile(np.float32([1.0, 7.0, -3.0]), (4, 1))
    tame = np.tile(np.float32([1.0, 1.0, 0.0]), (4, 1))
    found = [meter(planes, WEIGHTS, Meter(), weights).luminance for weights in (wild, tame)]
    assert found[0] == found[1] == pytest.approx(0.2, rel=FLOAT32)  # sqrt(0.1 x 0.4)


def test_an_area_without_any_pixel_has_no_highlights():
    with pytest.raises(PassError, match="no light"):
        meter(grey(np.ones((4, 4))), WEIGHTS, Meter(method="highlights"), np.zeros((4, 4), "f4"))
