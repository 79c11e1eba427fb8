"""Halves to singles and their products, held against NumPy's own conversion of every half."""

from __future__ import annotations

import numpy as np
import pytest

from evenfall.mix.halves import multiply, spread, widen

BITS = np.arange(1 << 16, dtype=np.uint16).view(np.float16)
FINITE = BITS[np.isfinite(BITS)]


def test_every_half_is_widened_exactly() -> None:
    widened = widen(FINITE, np.empty(FINITE.shape, np.float32))
    assert widened.tobytes() == FINITE.astype(np.float32).tobytes()


@pytest.mark.parametrize(
    "factor", [0.0, -0.0, 1.0, -3.3, 1e-44, 1e-38, 0.1, 32767.9, 32768.0, 70000.0, -1e33]
)
def test_products_have_the_bytes_of_those_of_widened_halves(factor: float) -> None:
    single = np.float32(factor)
    spread_out = spread(FINITE, np.empty(FINITE.shape, np.float32))
    with np.errstate(under="ignore"):
        found = multiply(spread_out, single, np.empty_like(spread_out), is_spread=True)
        assert found.tobytes() == (FINITE.astype(np.float32) * single).tobytes()


def test_singles_are_multiplied_as_they_are() -> None:
    singles = np.array([0.1, -7e20, 3e-40], np.float32)
    assert spread(singles, np.empty(3, np.float32)) is singles
    found = multiply(singles, np.float32(0.3), np.empty(3, np.float32), is_spread=False)
    assert found.tobytes() == (singles * np.float32(0.3)).tobytes()


def test_a_product_that_singles_do_not_hold_is_told() -> None:
    spread_out = spread(np.array([65504], np.float16), np.empty(1, np.float32))
    with np.errstate(over="raise"), pytest.raises(FloatingPointError):
        multiply(spread_out, np.float32(1e35), np.empty(1, np.float32), is_spread=True)
