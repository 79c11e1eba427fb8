"""Passes and moods in the words and units of a report."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from evenfall.camera.exposure import MeterPlan
from evenfall.camera.state import CameraState
from evenfall.develop.developed import DevelopedMood
from evenfall.light.gain import stops_of
from evenfall.mix.balance import LightBalance
from evenfall.passes.header import PassHeader
from evenfall.passes.image import PixelCensus
from evenfall.record.values import (
    ExposureReport,
    GainReport,
    MadeOf,
    MoodReport,
    PassReport,
    ReadingReport,
)

__all__ = ["census_notes", "describe_mood", "describe_pass"]

_COUNTS = ("nan", "infinite", "negative", "overflow", "replaced", "alpha", "huge")


def describe_pass(
    headers: Sequence[PassHeader], fingerprint: str | None, census: PixelCensus | None
) -> PassReport:
    """Describe a pass by the pictures that add up to it.

    Parameters
    ----------
    headers : sequence of PassHeader
        Of these pictures.
    fingerprint : str or None
        Of its files, where it is known.
    census : PixelCensus or None
        What was wrong with its pixels; None when it was not read.
    """
    header, *others = headers
    counts = {} if census is None else {f"{name}_pixels": getattr(census, name) for name in _COUNTS}
    return PassReport(
        file=str(header.path),
        layer=header.layer,
        part=header.part,
        added=tuple(other.label for other in others),
        fingerprint=fingerprint,
        **counts,
    )


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


def describe_mood(
    developed: DevelopedMood, made_of: MadeOf | None, passes: Mapping[str, str]
) -> MoodReport:
    """Describe a mood's balance and exposure.

    Parameters
    ----------
    developed : DevelopedMood
        The mood.
    made_of : MadeOf or None
        What it was made of, where that is known.
    passes : mapping of str to str
        Fingerprints of the passes that it follows from, by light.
    """
    lights = developed.balance.lights
    return MoodReport(
        title=developed.mood.title,
        lights={light: _describe_gain(lights[light]) for light in developed.balance.on},
        exposure=_describe_camera(developed.mood.camera.as_in, developed.meter, developed.camera),
        passes=passes,
        made_of=made_of,
        notes=developed.notes,
    )


def _describe_gain(balance: LightBalance) -> GainReport:
    tint = balance.tint
    return GainReport(
        gain=balance.gain,
        gain_stops=stops_of(balance.gain),
        factors=balance.factors,
        xy=tint.xy,
        kelvin=tint.kelvin,
        duv=None if tint.kelvin is None else tint.duv,
        colour_is_a_change=tint.assumed,
    )


def _describe_camera(
    as_in: str | None, meter: MeterPlan | None, camera: CameraState
) -> ExposureReport:
    reading = camera.reading
    return ExposureReport(
        factor=camera.exposure_factor,
        stops=stops_of(camera.exposure_factor),
        matrix=camera.matrix.tolist(),
        metered=None if meter is None else f"{', '.join(meter.lights)} in {meter.mood}",
        as_in=as_in,
        reading=None
        if reading is None
        else ReadingReport(
            luminance=reading.luminance, target=reading.target, lit_share=reading.lit_share
        ),
        ev100=camera.ev100,
    )
