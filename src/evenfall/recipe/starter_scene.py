"""What a first recipe is written from: lights by what they do, and moods as worked out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from evenfall.recipe.lights import Rendered, Role, Source

__all__ = [
    "ROLE_ORDER",
    "FirstMood",
    "FirstMoods",
    "FirstSetting",
    "LeftOut",
    "Scene",
    "StarterLight",
]

ROLE_ORDER: tuple[Role, ...] = ("key", "sky", "fill", "fixture", "outdoor fixture", "glow")
"""In which order a recipe lists its lights: from the one that sets the exposure."""

_GROUPS: Mapping[Role, str] = {
    "key": "keys",
    "sky": "skies",
    "fill": "fills",
    "fixture": "fixtures",
    "outdoor fixture": "outdoor_fixtures",
    "glow": "glows",
}


@dataclass(frozen=True)
class StarterLight:
    """A light as it was found.

    Parameters
    ----------
    name : str
        Its key.
    sources : tuple of Source
        The pictures that add up to its pass; ``#`` in a file for the digits of a frame.
    role : Role
        What it does in the picture.
    reason : str
        Why it was given its role; becomes a comment.
    title : str or None
        Name for people.
    rendered : Rendered or None
        How it was rendered, if known.
    rendered_reason : str
        Where that was read; becomes a comment.
    proposed : Rendered or None
        How it may have been rendered; becomes a comment that a person can make a line.
    notes : tuple of str
        What a person should know; comments above it.
    """

    name: str
    sources: tuple[Source, ...]
    role: Role = "fixture"
    reason: str = ""
    title: str | None = None
    rendered: Rendered | None = None
    rendered_reason: str = ""
    proposed: Rendered | None = None
    notes: tuple[str, ...] = ()

    @classmethod
    def of_file(
        cls, name: str, file: str, role: Role = "fixture", reason: str = ""
    ) -> StarterLight:
        """Make a light whose pass is a file of its own."""
        return cls(name, (Source(file),), role, reason)


@dataclass(frozen=True)
class LeftOut:
    """A picture that is not among the lights, and why.

    Parameters
    ----------
    name : str
        A key, if it were a light.
    source : Source or None
        Where it is; None where a recipe cannot say it.
    reason : str
        Why it was left out.
    role : Role
        What it would do.
    """

    name: str
    source: Source | None
    reason: str
    role: Role = "fixture"


@dataclass(frozen=True)
class FirstSetting:
    """What a first mood asks of a light or a group.

    Parameters
    ----------
    on : bool or None
        False: off; True: on, as rendered; None: as the mood has it that this one is based on.
    stops : float or None
        Against how they were rendered, or, where `step` says so, against the mood it is based on.
    step : bool
        Whether the stops count from the mood that this one is based on.
    kelvin, mired_shift : float or None
        Their colour; at most one of both.
    comment : str
        Why, in some words.
    """

    on: bool | None = None
    stops: float | None = None
    step: bool = False
    kelvin: float | None = None
    mired_shift: float | None = None
    comment: str = ""


@dataclass(frozen=True)
class FirstMood:
    """A mood of a first recipe.

    Parameters
    ----------
    heading : tuple of str
        Comment lines above it.
    settings : mapping of str to FirstSetting
        What differs from the mood it is based on, by name of a light or group.
    exposure_stops : float or None
        Of its camera; None leaves it.
    exposure_step : bool
        Whether they count from the mood that this one is based on.
    exposure_comment : str
        Why.
    white_kelvin : float or None
        White balance of its camera.
    """

    heading: tuple[str, ...]
    settings: Mapping[str, FirstSetting] = field(default_factory=dict)
    exposure_stops: float | None = None
    exposure_step: bool = False
    exposure_comment: str = ""
    white_kelvin: float | None = None


@dataclass(frozen=True)
class FirstMoods:
    """The moods of a first recipe: day, dusk based on it, night based on dusk.

    Parameters
    ----------
    exposure_stops : float
        Of the recipe's camera, from what the meter finds.
    exposure_comment : str
        Why.
    white_kelvin : float or None
        White balance of the recipe's camera.
    day, dusk, night : FirstMood
        The moods.
    metered : str or None
        What the recipe's camera meters: ``"key"``, a light or group, or ``"mix"``; None: nothing.
    highlight_stops : float or None
        How far the tone curve reaches above grey; None leaves it.
    notes : tuple of str
        What a person should know; comments above the moods.
    """

    exposure_stops: float
    exposure_comment: str
    white_kelvin: float | None
    day: FirstMood
    dusk: FirstMood
    night: FirstMood
    metered: str | None = "key"
    highlight_stops: float | None = None
    notes: tuple[str, ...] = ()


class Scene:
    """The lights by what they do, and names under which a mood speaks of them.

    Parameters
    ----------
    lights : sequence of StarterLight
        Each with a name of its own.

    Examples
    --------
    >>> lamps = [StarterLight.of_file(name, f"{name}.exr") for name in ("pendant", "strip")]
    >>> Scene(lamps).names["fixture"]
    'fixtures'
    """

    def __init__(self, lights: Sequence[StarterLight]) -> None:
        taken = {light.name for light in lights}
        self.by_role = {role: [each for each in lights if each.role == role] for role in ROLE_ORDER}
        self.lights = [light for role in ROLE_ORDER for light in self.by_role[role]]
        self.names: dict[Role, str | None] = {}
        for role in ROLE_ORDER:
            name = self._name(role, taken)
            self.names[role] = name
            taken |= {name} if name else set()

    def _name(self, role: Role, taken: set[str]) -> str | None:
        """Name of the one light of a role, or of the group of several."""
        several = self.by_role[role]
        if len(several) < 2:
            return several[0].name if several else None
        name = _GROUPS[role]
        while name in taken:
            name = f"all_{name}"
        return name

    def named(self, settings: Mapping[Role, FirstSetting]) -> dict[str, FirstSetting]:
        """Name settings by lights and groups; roles without lights are left out."""
        return {
            name: setting
            for role, setting in settings.items()
            if (name := self.names[role]) is not None
        }

    def has(self, *roles: Role) -> bool:
        """Whether there is a light of one of these roles."""
        return any(self.by_role[role] for role in roles)
