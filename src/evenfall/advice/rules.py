"""The advice of a senior colleague, each piece with its reason and a word that silences it.

The rules are common practice of architectural photography and visualisation. Nothing is refused
because of them.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence

from evenfall.advice.colour_codes import codes_as_factors
from evenfall.advice.colours import unknown_colours
from evenfall.advice.facts import FrameFacts, MoodFacts
from evenfall.advice.hdr import hdr_unused
from evenfall.advice.lightness import lighter_than_before, murky_moods
from evenfall.advice.naming import roles_unlike_names, suns_after_sunset
from evenfall.advice.picture_sizes import enlarged
from evenfall.camera.exposure import LightsOn, MeterPlan, plan_meter
from evenfall.errors import Advice
from evenfall.light.gain import factor_said
from evenfall.passes.mending.cures import AGAINST_NOISE
from evenfall.recipe import Recipe, ResolvedMood
from evenfall.recipe.gains import is_relative
from evenfall.recipe.places import dotted
from evenfall.recipe.words.suggesting import joined

__all__ = ["ADVICE_CODES", "NOISE_SHOWS_LIGHTNESS", "advise", "advise_on_facts"]

ADVICE_CODES: Mapping[str, str] = {
    "no-key": "no light has the role key, or the key is off in every mood",
    "fixtures-metered": "the exposure meter sees fixtures",
    "outdoor-on-by-day": "outdoor fixtures are on in a day exterior",
    "fixtures-off-at-dusk": "no fixture is on at dusk or night",
    "only-brightness": "a mood differs from another only in brightness",
    "sun-after-sunset": "the sun is on in a mood that says dusk, night or blue hour",
    "role-unlike-name": "a light's name plainly says another role than the one it has",
    "rgb-of-255": "factors for R, G, B look like the codes of a colour",
    "enlarged": "a deliverable is larger than the passes",
    "colour-not-known": "a mood asks for a colour of a light whose rendered colour is not known",
    "counted-twice": "a pass holds the light of others that are on as well",
    "fill-over-key": "the fill is brighter than the key",
    "noise-shows": "a mood's noise shows in the displayed picture",
    "highlights-clipped": "much of the displayed picture is clipped, or more than its lamps",
    "murky": "a mood is darker than pictures of its time of day are, and has no lights in it",
    "lighter-than-before": "a dusk is lighter than its day, or a night than its dusk",
    "fireflies": "a pass has single bright pixels that its neighbours do not have",
    "plate-not-seen": "a plate stands behind passes that have no alpha and cover it",
    "hdr-unused": "an HDR deliverable of a look that ends at display white",
    "no-plate": "part of the view is see-through, and no plate is behind it",
}

NOISE_SHOWS_LIGHTNESS = 1.0
"""Standard deviation of L* from which grain is seen; about one just noticeable difference."""

_CLIPPED_SHARE = 0.05
_BURNT_SHARE = 0.03
_BARE_SHARE = 0.02
_SAME_BALANCE = 0.02
_FIXTURES = ("fixture", "outdoor fixture")


def advise(recipe: Recipe, frames: Sequence[FrameFacts] = ()) -> list[Advice]:
    """Say what can be said from the recipe alone, before any pass is read.

    Parameters
    ----------
    recipe : Recipe
    frames : sequence of FrameFacts
        Of its deliverables, if the size of the passes is known.

    Returns
    -------
    list of Advice
        Without what the recipe silences.
    """
    found = [
        *_no_key(recipe),
        *_fixtures_metered(recipe),
        *_outdoor_by_day(recipe),
        *_fixtures_off(recipe),
        *_only_brightness(recipe),
        *suns_after_sunset(recipe),
        *roles_unlike_names(recipe),
        *unknown_colours(recipe),
        *codes_as_factors(recipe),
        *enlarged(recipe, frames),
        *hdr_unused(recipe),
        *_unknown_silence(recipe),
    ]
    return [advice for advice in found if advice.code not in recipe.model.silence]


def advise_on_facts(recipe: Recipe, moods: Sequence[MoodFacts]) -> list[Advice]:
    """Say what the measured moods show.

    Parameters
    ----------
    recipe : Recipe
    moods : sequence of MoodFacts

    Returns
    -------
    list of Advice
        Without what the recipe silences.
    """
    found = [advice for mood in moods for advice in _measured(mood)]
    found += [*murky_moods(recipe, moods), *lighter_than_before(recipe, moods)]
    return [advice for advice in found if advice.code not in recipe.model.silence]


def _lights_on(recipe: Recipe, mood: ResolvedMood, roles: Sequence[str]) -> list[str]:
    lights = recipe.model.lights
    return [
        name
        for name, setting in mood.lights.items()
        if lights[name].role in roles and not setting.is_off
    ]


def _no_key(recipe: Recipe) -> Iterator[Advice]:
    on = LightsOn(recipe)
    plans = [plan_meter(on, mood) for mood in recipe.moods.values()]
    metered = any(plan is not None and plan.meter.of == "key" for plan in plans)
    if _metered_on_the_sky(recipe, plans):
        return
    if not any(light.role == "key" for light in recipe.model.lights.values()):
        why = "exposure is set to the key" if metered else "lights are measured against the key"
        yield Advice(
            "no-key",
            "lights",
            "no light has the role key",
            f"{why}; give the strongest directional light role = 'key'",
        )
    elif not any(_lights_on(recipe, mood, ["key"]) for mood in recipe.moods.values()):
        yield Advice(
            "no-key",
            "moods",
            "the key is off in every mood",
            "the meter has nothing to expose to and takes the mix; switch the key on in one mood, "
            "or say what to meter in camera.meter.of"
            if metered
            else "lights are measured against the key, and there is none; switch it on in one "
            "mood, or silence this where no key is meant",
        )


def _metered_on_the_sky(recipe: Recipe, plans: Sequence[MeterPlan | None]) -> bool:
    """Whether every meter names lights, and all of them are skies: an overcast day."""
    metering = [plan for plan in plans if plan is not None]
    return bool(metering) and all(
        plan.meter.of not in ("key", "mix")
        and all(recipe.model.lights[light].role == "sky" for light in plan.lights)
        for plan in metering
    )


def _fixtures_metered(recipe: Recipe) -> Iterator[Advice]:
    on, seen = LightsOn(recipe), set[MeterPlan]()
    for mood in recipe.moods.values():
        plan = plan_meter(on, mood)
        if plan is None or plan.meter.of == "key" or plan in seen:
            continue
        seen.add(plan)
        fixtures = [name for name in plan.lights if recipe.model.lights[name].role in _FIXTURES]
        if fixtures:
            yield Advice(
                "fixtures-metered",
                dotted((*(("moods", mood.name) if mood.own_meter else ()), "camera", "meter")),
                f"the meter sees {joined(fixtures, 'and')}",
                "a bright lamp in view pulls the exposure down and changes it with every lamp you "
                "touch; meter the key alone and add fixtures afterwards",
            )


def _outdoor_by_day(recipe: Recipe) -> Iterator[Advice]:
    if recipe.model.project.scene == "interior":
        return
    if recipe.model.project.scene is None and any(
        light.role == "fixture" for light in recipe.model.lights.values()
    ):
        return
    for mood in recipe.moods.values():
        on = _lights_on(recipe, mood, ["outdoor fixture"])
        if mood.time_of_day == "day" and on:
            yield Advice(
                "outdoor-on-by-day",
                dotted(("moods", mood.name, "lights")),
                f"{joined(on, 'and')} on in a day exterior",
                "outdoor fixtures stay off by day: next to the sun they look like a mistake",
            )


def _fixtures_off(recipe: Recipe) -> Iterator[Advice]:
    fixtures = [n for n, light in recipe.model.lights.items() if light.role in _FIXTURES]
    for mood in recipe.moods.values():
        evening = mood.time_of_day in ("dusk", "night")
        if evening and fixtures and not _lights_on(recipe, mood, _FIXTURES):
            yield Advice(
                "fixtures-off-at-dusk",
                dotted(("moods", mood.name, "lights")),
                f"no fixture is on ({joined(fixtures, 'and')} off)",
                "at dusk and night nearly everything is on; warm windows against a cool sky are "
                "what the picture is about",
            )


def _only_brightness(recipe: Recipe) -> Iterator[Advice]:
    """Find moods that are as an earlier one, up to one factor for all lights."""
    alike: dict[tuple[str, ...], list[tuple[str, tuple[float, ...]]]] = {}
    for mood in recipe.moods.values():
        if mood.between is not None:  # a frame is as its moods are
            continue
        key, gains = _all_but_brightness(mood), _gains(mood)
        level, width = _tilt(gains), max(1, len(gains)) * _SAME_BALANCE
        near = [str(round(level / width) + step) for step in (-1, 0, 1)]
        for name, others in (each for place in near for each in alike.get((*key, place), ())):
            ratios = [one / other for one, other in zip(gains, others, strict=True)]
            if not ratios or max(ratios) - min(ratios) <= _SAME_BALANCE * max(ratios):
                yield Advice(
                    "only-brightness",
                    dotted(("moods", mood.name)),
                    f"differs from {name} only in brightness",
                    "another time of day changes how lamps stand to sky and warm to cool; change "
                    "gains and tints light by light, the white balance, or the plate",
                )
                break
        else:
            alike.setdefault((*key, near[1]), []).append((mood.name, gains))


def _tilt(gains: Sequence[float]) -> float:
    """Return a number that moods have nearly alike which differ only in brightness."""
    return sum(math.log(gain / gains[0]) for gain in gains)


def _all_but_brightness(mood: ResolvedMood) -> tuple[str, ...]:
    """Everything that two moods have alike which differ only in brightness."""
    parts = [
        mood.look,
        mood.plate,
        mood.daylight,
        mood.camera.white_balance,
        *mood.overlays,
        *mood.regions,
    ]
    said = [part.model_dump_json() if part is not None else "" for part in parts]
    for setting in mood.lights.values():
        absolute = not setting.is_off and not is_relative(setting.gain)
        kept = setting.model_dump_json() if absolute else repr(setting.tint)
        said.append("off" if setting.is_off else kept)
    return (*said, f"{len(mood.overlays)} {len(mood.regions)}")


def _gains(mood: ResolvedMood) -> tuple[float, ...]:
    """Factors of the lights that are on; 1 where a gain does not go by how it was rendered."""
    on = [setting for setting in mood.lights.values() if not setting.is_off]
    return tuple(
        float(factor_said(setting) or 1) if is_relative(setting.gain) else 1.0 for setting in on
    )


def _unknown_silence(recipe: Recipe) -> Iterator[Advice]:
    from difflib import get_close_matches

    for code in recipe.model.silence:
        if code not in ADVICE_CODES:
            close = get_close_matches(code, ADVICE_CODES, n=1)
            yield Advice(
                "unknown-silence",
                "silence",
                f"'{code}' is no advice" + (f"; did you mean '{close[0]}'?" if close else ""),
                f"known: {', '.join(ADVICE_CODES)}",
            )


def _measured(mood: MoodFacts) -> Iterator[Advice]:
    place = dotted(("moods", mood.mood))
    key = sum(light.luminance for light in mood.lights if light.role == "key")
    for light in mood.lights:
        if light.role == "fill" and light.luminance > key > 0:
            yield Advice(
                "fill-over-key",
                dotted(("moods", mood.mood, "lights", light.name)),
                f"the fill gives {light.luminance / key:.1f} times the light of the key over "
                "the whole picture",
                "a fill that outshines the key flattens the picture and reverses its shadows; "
                "try match = { to = <the key>, ratio = '4:1' }",
            )
    if mood.noise_lightness is not None and mood.noise_lightness > NOISE_SHOWS_LIGHTNESS:
        noisiest = sorted(mood.lights, key=lambda light: light.noise_share or 0.0, reverse=True)
        names = joined((light.name for light in noisiest[:2] if light.noise_share), "and")
        yield Advice(
            "noise-shows",
            place,
            f"noise shows: L* varies by {mood.noise_lightness:.1f} in the worst 5 % of the picture",
            f"render longer: {names}; or {AGAINST_NOISE}",
        )
    burnt = mood.burnt_share > _BURNT_SHARE
    if burnt or mood.clipped_share > _CLIPPED_SHARE:
        yield Advice(
            "highlights-clipped",
            place,
            f"{mood.burnt_share:.0%} of the picture is clipped where no lamp is seen"
            if burnt
            else f"{mood.clipped_share:.0%} of the picture is clipped",
            "lower exposure_stops, let the curve hold more highlights, or meter with "
            "method = 'highlights'",
        )
    if mood.bare_share > _BARE_SHARE:
        yield Advice(
            "no-plate",
            place,
            f"{mood.bare_share:.0%} of the picture is see-through with nothing behind it: black",
            f"put a picture of the surroundings there: {place}.plate = {{ file = '...' }}",
        )
