"""The first recipe of a folder: what was found, written so that a person can go on with it."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

from evenfall.errors import UsageError
from evenfall.light.primaries import BT709
from evenfall.recipe.lights import Rendered, Source
from evenfall.recipe.model import Beauty
from evenfall.recipe.starter import starter_recipe
from evenfall.recipe.starter_scene import LeftOut, StarterLight
from evenfall.recipe.toml_values import toml_text
from evenfall.solve.first_moods import solve_first_moods
from evenfall.survey.lamp_colour import LampColour
from evenfall.survey.names import light_names, role_from_name
from evenfall.survey.surveyed import Picture, Survey, SurveyedLight

__all__ = ["first_recipe"]

_LAMPS = ("fixture", "outdoor fixture", "glow")
_MOST_LEFT_OUT = 12
_RINGS = 0.001  # of the pixels of a pass


def first_recipe(survey: Survey, path: Path) -> str:
    """Write the first recipe of a folder.

    Parameters
    ----------
    survey : Survey
        What lies in the folder.
    path : Path
        Where the recipe will lie: its name becomes the title, and the passes' folder is named from
        there.

    Returns
    -------
    str
        TOML that loads without faults.

    Raises
    ------
    UsageError
        When there is no light that a recipe can name.
    """
    unwritable = [light for light in survey.lights if not _can_be_written(light)]
    lights = [light for light in survey.lights if _can_be_written(light)]
    if not lights:
        raise UsageError(_why_none(survey, unwritable))
    beauty = survey.beauty if survey.beauty and _is_text(survey.beauty.file) else None
    uses_view = any("{view}" in survey.file_names[p.file] for li in lights for p in li.pictures)
    starters = [_starter_light(light, survey) for light in lights]
    pictures = {light.name: light.reduced.means for light in lights}
    return starter_recipe(
        starters,
        moods=solve_first_moods(starters, pictures, survey.space or BT709),
        title=path.stem.replace("_", " ").capitalize(),
        passes_folder=_relative(survey.folder, path),
        beauty=None if beauty is None else Beauty(**vars(_source(beauty, survey))),
        frame=survey.frame,
        view=survey.camera if uses_view else None,
        left_out=[*_left_out(survey), *map(_not_utf8, unwritable)],
        repairs=[*_repairs(survey), *_areas(survey, path)],
    )


def _why_none(survey: Survey, unwritable: list[SurveyedLight]) -> str:
    if unwritable:
        return f"{survey.folder}: {_not_utf8(unwritable[0]).reason}"
    held = ", ".join(dict.fromkeys(each.kind for each in survey.pictures))
    more = f"; all pictures are taken for {held}" if held else ""
    return (
        f"{survey.folder}: no lights found, so there is no recipe to write{more}. Render one pass "
        "per light, or name lights by hand"
    )


def _relative(folder: Path, path: Path) -> str:
    try:
        return Path(os.path.relpath(folder.resolve(), path.resolve().parent)).as_posix()
    except ValueError:  # on another drive
        return folder.resolve().as_posix()


def _is_text(name: str) -> bool:
    try:
        name.encode("utf-8")
    except UnicodeEncodeError:
        return False
    return True


def _can_be_written(light: SurveyedLight) -> bool:
    return all(_is_text(picture.file) for picture in light.pictures)


def _not_utf8(light: SurveyedLight) -> LeftOut:
    file = os.fsencode(light.pictures[0].file).decode("utf-8", "backslashreplace")
    return LeftOut(
        light.name,
        None,
        f"{file}: the name of this file is not UTF-8, so no recipe can say it; rename the file, "
        "then it is a light",
    )


def _source(picture: Picture, survey: Survey) -> Source:
    file = survey.file_names.get(picture.file, picture.file)
    return Source(file, picture.layer or None, picture.part or None)


def _starter_light(light: SurveyedLight, survey: Survey) -> StarterLight:
    rendered, proposed, why = _rendered(light)
    doubts = dict.fromkeys(picture.reason for picture in light.pictures if not picture.sure)
    together = [p.reason for p in light.pictures if len(light.pictures) > 1 and p.sure]
    return StarterLight(
        light.name,
        tuple(_source(picture, survey) for picture in light.pictures),
        light.role.role,
        light.role.reason,
        light.title,
        rendered,
        why,
        proposed,
        (*(f"Please look: {doubt}." for doubt in doubts), *(f"{why}." for why in together[:1])),
    )


def _rendered(light: SurveyedLight) -> tuple[Rendered | None, Rendered | None, str]:
    """How a lamp was rendered, as known or as proposed, and where that was read."""
    lamp = light.lamp
    if lamp is None or light.role.role not in _LAMPS:
        return None, None, ""
    said = _colour(lamp)
    column, row = lamp.place
    if lamp.sure:
        return said, None, f"read off {lamp.pixels} pixels of the lamp itself, at {column}, {row}"
    return None, said, f"a guess from its {lamp.pixels} brightest pixels, at {column}, {row}"


def _colour(lamp: LampColour) -> Rendered:
    if lamp.kelvin is not None:
        return Rendered(kelvin=lamp.kelvin)
    return Rendered(xy=(round(lamp.xy[0], 4), round(lamp.xy[1], 4)))


def _left_out(survey: Survey) -> Iterator[LeftOut]:
    """Pictures that a person may want as lights after all."""
    maybe = [
        each
        for each in (*survey.of_kind("left out"), *survey.of_kind("part of light"))
        if (each.kind == "left out" or not each.sure) and _is_text(each.file)
    ]
    stems = ["_".join([Path(each.file).stem, each.part, each.layer]) for each in maybe]
    taken = {light.name for light in survey.lights}
    for each, name in zip(maybe[:_MOST_LEFT_OUT], light_names(stems), strict=False):
        key = name.key if name else "light"
        role = role_from_name(key)
        what = f"{each.what}, " if each.what else ""
        yield LeftOut(
            key if key not in taken else f"{key}_too",
            _source(each, survey),
            f"{what}{each.reason}",
            role.role if role else "fixture",
        )


def _repairs(survey: Survey) -> Iterator[str]:
    """Lines that mend what was found, with the reason."""
    if told := _flaws_told(survey, "fireflies", 1):
        yield f"Fireflies: {told}. This line mends them:"
        yield "repair.fireflies = true"
    headers = [p.facts.header for light in survey.lights for p in light.pictures if p.facts]
    pixels = max((header.width * header.height for header in headers), default=0)
    if told := _flaws_told(survey, "negative", max(1, round(_RINGS * pixels))):
        yield f"Below zero: {told}, as pixel filters leave them: dark rings around lamps."
        yield "This line lifts them to 0:"
        yield "repair.negatives = true"
    albedo, normal = (_guide(survey, what) for what in ("surface colour", "normals"))
    if albedo is not None:
        yield "To denoise all passes alike, with the guides that lie here (extra 'denoise'):"
        yield "repair.denoise = true"
        yield f"repair.albedo = {toml_text(albedo)}"
    if albedo is not None and normal is not None:
        yield f"repair.normal = {toml_text(normal)}"


def _flaws_told(survey: Survey, kind: str, least: int) -> str:
    """Tell pixels of a kind in the light that has most; nothing where none has so many."""
    counts = {
        light.name: sum(p.facts.flaws.get(kind, 0) for p in light.pictures if p.facts)
        for light in survey.lights
    }
    found = {name: count for name, count in counts.items() if count >= least}
    if not found:
        return ""
    worst = max(found, key=lambda name: found[name])
    more = f" and {len(found) - 1} more" if len(found) > 1 else ""
    return f"{found[worst]} pixels in {worst}{more}"


def _areas(survey: Survey, path: Path) -> Iterator[str]:
    """Lines that offer object numbers and mattes as areas."""
    found = _alone(survey, "ids and mattes")
    if found is None:
        return
    file = survey.file_names.get(found.file, found.file)
    if len(found.channels) == 1:
        area = f"ids = {toml_text(file)}, id = [1]"
        yield "Object numbers lie here; an area, for regions, aims and the meter, is then"
    else:
        mask = (Path(_relative(survey.folder, path)) / file).as_posix()
        area = f"mask = {toml_text(mask)}, channel = {toml_text(found.channels[0])}"
        yield "A matte lies here; an area, for regions, aims and the meter, is then"
    yield f"area = {{ {area} }}"


def _guide(survey: Survey, what: str) -> str | None:
    """File of a guide for the denoiser."""
    found = _alone(survey, what)
    return None if found is None else survey.file_names.get(found.file, found.file)


def _alone(survey: Survey, what: str) -> Picture | None:
    """Give a picture of data whose file holds nothing else."""
    held: dict[str, list[Picture]] = {}
    for each in survey.pictures:
        held.setdefault(each.file, []).append(each)
    for file, pictures in held.items():
        if len(pictures) == 1 and pictures[0].what == what and _is_text(file):
            return pictures[0]
    return None
