"""Exposure value, luminance and illuminance against published tables."""

from __future__ import annotations

import math

import pytest

from evenfall.light import units

# ISO 2720:1974 and APEX: EV100 = log2(N^2 / t) - log2(S / 100)
SETTINGS = [
    (100, 1, 1, 0.0),
    (100, 8, 1 / 125, 12.965784),
    (100, 8, 1 / 128, 13.0),
    (100, 16, 1 / 100, 14.643856),
    (100, 16, 1 / 125, 14.965784),
    (100, 4, 1 / 2, 5.0),
    (400, 8, 1 / 250, 11.965784),
    (400, 5.6, 1 / 60, 8.877744),
]

# ISO 2720:1974 with K = 12.5 and C = 250; saturation by ISO 12232:2019 with q = 0.65
TABLE = [
    (-3, 0.015625, 0.3125, 0.15),
    (0, 0.125, 2.5, 1.2),
    (4, 2.0, 40.0, 19.2),
    (7, 16.0, 320.0, 153.6),
    (9, 64.0, 1280.0, 614.4),
    (12, 512.0, 10240.0, 4915.2),
    (15, 4096.0, 81920.0, 39321.6),
]


@pytest.mark.parametrize(("iso", "aperture", "seconds", "ev100"), SETTINGS)
def test_exposure_value_of_camera_settings(iso, aperture, seconds, ev100):
    assert units.ev100_from_settings(iso, aperture, seconds) == pytest.approx(ev100, abs=1e-6)


@pytest.mark.parametrize(("ev100", "luminance", "illuminance", "saturation"), TABLE)
def test_table_of_exposure_values(ev100, luminance, illuminance, saturation):
    assert units.luminance_from_ev100(ev100) == pytest.approx(luminance, rel=1e-12)
    assert units.ev100_from_luminance(luminance) == pytest.approx(ev100, abs=1e-12)
    assert units.ev100_from_illuminance(illuminance) == pytest.approx(ev100, abs=1e-12)
    assert units.SATURATION_LUMINANCE * 2.0**ev100 == pytest.approx(saturation, rel=1e-9)


# C = 250: E = 2.5 x 2^EV100, flat receptor (ISO 2720:1974)
@pytest.mark.parametrize(
    ("lux", "ev100"),
    [(100_000, 15.2877), (10_000, 11.9658), (500, 7.6439), (100, 5.3219), (3.4, 0.4436)],
)
def test_exposure_value_of_known_illuminances(lux, ev100):
    assert units.ev100_from_illuminance(lux) == pytest.approx(ev100, abs=1e-4)


def test_incident_and_reflected_metering_agree_on_a_grey_of_16_percent():
    # pi K / C = 0.157: the reflectance for which both meters read the same. EV 10 is 2,560 lx; a
    # matt surface has the luminance reflectance x E / pi (Lambert).
    luminance = 0.15708 * 2560 / math.pi
    assert units.ev100_from_illuminance(2560) == pytest.approx(10, abs=1e-12)
    assert units.ev100_from_luminance(luminance) == pytest.approx(10, abs=1e-4)


def test_the_caution_names_what_it_is_not():
    assert "no lighting calculation" in units.READ_FROM_PICTURE
