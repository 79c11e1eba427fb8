"""What a change does beyond the lights it names: to meters that read them, and to ratios."""

from __future__ import annotations

from evenfall.compare.standing import stand
from evenfall.errors import Fault, RecipeError
from evenfall.recipe import Meter, Recipe
from evenfall.recipe.words.suggesting import joined
from evenfall.recipe.words.wording import step_words

__all__ = ["check_what_hangs_on_lights", "metering_notes"]

_SAME_STOPS = 1e-6


def check_what_hangs_on_lights(recipe: Recipe) -> None:
    """Check that meters have something to read, and that no light is matched to one that is off.

    Raises
    ------
    RecipeError
        With every fault; nothing has been written then.
    """
    from evenfall.camera.exposure import LightsOn, plan_meter
    from evenfall.mix.matching import plan_matches

    on = LightsOn(recipe)
    faults: list[Fault] = []
    for mood in recipe.moods.values():
        try:
            plan_meter(on, mood)
            plan_matches(recipe, mood)
        except RecipeError as error:
            faults += error.faults
    if faults:
        raise RecipeError(dict.fromkeys(faults))


def metering_notes(before: Recipe, after: Recipe) -> list[str]:
    """Say which moods are exposed otherwise because the meter reads a light that has changed."""
    moved = {
        mood: [
            light
            for light in after.model.lights
            if not stand(before, mood, light).is_near(stand(after, mood, light), _SAME_STOPS)
        ]
        for mood in after.moods
    }
    if not any(_may_be_read(after, mood, lights) for mood in moved for lights in moved.values()):
        return []
    from evenfall.camera.exposure import LightsOn, plan_meter

    on, told = LightsOn(after), dict[str, list[str]]()
    for name, mood in after.moods.items():
        plan = plan_meter(on, mood)
        read = [] if plan is None else [one for one in plan.lights if one in moved[plan.mood]]
        if plan is not None and read:
            said = f"the meter reads {joined(plan.lights, 'and')} in {plan.mood}"
            ways = {
                round(stand(after, plan.mood, one).stops - stand(before, plan.mood, one).stops, 6)
                for one in plan.lights
            }
            against = f"go {step_words(-ways.pop())} for it" if len(ways) == 1 else "move with it"
            told.setdefault(f"{said}: exposures {against}, of ", []).append(name)
    return [f"{said}{joined(moods, 'and')}" for said, moods in told.items()]


def _may_be_read(recipe: Recipe, mood: str, lights: list[str]) -> bool:
    """Whether a mood's meter may read one of these lights, told without looking closely."""
    meter = recipe.moods[mood].camera.meter
    if not lights or not isinstance(meter, Meter):
        return False
    if meter.of == "key":
        return any(recipe.model.lights[light].role == "key" for light in lights) or all(
            part.role != "key" for part in recipe.model.lights.values()
        )
    return True
