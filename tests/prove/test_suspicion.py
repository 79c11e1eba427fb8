"""Whether pixels look display-encoded: the curve against IEC 61966-2-1, and no false alarm."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from evenfall.prove.suspicion import suspect_encoding, undo_srgb


def planes_of(rgb: np.ndarray) -> list[np.ndarray]:
    return [np.ascontiguousarray(rgb[..., channel]) for channel in range(3)]


def srgb(linear: np.ndarray) -> np.ndarray:
    power = 1.055 * np.maximum(linear, 1e-9) ** (1 / 2.4) - 0.055
    return np.where(linear <= 0.0031308, 12.92 * linear, power).astype(np.float32)


@pytest.mark.parametrize("samples", [16, 1024])
def test_rendered_passes_are_not_suspected(studio: Any, samples: int) -> None:
    rendered = type(studio)(studio.clean, samples)
    for rgb in (*rendered.passes().values(), rendered.beauty()):
        assert not suspect_encoding(planes_of(rgb)).suspected
        assert not suspect_encoding(planes_of(np.minimum(rgb, 1))).levels


def test_eight_bit_pictures_are_suspected(studio: Any) -> None:
    encoded = np.minimum(srgb(studio.beauty()), 1)
    eight_bit = np.round(encoded * 255) / np.float32(255)
    assert suspect_encoding(planes_of(eight_bit)).levels
    assert suspect_encoding(planes_of(eight_bit.astype(np.float16))).levels
    decoded = np.stack([undo_srgb(plane) for plane in planes_of(eight_bit)], -1)
    assert suspect_encoding(planes_of(decoded)).levels  # an 8-bit picture made linear again


def test_cut_off_encoded_beauty_is_suspected(studio: Any) -> None:
    encoded = np.minimum(srgb(studio.beauty()), 1).astype(np.float16)
    suspicion = suspect_encoding(planes_of(encoded))
    assert suspicion.ceiling
    assert suspicion.suspected
    assert len(suspicion.reasons) == 2


@pytest.mark.parametrize("dtype", [np.float16, np.float32])
def test_undoing_srgb_inverts_the_standard(dtype: type) -> None:
    linear = np.linspace(0, 4, 500, dtype=np.float32)
    tolerance = 5e-3 if dtype == np.float16 else 2e-6  # 11 bits, steepened 2.4 times
    assert np.allclose(undo_srgb(srgb(linear).astype(dtype)), linear, rtol=tolerance, atol=1e-6)
    assert undo_srgb(np.array([-0.5, 0.0], dtype)).tolist() == [0, 0]


def test_pictures_of_nothing_are_not_suspected() -> None:
    assert not suspect_encoding([np.zeros((8, 8), np.float32)] * 3).suspected
    assert not suspect_encoding([np.ones((1, 1), np.float16)] * 3).suspected
