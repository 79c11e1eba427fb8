"""What differs between two states of a mood, in words, with everything it inherits applied."""

from __future__ import annotations

from collections.abc import Iterator

from evenfall.compare.difference import NOTHING, Difference, part_differences
from evenfall.compare.standing import stand, tint_of
from evenfall.recipe import LightSetting, Recipe, ResolvedMood
from evenfall.recipe.words.wording import counted_words, setting_words, step_words, stops_words

__all__ = ["light_difference", "mood_differences"]

_SAME_STOPS = 1e-6


def mood_differences(before: Recipe, after: Recipe, mood: str) -> tuple[Difference, ...]:
    """Say what differs in a mood that both recipes have, light by light and value by value.

    Only what a mood comes to is looked at: what is said in another place and comes to the same is
    no difference.

    Parameters
    ----------
    before, after : Recipe
        Both have the mood.
    mood : str
        Its name.
    """
    one, other = before.moods[mood], after.moods[mood]
    found = [
        difference
        for light in after.model.lights
        if light in before.model.lights
        and (difference := light_difference(before, after, mood, light)) is not None
    ]
    return (*found, *_values(one, other))


def light_difference(before: Recipe, after: Recipe, mood: str, light: str) -> Difference | None:
    """Say how a light of a mood differs; None where it does not."""
    one, other = before.moods[mood].lights[light], after.moods[mood].lights[light]
    stood, stands = stand(before, mood, light), stand(after, mood, light)
    same_gain = stood.is_near(stands, _SAME_STOPS)
    tints = [tint_of(setting) for setting in (one, other)]
    tints = [{} if tint == {"mired_shift": 0.0} else tint for tint in tints]  # no shift is none
    same_colour = tints[0] == tints[1] and one.hold_luminance == other.hold_luminance
    if (same_gain and same_colour) or (stood.is_off and stands.is_off):
        return None
    ways = []
    if not same_gain and stood.anchor == stands.anchor and not (stood.is_off or stands.is_off):
        ways.append(step_words(stands.stops - stood.stops))
    if one.kelvin and other.kelvin and one.kelvin != other.kelvin:
        mired = 1e6 / other.kelvin - 1e6 / one.kelvin
        ways.append(f"{'warmer' if mired > 0 else 'cooler'} {abs(mired):.0f}")
    words = _setting(one, light), _setting(other, light)
    return Difference(light, *words, ", ".join(ways))


def _setting(setting: LightSetting, light: str) -> str:
    held = {True: ", luminance held", False: ", luminance not held"}
    note = held.get(setting.hold_luminance, "") if setting.hold_luminance is not None else ""
    return setting_words(setting, light) + note


def _values(one: ResolvedMood, other: ResolvedMood) -> Iterator[Difference]:
    """Everything but the lights."""
    stops = one.camera.exposure_stops, other.camera.exposure_stops
    if abs(stops[0] - stops[1]) > _SAME_STOPS:
        yield Difference(
            "exposure", _exposure(one), _exposure(other), step_words(stops[1] - stops[0])
        )
    kelvins = _white(one), _white(other)
    if kelvins[0] != kelvins[1]:
        yield Difference("white balance", *kelvins)
    if one.camera.as_in != other.camera.as_in:
        views = (each.camera.as_in or NOTHING for each in (one, other))
        yield Difference("exposure as in", *views)
    for key in ("meter", "settings", "white_balance"):
        name = key.replace("_", " ")
        for found in part_differences(name, getattr(one.camera, key), getattr(other.camera, key)):
            if found.subject not in ("white balance", "white balance kelvin"):
                yield found
    yield from part_differences("", one.look, other.look)
    for key in ("title", "daylight", "plate", "overlays", "regions"):
        name = {"overlays": "overlay", "regions": "region"}.get(key, key)
        yield from part_differences(name, getattr(one, key), getattr(other, key))


def _white(mood: ResolvedMood) -> str:
    balance = mood.camera.white_balance
    if balance is None:
        return NOTHING
    return f"{balance.kelvin:g} K" if balance.kelvin is not None else "a neutral spot"


def _exposure(mood: ResolvedMood) -> str:
    words = (
        f"{stops_words(mood.camera.exposure_stops)} stops",
        counted_words(mood.counted_exposure),
    )
    return ", ".join(part for part in words if part)
