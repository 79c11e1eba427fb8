"""The parts of a report: frozen values that are written as JSON and read back."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, PlainValidator

__all__ = [
    "ExposureReport",
    "FileReport",
    "GainReport",
    "InputReport",
    "MadeOf",
    "MoodReport",
    "Name",
    "PassReport",
    "ReadingReport",
    "StatisticsReport",
    "Text",
    "Value",
]


def _is_text(value: Any) -> str:
    if not isinstance(value, str):
        raise ValueError("expected text")
    return value


def _as_path(value: Any) -> Path:
    if not isinstance(value, str | Path):
        raise ValueError("expected a path")
    return Path(value)


# Names of files may hold bytes that are no UTF-8, which pydantic refuses in texts.
Text = Annotated[str, PlainValidator(_is_text)]
Name = Annotated[Path, PlainValidator(_as_path)]


class Value(BaseModel):
    """A frozen part of a report; what it does not know is left out when it is read."""

    model_config = ConfigDict(frozen=True, extra="ignore")


class MadeOf(Value):
    """What a picture was made of.

    Parameters
    ----------
    facts : str
        Digest of all that is known before a file is opened: the recipe's part, sizes, versions.
    inputs : mapping of str to str
        SHA-256 of every file that was opened for it, by its path as seen from the report's folder.
    """

    facts: str
    inputs: Mapping[Text, str]

    @property
    def digest(self) -> str:
        """One digest of all of it."""
        text = json.dumps([self.facts, sorted(self.inputs.items())])
        return hashlib.sha256(text.encode(errors="surrogatepass")).hexdigest()


class InputReport(Value):
    """A file as it was last read: by its path as seen from the report's folder.

    Parameters
    ----------
    sha256 : str
        Of its bytes.
    bytes, modified_ns, changed_ns : int
        Size and times of change: of its contents, and of anything about it.
    """

    sha256: str
    bytes: int
    modified_ns: int
    changed_ns: int


class PassReport(Value):
    """A light's pass.

    Parameters
    ----------
    file : str
        The pass file; the first of several that add up to it.
    layer, part : str
        Names inside the file; empty where it gives none.
    added : tuple of str
        Further pictures that add up to it, by file, layer and part; empty for most.
    fingerprint : str or None
        ``"sha256:..."`` of the file or files, as they were read; None when that is not known.
    nan_pixels, infinite_pixels, negative_pixels, overflow_pixels, replaced_pixels : int or None
        What was wrong with its pixels; None when it was not read.
    alpha_pixels, huge_pixels : int or None
        Those whose alpha was NaN or infinite, and those brighter than any light.
    """

    file: Text
    layer: Text
    part: Text
    added: tuple[Text, ...] = ()
    fingerprint: str | None = None
    nan_pixels: int | None = None
    infinite_pixels: int | None = None
    negative_pixels: int | None = None
    overflow_pixels: int | None = None
    replaced_pixels: int | None = None
    alpha_pixels: int | None = None
    huge_pixels: int | None = None


class GainReport(Value):
    """Gain and tint of a light in a mood.

    Parameters
    ----------
    gain, gain_stops : float
        As a factor on how it was rendered, and in stops.
    factors : tuple of 3 floats
        What R, G and B of its pass were multiplied by.
    xy : tuple of 2 floats or None
        Its colour, where it is known.
    kelvin, duv : float or None
        The same as a colour temperature.
    colour_is_a_change : bool
        Whether nobody knows how it was rendered, so that its colour was changed as if from white.
    """

    gain: float
    gain_stops: float
    factors: tuple[float, float, float]
    xy: tuple[float, float] | None = None
    kelvin: float | None = None
    duv: float | None = None
    colour_is_a_change: bool = False


class ReadingReport(Value):
    """What the meter read, in the passes' units, where that is brought to, and what counted."""

    luminance: float
    target: float
    lit_share: float


class ExposureReport(Value):
    """How a mood was exposed.

    Parameters
    ----------
    factor, stops : float
        What the mix was multiplied by.
    matrix : tuple of 3 tuples of 3 floats
        Exposure and white balance, in the passes' primaries.
    metered : str or None
        Which lights were metered, and in which mood.
    as_in : str or None
        Recipe of another view whose exposure this is.
    reading : ReadingReport or None
        What the meter read.
    ev100 : float or None
        EV at ISO 100 of camera settings that expose the same, where the passes' scale is known.
    """

    factor: float
    stops: float
    matrix: tuple[tuple[float, float, float], ...]
    metered: Text | None = None
    as_in: Text | None = None
    reading: ReadingReport | None = None
    ev100: float | None = None


class StatisticsReport(Value):
    """What a mood's picture came to.

    Parameters
    ----------
    mix_mean : tuple of 3 floats
        Mean R, G, B of the mix, in the passes' primaries and units.
    clipped_share : float or None
        Share of pixels with a channel at the top of an sRGB display of 8 bits; None when no picture
        was made for one.
    black_share : float or None
        Share of pixels with all channels at its bottom.
    """

    mix_mean: tuple[float, float, float]
    clipped_share: float | None = None
    black_share: float | None = None


class MoodReport(Value):
    """A mood as it was made: balance, exposure, statistics.

    Parameters
    ----------
    title : str
        Name for people.
    lights : mapping of str to GainReport
        By light that is on.
    exposure : ExposureReport
        How it was exposed.
    passes : mapping of str to str
        Fingerprints of the passes that it follows from, by light.
    made_of : MadeOf or None
        What its pictures were made of, taken together; None when that is not known.
    statistics : StatisticsReport or None
        None when it was not finished.
    notes : tuple of str
        What a person should know.
    """

    title: Text
    lights: Mapping[Text, GainReport]
    exposure: ExposureReport
    passes: Mapping[Text, str] = {}
    made_of: MadeOf | None = None
    statistics: StatisticsReport | None = None
    notes: tuple[Text, ...] = ()


class FileReport(Value):
    """A file of a run.

    Parameters
    ----------
    path : Path
        Its final name.
    mood : str
        Whose; empty for the contact sheet.
    format : str
        As recipes write it.
    made_of : MadeOf or None
        What it was made of; None when that is not known, and in a dry run.
    bytes : int or None
        Size; None as long as it is not made.
    sha256 : str or None
        Of the file.
    kept : bool
        True when the file was left from an earlier run, being what this run would have made.
    """

    path: Name
    mood: Text
    format: str
    made_of: MadeOf | None = None
    bytes: int | None = None
    sha256: str | None = None
    kept: bool = False

    @property
    def is_there(self) -> bool:
        """Whether it was made or kept."""
        return self.sha256 is not None
