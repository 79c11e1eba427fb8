"""The recipe as a whole: the one file a person writes."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from evenfall.recipe.base import Name, NamesFile, OrDropped, Part, Takes, Words
from evenfall.recipe.camera import Camera
from evenfall.recipe.clock import Clock
from evenfall.recipe.deliverables import Deliverable, Draft, Sheet
from evenfall.recipe.lights import Light, Source
from evenfall.recipe.look import Look
from evenfall.recipe.moods import Mood
from evenfall.recipe.sequence import Sequence

__all__ = ["FORMAT_VERSION", "Beauty", "Passes", "Project", "RecipeModel", "Repair"]

FORMAT_VERSION = 1


class Project(Part):
    """Whose picture it is; goes into sheets and metadata."""

    title: Words | None = Field(None, description="Name of the project.")
    view: Words | None = Field(None, description="Name of the view.")
    scene: Literal["interior", "exterior"] | None = Field(
        None,
        description="What the view shows, for advice; an interior if there is a light with role "
        "fixture.",
    )
    author: Words | None = Field(None, description="Who made it.")
    copyright: Words | None = Field(None, description="Copyright notice.")
    studio: Words | None = Field(
        None,
        description="Whose work it is; stands on boards and the review page, where the author "
        "stands otherwise.",
    )
    logo: Annotated[str | None, NamesFile("logo")] = Field(
        None, description="The studio's logo, PNG or SVG, relative to the recipe; for boards."
    )
    stage: Annotated[str | None, NamesFile("scene")] = Field(
        None,
        description="OpenUSD scene that the view was rendered from, relative to the recipe; "
        "`handback` writes a layer that brings a mood's balance into it.",
    )


class Beauty(Part):
    """The same view rendered with all lights at once; proves that the passes add up."""

    file: Annotated[Name, NamesFile("pass")] = Field(
        description="Picture file, relative to the passes' folder."
    )
    layer: Name | None = Field(None, description="Layer inside the file.")
    part: Name | None = Field(None, description="Part inside the file.")

    @property
    def source(self) -> Source:
        """The picture that is named."""
        return Source(self.file, self.layer, self.part)


class Repair(Part):
    """Mending of broken pixels; nothing is mended unless asked here, but NaN and Inf."""

    non_finite: Literal["black", "neighbours"] = Field(
        "black", description="What replaces NaN and Inf: 0, or the median of sound neighbours."
    )
    fireflies: bool = Field(False, description="Replace isolated outliers by their neighbours.")
    negatives: bool = Field(False, description="Lift negative values to 0.")
    denoise: bool = Field(
        False,
        description="Denoise every pass on its own with Open Image Denoise (extra 'denoise'). "
        "look.denoise denoises the finished mix instead.",
    )
    albedo: Annotated[Name | None, NamesFile("guide")] = Field(
        None, description="Albedo pass to guide the denoiser."
    )
    normal: Annotated[Name | None, NamesFile("guide")] = Field(
        None, description="Normal pass to guide the denoiser."
    )

    @property
    def goes_further(self) -> bool:
        """Whether more is to be mended than NaN and Inf, which reading replaces."""
        return self.fireflies or self.negatives or self.denoise


class Passes(Part):
    """Where the passes lie and how they are to be read."""

    folder: str = Field(".", description="Folder of the passes, relative to the recipe.")
    beauty: Beauty | None = Field(None, description="All lights at once, if rendered.")
    colour_space: (
        Literal["BT.709", "Display P3", "BT.2020", "Adobe RGB (1998)", "ACEScg", "ACES2065-1"]
        | None
    ) = Field(
        None,
        description="Primaries of passes whose files carry no chromaticities; BT.709 by default.",
    )
    luminance_scale: float | None = Field(
        None,
        ge=1e-9,
        le=1e9,
        description="cd/m2 of a pixel of luminance 1, if the files do not say (whiteLuminance).",
    )
    allow_links_outside: bool = Field(
        False, description="Follow symbolic links that leave the passes' folder."
    )
    frame: int | None = Field(
        None,
        ge=0,
        description="Frame number, for file names with #### in them; the names of pictures carry "
        "it behind that of the recipe.",
    )
    metered_frame: int | None = Field(
        None,
        ge=0,
        description="Frame in which exposure is measured and ratios are solved, for all frames, so "
        "that nothing flickers; each frame for itself otherwise. Runs of many frames set it.",
    )
    first_frame: int | None = Field(
        None,
        ge=0,
        description="Frame from which grain and dither move on, so that they do not stand still "
        "in front of a moving picture. Runs of many frames set it.",
    )
    time: Clock | None = Field(
        None,
        description="Time of day, for lights that have passes by the hour; a sequence sets it.",
    )
    sun_altitude_degrees: float | None = Field(
        None,
        ge=-90,
        le=90,
        description="Altitude of the sun, for lights that have passes by it; a sequence sets it.",
    )
    view: Name | None = Field(
        None, description="Camera, for file names with {view} and multi-view files."
    )
    name_patterns: tuple[str, ...] = Field(
        (),
        description="Patterns by which survey finds lights in file and layer names, instead of "
        "the documented ones; regular expressions with a group named 'light'.",
    )
    repair: Repair = Field(default_factory=Repair, description="How broken pixels are mended.")


class RecipeModel(Part):
    """The recipe: lights, exposure, look, moods, deliverables."""

    format: Literal[1] = Field(description="Version of the recipe format; 1.")
    based_on: str | None = Field(
        None,
        description="A recipe that this one builds on, relative to it: what several views share. "
        "What is said here is laid over it.",
    )
    project: Project = Field(default_factory=Project, description="Whose picture it is.")
    passes: Passes = Field(default_factory=Passes, description="Where the passes lie.")
    lights: dict[str, Annotated[Light, OrDropped(Light)]] = Field(
        min_length=1,
        description='Lights by name; "none" drops one of the recipe that this one builds on.',
    )
    groups: dict[
        str, Annotated[tuple[str, ...], Takes("a list of light names"), OrDropped(tuple[str, ...])]
    ] = Field(
        default_factory=dict,
        description='Lights gathered under a name; "none" drops an inherited group.',
    )
    camera: Camera = Field(default_factory=Camera, description="Exposure and white balance.")
    look: Look = Field(default_factory=Look, description="Tone curve, grade and finish.")
    moods: dict[str, Annotated[Mood, OrDropped(Mood)]] = Field(
        min_length=1, description='Moods by name; "none" drops an inherited one.'
    )
    sequence: Sequence | None = Field(None, description="An hour that passes, in frames.")
    deliverables: tuple[Deliverable, ...] = Field(
        (Deliverable(),), description="Files to make; an 8-bit sRGB PNG a mood otherwise."
    )
    sheet: Sheet = Field(default_factory=Sheet, description="The contact sheet.")
    draft: Draft = Field(default_factory=Draft, description="Quick drafts.")
    naming: Literal["folders", "names"] = Field(
        "folders",
        description="How deliverables of one round are told from those of another, once a round is "
        "kept: in folders such as pictures/round_2, or by names that end in _round_2.",
    )
    record: Literal["recipe", "with comments", "none"] = Field(
        "recipe",
        description="What deliverables carry inside, by which they can be made again: the recipe "
        "without its comments, as far as it speaks of that picture; its whole text as written, "
        "comments included; or nothing.",
    )
    silence: tuple[str, ...] = Field((), description="Advice that is not to be given, by code.")

    def deliverables_of(self, mood: str, *, of_many: bool = False) -> list[int]:
        """Numbers of the deliverables that are made of a mood, or of the sequence.

        Films are made of frames alone. Those of the sequence are the films, and what names it; all,
        where there is neither.
        """
        numbered = list(enumerate(self.deliverables))
        if self.sequence is not None and mood == self.sequence.name:
            films = [number for number, one in numbered if one.row.moves and not one.moods]
            named = [number for number, one in numbered if mood in one.moods]
            every = [number for number, one in numbered if not one.moods]
            return sorted({*films, *named}) or every
        asked = [number for number, one in numbered if not one.moods or mood in one.moods]
        if not of_many:
            return [number for number in asked if not self.deliverables[number].row.moves]
        return asked

    def shown_by(self, number: int, *, is_walk: bool) -> list[str]:
        """Name what a deliverable shows: moods, or the sequence, or both.

        Films show moods where these are a walk and no sequence goes by; of stills there are none.
        """
        hour = [] if self.sequence is None else [self.sequence.name]
        films_too = is_walk and not hour
        moods = [mood for mood in self.moods
                 if number in self.deliverables_of(mood, of_many=films_too)]  # fmt: skip
        return moods + [name for name in hour if number in self.deliverables_of(name)]
