"""Passes and moods in the words and units of a report."""

from __future__ import annotations

import platform
from functools import cache
from importlib.metadata import version
from typing import Any

from evenfall.camera.state import CameraState
from evenfall.light.gain import stops_of
from evenfall.mix.balance import Balance, LightBalance
from evenfall.passes.header import PassHeader
from evenfall.passes.image import PixelCensus
from evenfall.recipe import ResolvedMood
from evenfall.run.report import LightReport, MoodReport

__all__ = ["describe_light", "describe_mood", "versions"]

_COMPUTES_WITH = ("evenfall", "numpy", "OpenEXR", "imagecodecs", "Pillow", "tifffile")


@cache
def versions() -> dict[str, str]:
    """Versions of evenfall, of Python, and of what makes a difference to pixels."""
    return {"python": platform.python_version()} | {name: version(name) for name in _COMPUTES_WITH}


def describe_light(header: PassHeader, census: PixelCensus, fingerprint: str) -> LightReport:
    """Describe a pass that was read."""
    facts = header.path.stat()
    return LightReport(
        file=str(header.path),
        layer=header.layer,
        part=header.part,
        fingerprint=fingerprint,
        bytes=facts.st_size,
        modified_ns=facts.st_mtime_ns,
        nan_pixels=census.nan,
        infinite_pixels=census.infinite,
        negative_pixels=census.negative,
        overflow_pixels=census.overflow,
        replaced_pixels=census.replaced,
    )


def describe_mood(
    mood: ResolvedMood, balance: Balance, camera: CameraState, notes: tuple[str, ...]
) -> MoodReport:
    """Describe a mood's balance and exposure."""
    return MoodReport(
        title=mood.title,
        lights={
            light: _describe_balance(part)
            for light, part in balance.lights.items()
            if any(part.factors)
        },
        exposure=_describe_camera(camera),
        notes=[*balance.notes, *camera.notes, *notes],
    )


def _describe_balance(balance: LightBalance) -> dict[str, Any]:
    described: dict[str, Any] = {
        "gain": balance.gain,
        "gain_stops": stops_of(balance.gain),
        "factors": list(balance.factors),
    }
    tint = balance.tint
    if tint.xy is not None:
        described["xy"] = list(tint.xy)
    if tint.kelvin is not None:
        described |= {"kelvin": tint.kelvin, "duv": tint.duv}
    return described


def _describe_camera(camera: CameraState) -> dict[str, Any]:
    described: dict[str, Any] = {
        "factor": camera.exposure_factor,
        "stops": stops_of(camera.exposure_factor),
        "matrix": camera.matrix.tolist(),
    }
    if camera.reading is not None:
        described["reading"] = {
            "luminance": camera.reading.luminance,
            "target": camera.reading.target,
            "lit_share": camera.reading.lit_share,
        }
    if camera.ev100 is not None:
        described["ev100"] = camera.ev100
    return described
