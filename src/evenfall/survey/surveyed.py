"""What a survey finds out: pictures, lights, and the folder as a whole."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from evenfall.light.primaries import RgbSpace
from evenfall.prove.blocks import BlockPicture
from evenfall.survey.lamp_colour import LampColour
from evenfall.survey.listing import Unreadable
from evenfall.survey.looking import PassFacts
from evenfall.survey.names import RoleGuess
from evenfall.survey.verdicts import Kind

__all__ = ["Picture", "Survey", "SurveyedLight"]


@dataclass(frozen=True)
class Picture:
    """A picture of a file, or channels that make none, and what it is taken for.

    Parameters
    ----------
    file : str
        Relative to the folder.
    layer, part, view : str
        Where in the file; empty where the file gives no name.
    channels : tuple of str
        Their names in the file.
    kind : Kind
        ``"light"``, ``"beauty"``, ``"part of light"``, ``"data"`` or ``"left out"``.
    what : str
        What data, or which part of the light; empty for others.
    reason : str
        Why.
    sure : bool
        False where a person should look.
    light : str
        Name of the light that it is, or is a part of; empty for none.
    facts : PassFacts or None
        What can be told of its pixels; None where they were not read.
    """

    file: str
    layer: str
    part: str
    view: str
    channels: tuple[str, ...]
    kind: Kind
    what: str
    reason: str
    sure: bool = True
    light: str = ""
    facts: PassFacts | None = field(default=None, repr=False)

    @property
    def place(self) -> str:
        """File, part and layer, for tables."""
        return " / ".join(each for each in (self.file, self.part, self.layer) if each)


@dataclass(frozen=True)
class SurveyedLight:
    """A light, and the picture or pictures that add up to its pass.

    Parameters
    ----------
    name : str
        Proposed key for the recipe.
    title : str or None
        Name for people, where the key has lost something.
    pictures : tuple of Picture
        What adds up to it: usually one.
    role : RoleGuess
        Proposed role and why.
    mean_luminance, peak_luminance : float
        In scene units; the peak of several pictures is that of the brightest.
    share : float
        Of the light of all lights.
    stops_to_key : float or None
        Mean luminance against the key's (the brightest one's), in stops; None if it is black.
    lamp : LampColour or None
        Colour of a lamp that is seen directly.
    reduced : BlockPicture
        Means and grain of some 16,000 blocks, in the passes' primaries.
    """

    name: str
    title: str | None
    pictures: tuple[Picture, ...]
    role: RoleGuess
    mean_luminance: float
    peak_luminance: float
    share: float
    stops_to_key: float | None
    lamp: LampColour | None
    reduced: BlockPicture = field(repr=False, compare=False)

    @property
    def sure(self) -> bool:
        """Whether a person need not look."""
        return all(picture.sure for picture in self.pictures)


@dataclass(frozen=True)
class Survey:
    """A folder of passes.

    Parameters
    ----------
    folder : Path
        Where they lie.
    lights : tuple of SurveyedLight
        In the order of their files.
    pictures : tuple of Picture
        Everything that was found, in the order of files.
    unreadable : tuple of Unreadable
        Files that could not be read.
    notes : tuple of str
        What a person should know: other frames and views, windows and alpha that differ.
    space : RgbSpace or None
        Primaries of the lights; None where there is none.
    frame : int or None
        Frame that was surveyed of a sequence; None if no pass has several frames.
    camera : str or None
        Camera that was surveyed, where the names of files tell several.
    file_names : mapping of str to str
        By file: its name with ``#`` for the digits of a frame and ``{view}`` for a camera, where
        other files differ from it in these only.
    """

    folder: Path
    lights: tuple[SurveyedLight, ...]
    pictures: tuple[Picture, ...]
    unreadable: tuple[Unreadable, ...]
    notes: tuple[str, ...]
    space: RgbSpace | None = None
    frame: int | None = None
    camera: str | None = None
    file_names: Mapping[str, str] = field(default_factory=dict)

    @property
    def beauty(self) -> Picture | None:
        """The picture of all lights at once, if there is one."""
        return next((each for each in self.pictures if each.kind == "beauty"), None)

    def of_kind(self, kind: Kind) -> tuple[Picture, ...]:
        """Pictures that are taken for this."""
        return tuple(each for each in self.pictures if each.kind == kind)
