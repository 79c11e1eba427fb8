"""Published tone curves against their formulas and numbers worked by hand, and the way back.

The constants are from memory of the publications: Hable's talk of 2010 (shoulder 0.15, linear 0.5,
its angle 0.1, toe 0.2, 0.02 and 0.3, white 11.2, twice the exposure), Narkowicz's fit of 2016.
"""

from __future__ import annotations

import numpy as np
import pytest

from evenfall.prove.curves import CURVES, rising_curve, undo_curve, undo_plane


def hable(x: float) -> float:
    a, b, c, d, e, f = 0.15, 0.50, 0.10, 0.20, 0.02, 0.30
    return (x * (a * x + c * b) + d * e) / (x * (a * x + b) + d * f) - e / f


def srgb(linear: float) -> float:
    """IEC 61966-2-1."""
    return 12.92 * linear if linear <= 0.0031308 else 1.055 * linear ** (1 / 2.4) - 0.055


# x (2.51 x + 0.03) / (x (2.43 x + 0.59) + 0.14): 0.086724 / 0.324932, and 2.54 / 3.16.
NARKOWICZ = {0.18: 0.266899, 1.0: 0.803797}


@pytest.mark.parametrize("light", [0.01, 0.18, 1.0, 4.0])
def test_curves_are_the_published_ones(light: float) -> None:
    filmic = hable(2 * light) / hable(11.2)
    reinhard = light / (1 + light)
    expected = {
        "display": srgb(light),
        "power 1/2.2": light ** (1 / 2.2),
        "x / (1 + x)": reinhard,
        "x / (1 + x), display": srgb(reinhard),
        "filmic": filmic,
        "filmic, display": srgb(filmic),
    }
    found = {name: float(CURVES[name](np.array([light]))[0]) for name in expected}
    assert found == pytest.approx(expected, rel=1e-5)


@pytest.mark.parametrize(("light", "shown"), NARKOWICZ.items())
def test_the_rational_curve_at_numbers_worked_by_hand(light: float, shown: float) -> None:
    expected = {"rational": shown, "rational, display": srgb(shown)}
    found = {name: float(CURVES[name](np.array([light]))[0]) for name in expected}
    assert found == pytest.approx(expected, rel=1e-5)


@pytest.mark.parametrize("name", CURVES)
def test_a_curve_undone_gives_the_light_back(name: str) -> None:
    light = np.geomspace(1e-3, 1.5, 200)  # below the end of every curve
    stored = CURVES[name](light)
    assert undo_curve(name, stored) == pytest.approx(light, rel=2e-3)
    single = undo_plane(name, stored.astype(np.float32))
    assert single == pytest.approx(light, rel=2e-3)
    half = stored.astype(np.float16)
    assert undo_plane(name, half) == pytest.approx(undo_curve(name, half.astype(float)), rel=1e-6)


def test_a_curve_nobody_published_is_found_from_its_values() -> None:
    """The cube root: what rises with the light is fitted; what is in proportion to it is not."""
    rng = np.random.default_rng(3)
    light = rng.gamma(2, 0.5, (3, 40, 40))
    keep = np.ones(light.shape, dtype=bool)
    found = rising_curve(np.cbrt(light), light, keep)
    assert found is not None
    at, back = found
    assert back[1:] == pytest.approx(at[1:] ** 3, rel=0.1)
    assert rising_curve(0.4 * light, light, keep) is None
