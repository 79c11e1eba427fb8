"""Look at a folder of passes: what each picture is, and what the lights are like."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from evenfall.errors import PassError
from evenfall.light.primaries import luminance_weights
from evenfall.passes.image import PassImage
from evenfall.passes.mending.clean import Flaws
from evenfall.passes.notes import notes_on
from evenfall.recipe.words.suggesting import joined
from evenfall.survey.judging import judge
from evenfall.survey.listing import Found, Listing, Unreadable, list_folder, listed, named_as
from evenfall.survey.looking import PassFacts, Seen, look_into
from evenfall.survey.names import LightName, compile_patterns, light_names, match_name
from evenfall.survey.roles import light_traits, propose_roles
from evenfall.survey.sums import added_up
from evenfall.survey.surveyed import Picture, Survey, SurveyedLight
from evenfall.survey.verdicts import Kind, Verdict

__all__ = ["OnImage", "survey_folder"]

OnImage = Callable[[Found, PassFacts, PassImage, Flaws], None]
"""Told of each picture that was read, before it is judged."""


def survey_folder(
    folder: Path,
    *,
    patterns: Sequence[str] = (),
    view: str | None = None,
    on_file: Callable[[str], None] | None = None,
    on_image: OnImage | None = None,
) -> Survey:
    """Look at all passes of a folder and the folders in it.

    Parameters
    ----------
    folder : Path
        The folder.
    patterns : sequence of str
        Name patterns that replace the documented ones; pictures that fit none are no lights.
    view : str or None
        Camera, for files of several views, or folders of several cameras; the first otherwise.
    on_file : callable, optional
        Told the name of each file that was read, in their order.
    on_image : callable, optional
        Told facts, pixels and flaws of each picture that may be light, one at a time.

    Raises
    ------
    UsageError
        When the folder does not exist or holds no pass, or a pattern does not read.
    PassError
        When none of its files can be read.
    """
    compile_patterns(patterns)
    listing = list_folder(folder, view)
    unreadable = list(listing.unreadable)
    seen = list(_read(folder, listing.pictures, unreadable, on_file, on_image))
    known = [each for each in listing.pictures if not _may_be_light(each)]
    if not seen and not known and not listing.channels and unreadable:
        raise PassError("\n".join(each.reason for each in unreadable))
    verdicts = _fitting(seen, judge(seen), patterns)
    members = _members(verdicts)
    names = _names(seen, members, patterns)
    judged = {
        id(each.found): _judged(each, verdict, names)
        for each, verdict in zip(seen, verdicts, strict=True)
    }
    judged |= {id(each): _known_by_name(each) for each in known}
    pictures = [judged[id(each)] for each in listing.pictures if id(each) in judged]
    lights = _lights(seen, members, names, judged)
    return Survey(
        folder,
        tuple(lights),
        (*pictures, *_channels(listing)),
        tuple(unreadable),
        (*listing.notes, *_notes(pictures), *_differences(pictures)),
        lights[0].pictures[0].facts.space if lights and lights[0].pictures[0].facts else None,
        listing.frame,
        listing.camera,
        listing.file_names,
    )


def _may_be_light(found: Found) -> bool:
    """Whether a picture has to be read: its names do not say that it holds no light."""
    return found.says.data is None or found.says.doubtful


def _read(
    folder: Path,
    pictures: Sequence[Found],
    unreadable: list[Unreadable],
    on_file: Callable[[str], None] | None,
    on_image: OnImage | None,
) -> Iterator[Seen]:
    """Look into the files, and let pixels go when they have been handed on."""
    by_file: dict[str, list[Found]] = {}
    for found in filter(_may_be_light, pictures):
        by_file.setdefault(found.file, []).append(found)
    for file, looked_at in look_into(folder, list(by_file.values())):
        if on_file is not None:
            on_file(file)
        if isinstance(looked_at, PassError):
            unreadable.append(Unreadable(file, str(looked_at)))
            continue
        for each in looked_at:
            if on_image is not None and each.sign is None and each.image and each.masks:
                on_image(each.found, each.facts, each.image, each.masks)
            yield replace(each, image=None, masks=None)


def _fitting(
    seen: Sequence[Seen], verdicts: Sequence[Verdict], patterns: Sequence[str]
) -> list[Verdict]:
    """Leave out lights that fit none of a recipe's name patterns."""
    return [
        Verdict("left out", "", "fits no name pattern")
        if patterns and verdict.kind == "light" and match_name(each.found.stem, patterns) is None
        else verdict
        for each, verdict in zip(seen, verdicts, strict=True)
    ]


def _members(verdicts: Sequence[Verdict]) -> dict[int, list[int]]:
    """Pictures of each light, by the number of its first."""
    members: dict[int, list[int]] = {}
    for number, verdict in enumerate(verdicts):
        if verdict.kind == "light" and verdict.light is not None:
            members.setdefault(verdict.light, []).append(number)
    return members


