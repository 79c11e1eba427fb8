"""Gains in stops, factors, lumens and watts."""

from __future__ import annotations

import math

import pytest

from evenfall.light.gain import gain_factor, stops_of
from evenfall.recipe import LightSetting, Rendered


@pytest.mark.parametrize(
    ("stops", "factor"),
    [
        (0, 1),
        (1, 2),
        (-2, 0.25),
        ("+1 1/3", 2 ** (4 / 3)),
        ("-2/3", 2 ** (-2 / 3)),
        ("0.5", 2**0.5),
    ],
)
def test_a_stop_is_twice_the_light(stops, factor):
    assert gain_factor(LightSetting(stops=stops), Rendered()) == pytest.approx(factor, rel=1e-12)


def test_factor_off_on_and_nothing():
    assert gain_factor(LightSetting(factor=0.3), Rendered()) == 0.3
    assert gain_factor(LightSetting(off=True), Rendered()) == 0
    assert gain_factor(LightSetting(on=True), Rendered()) == 1
    assert gain_factor(LightSetting(kelvin=2700), Rendered()) == 1


# replacement guides quote 450 lm for a 40 W and 1600 lm for a 100 W incandescent lamp
def test_lumens_are_relative_to_the_rendered_lumens():
    gain = gain_factor(LightSetting(lumens=1600), Rendered(lumens=450))
    assert gain == pytest.approx(3.5556, abs=1e-4)
    assert stops_of(gain) == pytest.approx(1.83, abs=0.01)


def test_watts_become_lumens_by_efficacy():
    # 60 W at 13.33 lm/W is the 800 lm that lamp replacement guides quote (US EPA: 13 to 14 lm/W)
    gain = gain_factor(LightSetting(watts=60, lumens_per_watt=13.3333), Rendered(lumens=800))
    assert gain == pytest.approx(1, abs=1e-5)


@pytest.mark.parametrize("setting", [{"lumens": 800}, {"watts": 8, "lumens_per_watt": 100}])
def test_lumens_of_a_light_rendered_with_unknown_lumens_are_refused(setting):
    with pytest.raises(ValueError, match=r"say rendered.lumens, or use stops"):
        gain_factor(LightSetting(**setting), Rendered())


def test_candela_are_relative_to_the_rendered_candela():
    # By the inverse square law (E = I / d^2) a lamp of 800 cd gives 200 lx at 2 m, one of 2,400 cd
    # gives 600 lx there: three times the light.
    gain = gain_factor(LightSetting(candela=2400), Rendered(candela=800))
    assert gain == pytest.approx((2400 / 2**2) / (800 / 2**2), rel=1e-12)
    assert gain_factor(LightSetting(candela=0), Rendered(candela=800)) == 0


def test_candela_and_lumens_of_one_beam_agree():
    # 800 lm spread evenly over a beam of 36 degrees, that is over 2 pi (1 - cos 18 deg) sr, are
    # 2,601 cd (1 cd = 1 lm/sr, SI Brochure, 9th edition); with half the flux both are half.
    beam = 2 * math.pi * (1 - math.cos(math.radians(18)))
    rendered = Rendered(lumens=800, candela=800 / beam)
    assert rendered.candela == pytest.approx(2601.5, abs=0.5)
    by_flux = gain_factor(LightSetting(lumens=400), rendered)
    by_intensity = gain_factor(LightSetting(candela=400 / beam), rendered)
    assert by_intensity == pytest.approx(by_flux, rel=1e-12)


def test_candela_of_a_light_rendered_with_unknown_candela_are_refused():
    with pytest.raises(ValueError, match=r"candela needs .*: say rendered.candela, or use stops"):
        gain_factor(LightSetting(candela=800), Rendered(lumens=800))


def test_no_light_is_minus_infinite_stops():
    assert stops_of(0) == -math.inf
