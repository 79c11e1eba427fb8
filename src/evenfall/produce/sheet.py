"""The contact sheet of a run: its moods with their exposure and balance."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import numpy.typing as npt

from evenfall.deliver.jpeg import encode_jpeg
from evenfall.deliver.png import encode_png
from evenfall.deliver.provenance import Provenance
from evenfall.drawings.lettering import format_kelvin, format_stops, lacking_signs
from evenfall.drawings.logo import Logo, read_logo
from evenfall.drawings.sheet import SheetLight, SheetMood, SheetText, draw_sheet
from evenfall.light.colour import mired
from evenfall.light.primaries import BT709
from evenfall.light.tint import light_rgb
from evenfall.light.transfer import encode_srgb
from evenfall.produce.crew import Step
from evenfall.recipe import LightSetting, Recipe
from evenfall.recipe.together import heading_of_all, headings_of_views
from evenfall.recipe.words.suggesting import joined
from evenfall.recipe.words.wording import counted_words
from evenfall.record.values import GainReport, MoodReport

__all__ = ["DrawSheet", "SheetEncoded", "SheetView", "make_project_sheet", "make_sheet"]

_WHITE_KELVIN = 6504.0  # of BT.709 and most other primaries; correlated, CIE 15:2018
_WHITE_DUV = 0.02  # farther away light looks coloured, and kelvins mislead; common practice
Codes = npt.NDArray[np.uint8]


def make_sheet(
    recipe: Recipe,
    moods: Mapping[str, MoodReport],
    pictures: Mapping[str, Codes],
    provenance: Provenance,
    *,
    draft: bool,
    logo: Logo | None = None,
) -> bytes:
    """Draw and encode the contact sheet.

    Parameters
    ----------
    recipe : Recipe
        The recipe.
    moods : mapping of str to MoodReport
        What each mood came to, in the recipe's order.
    pictures : mapping of str to ndarray
        sRGB codes of each mood at the sheet's size.
    provenance : Provenance
        Record to embed.
    draft : bool
        Whether it shows drafts.
    logo : Logo, optional
        The studio's.
    """
    drawn = [_sheet_mood(recipe, name, mood, pictures[name]) for name, mood in moods.items()]
    note = _note(moods if recipe.model.sheet.figures else {}, draft=draft)
    view = recipe.model.project.view or ""
    title = recipe.model.project.title or recipe.path.stem
    return _drawn(recipe, drawn, title, view, note, provenance, logo)


@dataclass(frozen=True, eq=False)
class SheetView:
    """A view on the contact sheet of a project; parameters as those of `make_sheet`."""

    recipe: Recipe
    moods: Mapping[str, MoodReport]
    pictures: Mapping[str, Codes]
    provenance: Provenance


def make_project_sheet(
    views: Sequence[SheetView],
    name: str,
    provenance: Provenance,
    *,
    draft: bool,
    missing: str = "",
) -> bytes:
    """Draw and encode a contact sheet of several views, a row or more each, without their lights.

    Parameters
    ----------
    views : sequence of SheetView
        In their order. What is said of sheet and project counts as the first says it.
    name : str
        What the project is called where its views have no title in common.
    provenance : Provenance
        Record to embed.
    draft : bool
        Whether it shows drafts.
    missing : str
        What could not be made, which is said at the foot.

    Raises
    ------
    PixelSourceError
        When the studio's logo cannot be drawn.
    """
    drawn: list[SheetMood] = []
    recipes = [view.recipe for view in views]
    for view, heading in zip(views, headings_of_views(recipes), strict=True):
        for number, (key, mood) in enumerate(view.moods.items()):
            one = _sheet_mood(view.recipe, key, mood, view.pictures[key])
            drawn.append(replace(one, lights=(), heading="" if number else heading))
    recipe = recipes[0]
    logo = recipe.model.project.logo
    read = None if logo is None else read_logo(recipe.beside(logo))
    note = _note({}, draft=draft, missing=missing)
    title = heading_of_all(recipes, name)
    return _drawn(recipe, drawn, title, "", note, provenance, read)


def _drawn(
    recipe: Recipe,
    moods: Sequence[SheetMood],
    title: str,
    view: str,
    note: str,
    provenance: Provenance,
    logo: Logo | None,
) -> bytes:
    sheet, project = recipe.model.sheet, recipe.model.project
    codes = draw_sheet(
        moods,
        SheetText(
            title=title,
            view=view,
            date=sheet.date,
            round=sheet.round,
            author=project.author or "",
            copyright=project.copyright or "",
            note=note,
        ),
        columns=sheet.columns,
        picture_width=sheet.picture_width,
        logo=logo,
    )
    if sheet.format == "jpeg":
        return encode_jpeg(codes, provenance=provenance)
    return encode_png(codes, provenance=provenance)


@dataclass(frozen=True)
class SheetEncoded:
    """Result: the contact sheet is ready to be written."""

    data: bytes
    sha256: str
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class DrawSheet(Step[SheetEncoded]):
    """The contact sheet, drawn and encoded; parameters as those of `make_sheet`."""

    recipe: Recipe
    moods: Mapping[str, MoodReport]
    pictures: Mapping[str, Codes]
    provenance: Provenance
    draft: bool
    logo: Logo | None

    def work(self) -> Iterable[SheetEncoded]:
        """Draw and encode it."""
        data = make_sheet(
            self.recipe,
            self.moods,
            self.pictures,
            self.provenance,
            draft=self.draft,
            logo=self.logo,
        )
        yield SheetEncoded(data, hashlib.sha256(data).hexdigest(), self._notes())

    def _notes(self) -> tuple[str, ...]:
        """Say which signs of its texts it cannot show."""
        model = self.recipe.model
        said = [model.project.title, model.project.view, model.project.author]
        said += [model.project.copyright, model.sheet.date, model.sheet.round]
        said += [mood.title for mood in self.moods.values()]
        if model.sheet.figures:
            said += [light.title or name for name, light in model.lights.items()]
        lacking = lacking_signs(text for text in said if text)
        if not lacking:
            return ()
        signs = joined(lacking, "and", most=10)
        return (f"the fonts of sheets lack {signs}; a box stands in their place",)


def _note(moods: Mapping[str, MoodReport], *, draft: bool, missing: str = "") -> str:
    """Say at the foot what pictures and figures are not."""
    gains = [gain for mood in moods.values() for gain in mood.lights.values()]
    changed = any(gain.colour_is_a_change and gain.kelvin is not None for gain in gains)
    change = "mired: a change of colour, of a light whose own colour is not known"
    lacks = f"Not made, and not on this sheet: {missing}"
    words = ((lacks, bool(missing)), ("Draft", draft), (change, changed))
    said = [word for word, holds in words if holds]
    return "   \u00b7   ".join(said)


def _sheet_mood(recipe: Recipe, name: str, mood: MoodReport, picture: Codes) -> SheetMood:
    resolved = recipe.moods[name]
    if not recipe.model.sheet.figures:
        return SheetMood(title=mood.title, picture=picture)
    settings = [f"exposure {_stops(mood.exposure.stops)}"]
    if mood.exposure.as_in:
        settings.append(f"as in {Path(mood.exposure.as_in).stem}")
    elif mood.exposure.metered:
        settings.append(f"metered on {mood.exposure.metered}")
    if resolved.camera.white_balance is not None and resolved.camera.white_balance.kelvin:
        settings.append(f"white balance {resolved.camera.white_balance.kelvin:.0f} K")
    settings.append("studio view" if resolved.look.view else f"{resolved.look.tone.curve} curve")
    return SheetMood(
        title=mood.title,
        picture=picture,
        settings=tuple(settings),
        lights=tuple(
            _sheet_light(light.title or key, mood.lights.get(key), resolved.lights[key])
            for key, light in recipe.model.lights.items()
        ),
    )


def _stops(stops: float) -> str:
    return f"{format_stops(stops)} stops"


def _sheet_light(name: str, gain: GainReport | None, setting: LightSetting) -> SheetLight:
    if gain is None:
        return SheetLight(name, None)
    tint = ""
    if gain.kelvin is not None and abs(gain.duv or 0.0) <= _WHITE_DUV:
        tint = format_kelvin(gain.kelvin)
    swatch = None
    if gain.colour_is_a_change and gain.kelvin is not None:
        shift = f"{mired(gain.kelvin) - mired(_WHITE_KELVIN):+.0f} mired"
        tint = shift.replace("-", "\u2212")
    elif gain.xy is not None:
        rgb, _ = light_rgb(gain.xy, BT709)
        red, green, blue = (round(255 * float(v)) for v in encode_srgb(rgb / rgb.max()))
        swatch = (red, green, blue)
    return SheetLight(name, gain.gain_stops, tint, swatch, counted_words(setting.counted))
