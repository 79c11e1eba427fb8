"""Passes and moods in the words and units of a report."""

from __future__ import annotations

import hashlib
import os
import re
from collections.abc import Sequence
from functools import cache
from importlib.metadata import distribution
from pathlib import Path
from typing import Any

import evenfall
from evenfall.camera.exposure import MeterPlan
from evenfall.camera.state import CameraState
from evenfall.develop.developed import DevelopedMood
from evenfall.light.gain import stops_of
from evenfall.mix.balance import LightBalance
from evenfall.passes.header import PassHeader
from evenfall.passes.image import PixelCensus
from evenfall.record.report import LightReport, MoodReport

__all__ = ["census_notes", "describe_light", "describe_mood", "note_census", "versions"]

_COMPUTES_WITH = (
    "evenfall",
    "numpy",
    "OpenEXR",
    "opencolorio",
    "imagecodecs",
    "imageio",
    "Pillow",
    "scipy",
    "tifffile",
    "zlib-ng",
)
_VERSION_LINE = re.compile(r"^Version: *(\S+)", re.MULTILINE)


@cache
def versions() -> dict[str, str]:
    """Versions of evenfall and of what makes a difference to pixels; and a digest of our code."""
    found = {name: _version(name) for name in _COMPUTES_WITH}
    return found | {"evenfall code": _code_digest()}


def _version(package: str) -> str:
    """Version of an installed package, without parsing all that is said of it."""
    installed = distribution(package)
    found = _VERSION_LINE.search(installed.read_text("METADATA") or "")
    return found[1] if found else installed.version


def _code_digest() -> str:
    """Digest of the package's files, so that a changed installation is told from the released."""
    root = str(Path(evenfall.__file__).parent)
    paths = [
        f"{folder}/{name}"
        for folder, _, names in os.walk(root)
        for name in names
        if name.endswith(".py")
    ]
    digest = hashlib.sha256()
    for path in sorted(paths):
        digest.update(f"{path[len(root) + 1 :].replace(os.sep, '/')}\0".encode())
        digest.update(Path(path).read_bytes())
    return digest.hexdigest()[:16]


def describe_light(headers: Sequence[PassHeader]) -> LightReport:
    """Describe a pass before it is read, by the pictures that add up to it, without fingerprint."""
    header, *others = headers
    facts = header.path.stat()
    return LightReport(
        file=str(header.path),
        layer=header.layer,
        part=header.part,
        bytes=facts.st_size,
        modified_ns=facts.st_mtime_ns,
        changed_ns=facts.st_ctime_ns,
        added=[other.label for other in others],
    )


def note_census(light: LightReport, census: PixelCensus) -> None:
    """Note what was wrong with a pass's pixels."""
    light.nan_pixels = census.nan
    light.infinite_pixels = census.infinite
    light.negative_pixels = census.negative
    light.overflow_pixels = census.overflow
    light.replaced_pixels = census.replaced
    light.alpha_pixels = census.alpha
    light.huge_pixels = census.huge


def census_notes(light: str, census: PixelCensus) -> list[str]:
    """Say what was replaced in a pass, and what looks wrong with it.

    Examples
    --------
    >>> census_notes("sun", PixelCensus(nan=3, replaced=3))
    ['sun: 3 pixels are not numbers (NaN); 3 pixels replaced']
    >>> census_notes("sky", PixelCensus(infinite=1, replaced=1))
    ['sky: 1 pixel is infinite; 1 pixel replaced']
    >>> census_notes("lamp", PixelCensus(alpha=2))
    ['lamp: 2 pixels have an alpha that is no number: it was mended, their colour kept']
    """
    clipped = "at the largest half value, 65504: clipped when stored"
    mended = "an alpha that is no number: it was mended"
    huge = "brighter than any light"
    if census.brightest is not None:
        huge += f", {census.brightest}"
    said = [
        f"1 pixel {of_one}" if count == 1 else f"{count} pixels {of_many}"
        for count, of_one, of_many in (
            (census.nan, "is not a number (NaN)", "are not numbers (NaN)"),
            (census.infinite, "is infinite", "are infinite"),
            (census.replaced, "replaced", "replaced"),
            (census.alpha, f"has {mended}, its colour kept", f"have {mended}, their colour kept"),
            (census.overflow, clipped, clipped),
            (census.huge, f"is {huge}", f"are {huge}"),
        )
        if count
    ]
    return [f"{light}: {'; '.join(said)}"] if said else []


def describe_mood(developed: DevelopedMood) -> MoodReport:
    """Describe a mood's balance and exposure."""
    return MoodReport(
        title=developed.mood.title,
        lights={
            light: _describe_balance(part)
            for light, part in developed.balance.lights.items()
            if any(part.factors)
        },
        exposure=_describe_camera(developed.meter, developed.camera),
        notes=list(developed.notes),
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


def _describe_camera(meter: MeterPlan | None, camera: CameraState) -> dict[str, Any]:
    described: dict[str, Any] = {
        "factor": camera.exposure_factor,
        "stops": stops_of(camera.exposure_factor),
        "matrix": camera.matrix.tolist(),
    }
    if meter is not None:
        described["metered"] = f"{', '.join(meter.lights)} in {meter.mood}"
    if camera.reading is not None:
        described["reading"] = {
            "luminance": camera.reading.luminance,
            "target": camera.reading.target,
            "lit_share": camera.reading.lit_share,
        }
    if camera.ev100 is not None:
        described["ev100"] = camera.ev100
    return described
