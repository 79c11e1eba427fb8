"""Which passes to render, before anything is rendered: what is on and off in each, and how to save.

The plan comes from a recipe or from a plain list of lights. `plan_text.sheet_text` writes it
for a terminal or a text file, `drawings.plan_page` as a page to print.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from evenfall.errors import Fault, UsageError
from evenfall.passes.mending.cures import INSTALL_DENOISER
from evenfall.recipe.lights import Role
from evenfall.recipe.words.wording import rendered_words
from evenfall.survey.names import role_from_name
from evenfall.survey.words import ROLE_WORDS

if TYPE_CHECKING:
    from evenfall.recipe import Recipe

__all__ = [
    "CAUTIONS",
    "FORMAT",
    "Caution",
    "PassPlan",
    "PlannedLight",
    "parse_light",
    "plan_from_recipe",
    "plan_passes",
]


@dataclass(frozen=True)
class Caution:
    """One thing that keeps passes additive, and why."""

    title: str
    text: str


CAUTIONS = (
    Caution(
        "Lock the camera",
        "No change of view, lens, depth of field, size or crop between passes; one moved pixel "
        "shows as an edge in every mood.",
    ),
    Caution(
        "One light, all of its light",
        "Everything else off, also in the surroundings. Keep its bounced light: reflections, "
        "glass and indirect light belong to the pass, and hiding a lamp from the camera is not "
        "switching it off.",
    ),
    Caution(
        "The same settings in every pass",
        "Samples, bounces, clamping of bright samples, materials and geometry as in the beauty. A "
        "limit on bright samples bends the sum: leave it off, or alike and high.",
    ),
    Caution(
        "No look",
        "No tone curve, exposure, white balance, vignette, glare or grain of the renderer's own: "
        "they are not additive and cannot be taken out again.",
    ),
    Caution(
        "No denoising of single passes",
        "Denoised pictures add up only nearly. Save them raw. Against noise render longer; or the "
        "recipe denoises all passes alike (passes.repair.denoise = true), or the finished mix "
        f"(look.denoise.strength = 1), which take {INSTALL_DENOISER}.",
    ),
    Caution(
        "The background once",
        "What is seen past the building belongs in one pass, usually the sky's, or in none "
        "with alpha 0 behind everything, if a plate comes there.",
    ),
    Caution(
        "One beauty to prove the sum",
        "The same view with all lights on, at the same settings. Without it a missing or doubled "
        "light cannot be found before the client finds it.",
    ),
)
"""What keeps passes additive; common practice, each follows from the linearity of light."""

FORMAT = (
    ("File", "OpenEXR, one file per pass, or all in one file with a layer per light"),
    ("Pixels", "half float; float where a lamp seen directly is above 65,504"),
    ("Values", "scene-linear, neither clamped nor encoded for a display"),
    ("Codec", "without loss: ZIP, ZIPS or PIZ"),
    ("Channels", "R, G, B, and A if a plate comes behind the view"),
    ("Colour space", "the same in all; written as chromaticities, else taken for BT.709"),
    ("Size", "the full view, the same in all"),
)
"""How to save passes."""

_WHAT_IS_ON: dict[Role, str] = {
    "key": "the sun or other key alone; sky and lamps off",
    "sky": "the sky alone, and the background; sun and lamps off",
    "fill": "the fill alone",
    "fixture": "these lamps alone; daylight off",
    "outdoor fixture": "these lamps alone, seen through the glass too; daylight off",
    "glow": "these glowing surfaces alone; daylight and lamps off",
}


@dataclass(frozen=True)
class PlannedLight:
    """A light whose pass is to be rendered.

    Parameters
    ----------
    name : str
        Its key in the recipe.
    role : str
        What it does in the picture.
    file : str
        File of its pass, and part or layer if it shares the file.
    title : str
        Name for people; the key if empty.
    rendered : str
        How it is to be rendered, in words: colour, lumens or candela; may be empty.
    """

    name: str
    role: Role
    file: str
    title: str = ""
    rendered: str = ""

    @property
    def label(self) -> str:
        """Name for people."""
        return self.title or self.name

    @property
    def what_is_on(self) -> str:
        """What is on in its pass, in words."""
        return _WHAT_IS_ON[self.role]


@dataclass(frozen=True)
class PassPlan:
    """All passes of a view.

    Parameters
    ----------
    title : str
        Project and view.
    lights : tuple of PlannedLight
        One pass each.
    beauty : str
        File of the beauty.
    size : str
        Size of the view in words, or empty.
    """

    title: str
    lights: tuple[PlannedLight, ...]
    beauty: str
    size: str = ""

    def matrix(self) -> tuple[tuple[bool, ...], ...]:
        """Say what is on: a row a pass and a row for the beauty, a column a light.

        Examples
        --------
        >>> plan_passes(["sun", "sky"]).matrix()
        ((True, False), (False, True), (True, True))
        """
        count = len(self.lights)
        single = tuple(tuple(row == column for column in range(count)) for row in range(count))
        return (*single, (True,) * count)


def parse_light(text: str) -> tuple[str, Role]:
    """Read a light as NAME or NAME:ROLE; without a role the name decides, else it is a fixture.

    Raises
    ------
    UsageError
        When the name is empty or the role is not known.

    Examples
    --------
    >>> parse_light("garden lamps"), parse_light("L3:key")
    (('garden lamps', 'outdoor fixture'), ('L3', 'key'))
    """
    name, _, said = text.partition(":")
    name, said = name.strip(), said.strip().lower()
    if not name:
        raise UsageError(Fault("", text, "a light without a name", "NAME or NAME:ROLE"))
    if not said:
        guess = role_from_name(name)
        return name, "fixture" if guess is None else guess.role
    for role in ROLE_WORDS:
        if said == role:
            return name, role
    allowed = f"one of {', '.join(sorted(ROLE_WORDS))}"
    raise UsageError(Fault("", text, f"no such role: {said!r}", allowed))


def plan_passes(lights: Sequence[str], *, title: str = "", prefix: str = "") -> PassPlan:
    """Plan the passes of a plain list of lights.

    Parameters
    ----------
    lights : sequence of str
        Each NAME or NAME:ROLE.
    title : str
        Project and view.
    prefix : str
        What the file names begin with.

    Raises
    ------
    UsageError
        When there is no light, one is named twice, or one does not read; all faults at once.

    Examples
    --------
    >>> [light.file for light in plan_passes(["sun", "Table lamps"], prefix="living").lights]
    ['living_sun.exr', 'living_table_lamps.exr']
    """
    if not lights:
        raise UsageError("no lights; name at least one, such as: sun sky pendants")
    planned: list[PlannedLight] = []
    faults: list[Fault] = []
    for text in lights:
        try:
            name, role = parse_light(text)
        except UsageError as error:
            faults.extend(error.faults)
            continue
        key = _key(name)
        if any(light.name == key for light in planned):
            faults.append(
                Fault(
                    "",
                    text,
                    f"two lights would be named {key!r}",
                    hint="give each light a name of its own",
                )
            )
            continue
        planned.append(
            PlannedLight(key, role, _file(prefix, key), title="" if name == key else name)
        )
    if faults:
        raise UsageError(faults)
    return PassPlan(title or "Passes", tuple(planned), _file(prefix, "beauty"))


def _key(name: str) -> str:
    return re.sub(r"[^a-z0-9]+", "_", name.lower()).strip("_") or "light"


def _file(prefix: str, key: str) -> str:
    return f"{prefix}_{key}.exr" if prefix else f"{key}.exr"


def plan_from_recipe(recipe: Recipe) -> PassPlan:
    """Plan the passes that a recipe names; its files need not exist yet."""
    model = recipe.model
    lights = tuple(
        PlannedLight(
            name,
            light.role,
            " + ".join(source.place for source in light.sources),
            light.title or "",
            rendered_words(light.rendered),
        )
        for name, light in model.lights.items()
    )
    beauty = model.passes.beauty
    file = "beauty.exr" if beauty is None else beauty.source.place
    title = ", ".join(part for part in (model.project.title, model.project.view) if part)
    return PassPlan(title or recipe.path.stem, lights, file)