def _names(
    seen: Sequence[Seen], members: Mapping[int, Sequence[int]], patterns: Sequence[str]
) -> dict[int, LightName]:
    firsts = [seen[light].found for light in members]
    if patterns:
        stems = [found.stem for found in firsts]
    else:
        alone = len(firsts) == 1
        stems = [
            named_as(found, together=len(some) > 1, alone=alone)
            for found, some in zip(firsts, members.values(), strict=True)
        ]
    found = light_names(stems, patterns)
    return {light: name for light, name in zip(members, found, strict=True) if name is not None}


def _judged(each: Seen, verdict: Verdict, names: Mapping[int, LightName]) -> Picture:
    name = names.get(verdict.light) if verdict.light is not None else None
    return _picture(
        each.found,
        verdict.kind,
        verdict.what,
        verdict.reason,
        sure=verdict.sure,
        light="" if name is None else name.key,
        facts=each.facts,
    )


def _known_by_name(found: Found) -> Picture:
    return _picture(found, "data", found.says.data or "", f"named '{found.says.word}'")


def _picture(
    found: Found,
    kind: Kind,
    what: str,
    reason: str,
    *,
    sure: bool = True,
    light: str = "",
    facts: PassFacts | None = None,
) -> Picture:
    header = found.header
    inside = (header.layer, header.part, header.view, header.channels)
    return Picture(found.file, *inside, kind, what, reason, sure, light, facts)


def _channels(listing: Listing) -> Iterator[Picture]:
    for each in listing.channels:
        channels = each.channels
        names = [name.removeprefix(f"{channels.layer}.") for name in channels.channels]
        reason = f"channel{'s' if len(names) > 1 else ''} {joined(names, 'and', most=4)}"
        inside = (channels.layer, channels.part, channels.view, channels.channels)
        yield Picture(each.file, *inside, "data", each.what, reason)


def _lights(
    seen: Sequence[Seen],
    members: Mapping[int, Sequence[int]],
    names: Mapping[int, LightName],
    judged: Mapping[int, Picture],
) -> list[SurveyedLight]:
    reduced = {
        light: added_up([seen[number].blocks for number in numbers])
        for light, numbers in members.items()
    }
    facts = {light: [seen[number].facts for number in some] for light, some in members.items()}
    weights = {light: luminance_weights(some[0].space) for light, some in facts.items()}
    traits = {names[n].key: light_traits(picture, weights[n]) for n, picture in reduced.items()}
    roles = propose_roles(traits)
    means = {light: sum(each.mean_luminance for each in some) for light, some in facts.items()}
    total = sum(means.values())
    keys = [mean for light, mean in means.items() if roles[names[light].key].role == "key"]
    key = max(keys or means.values(), default=0.0)
    return [
        SurveyedLight(
            names[light].key,
            names[light].title,
            tuple(judged[id(seen[number].found)] for number in numbers),
            roles[names[light].key],
            means[light],
            max(each.peak_luminance for each in facts[light]),
            means[light] / total if total > 0 else 0.0,
            _stops(means[light], key),
            next((each.lamp for each in facts[light] if each.lamp), None),
            reduced[light],
        )
        for light, numbers in members.items()
    ]


def _stops(luminance: float, key: float) -> float | None:
    return float(np.log2(luminance / key)) if luminance > 0 and key > 0 else None


def _notes(pictures: Sequence[Picture]) -> list[str]:
    """Say what is odd about pictures that are added up, by their headers."""
    headers = {
        each.place: (each.facts.header,)
        for each in pictures
        if each.kind in ("light", "beauty") and each.facts
    }
    return notes_on(headers) if headers else []


def _differences(pictures: Sequence[Picture]) -> Iterator[str]:
    """Habits in which pictures differ that are added up all the same."""
    lit = [each for each in pictures if each.kind in ("light", "beauty") and each.facts]
    headers = [(each.place, each.facts.header) for each in lit if each.facts]
    alphas = {header.has_alpha: place for place, header in headers}
    if len(alphas) > 1:
        yield f"some have alpha ({alphas[True]}), others have none ({alphas[False]})"
    said_spaces = {header.chromaticities is not None: place for place, header in headers}
    if len(said_spaces) > 1:
        yield (
            f"some files say their primaries ({said_spaces[True]}), others do not "
            f"({said_spaces[False]}) and count as BT.709"
        )
    cropped = [place for place, header in headers if header.data_window != header.display_window]
    if cropped:
        yield (
            f"pixels end before the picture does, or go beyond it, in {listed(cropped)}: black "
            "is taken for what is not there, and what lies outside is left out"
        )
    whites = {header.white_luminance for _, header in headers if header.white_luminance}
    if len(whites) > 1:
        yield f"whiteLuminance differs: {', '.join(f'{each:g}' for each in sorted(whites))} cd/m2"
