"""What a recipe says of its moods, before any pixel is read: each question is asked once a mood."""

from __future__ import annotations

from dataclasses import replace

from evenfall.camera.exposure import LightsOn, MeterPlan, plan_meter
from evenfall.light.primaries import RgbSpace
from evenfall.mix.balance import Balance, balance_mood
from evenfall.mix.between import balance_between
from evenfall.mix.matching import (
    Matching,
    MeanNeed,
    counted_on_matches,
    means_needed,
    plan_matches,
)
from evenfall.recipe import Recipe, ResolvedMood, WhiteBalance
from evenfall.recipe.framed import where_metered
from evenfall.recipe.gains import Counted
from evenfall.system.opened import Remembered

__all__ = ["Asked", "white_balances"]


class Asked:
    """Answers of a recipe about its moods, worked out once each; safe to use from threads.

    What is wrong with a mood is raised whenever it is asked about, as a RecipeError.

    Parameters
    ----------
    recipe : Recipe
        The recipe.
    metered : Asked, optional
        Of the recipe in which exposure is measured for this one, where that is at hand.

    Attributes
    ----------
    metered : Asked or None
        The same; None where it is this one itself.

    Examples
    --------
    >>> from evenfall.develop.example import example_recipe
    >>> asked = Asked(example_recipe())
    >>> asked.meter("dusk").lights, asked.behind("dusk")
    (('sun',), ('dusk', 'day'))
    """

    def __init__(self, recipe: Recipe, metered: Asked | None = None) -> None:
        self.recipe = recipe
        if metered is None:
            elsewhere = where_metered(recipe)
            metered = None if elsewhere is None else Asked(elsewhere)
        self.metered = metered
        self.on = LightsOn(recipe)
        self._meters: Remembered[MeterPlan | None] = Remembered()
        self._matchings: Remembered[tuple[Matching, ...]] = Remembered()
        self._counted: Remembered[dict[str, Counted]] = Remembered()
        self._balances: Remembered[Balance] = Remembered()
        self._views: Remembered[Asked] = Remembered()

    def mood(self, name: str) -> ResolvedMood:
        """Give a mood by name."""
        return self.recipe.moods[name]

    def meter(self, mood: str) -> MeterPlan | None:
        """Say what is metered for a mood; None when its camera does not meter."""
        if self.metered is not None:
            return self.metered.meter(self.keys(mood)[0])
        return self._meters.get(mood, lambda: plan_meter(self.on, self.mood(mood)))

    def elsewhere(self, mood: str) -> Asked:
        """Answers of the view from which a mood takes its exposure.

        Raises
        ------
        KeyError
            When it has its own.
        """
        view = self.recipe.exposed_as[mood].view
        return self._views.get(str(view.path), lambda: Asked(_for_its_exposure(view)))

    def taken(self, mood: str) -> dict[str, Asked]:
        """Give the moods whose exposure a mood needs and that take it from another view."""
        taking = [key for key in self.keys(mood) if key in self.recipe.exposed_as]
        return {key: self.elsewhere(key) for key in taking}

    def matchings(self, mood: str) -> tuple[Matching, ...]:
        """Say what a mood matches to what, in the order of solving."""
        return self._matchings.get(mood, lambda: plan_matches(self.recipe, self.mood(mood)))

    def counted(self, mood: str) -> dict[str, Counted]:
        """Give lights that count from a mood in which their gain is solved, with how they count."""
        return self._counted.get(mood, lambda: counted_on_matches(self.recipe, self.mood(mood)))

    def keys(self, mood: str) -> tuple[str, ...]:
        """Give the moods between which a frame stands; a mood itself otherwise."""
        between = self.mood(mood).between
        if between is None:
            return (mood,)
        names = (between.first, between.second) if between.share else (between.first,)
        return tuple(dict.fromkeys(names))

    def means(self, mood: str) -> tuple[MeanNeed, ...]:
        """Means that the gains of a mood are solved from, in moods that it counts from too."""
        return tuple(dict.fromkeys(need for key in self.keys(mood) for need in self._means(key)))

    def _means(self, mood: str) -> tuple[MeanNeed, ...]:
        bases = dict.fromkeys(counted.mood for counted in self.counted(mood).values())
        counted = (need for base in bases for need in self.means(base))
        return tuple(dict.fromkeys((*counted, *means_needed(self.matchings(mood)))))

    def balance(self, mood: str, space: RgbSpace) -> Balance:
        """Give gains and tints of a mood, as far as pixels do not decide; matched lights at 1."""
        key = mood, space.chromaticities
        return self._balances.get(key, lambda: self._balance(mood, space))

    def _balance(self, mood: str, space: RgbSpace) -> Balance:
        between = self.mood(mood).between
        if between is None:
            return balance_mood(self.recipe, self.mood(mood), space)
        first = self.balance(between.first, space)
        if between.share == 0:
            return first
        return balance_between(first, self.balance(between.second, space), between.share, space)

    def neutral_moods(self, mood: str) -> tuple[str, ...]:
        """Moods in which the neutral spots of a mood are measured."""
        found = (
            balance.neutral_mood or key
            for key in (mood, *self.keys(mood))
            for balance in white_balances(self.mood(key))
            if balance.neutral is not None and self.mood(key).between is None
        )
        return tuple(dict.fromkeys(found))

    def behind(self, mood: str) -> tuple[str, ...]:
        """Name a mood, and those that are metered or hold a neutral spot for it."""
        plans = [self.meter(key) for key in self.keys(mood)]
        metered = (plan.mood for plan in plans if plan is not None)
        return tuple(dict.fromkeys((mood, *self.keys(mood), *metered, *self.neutral_moods(mood))))

    def measured_lights(self, mood: str, space: RgbSpace) -> tuple[str, ...]:
        """Lights that must be measured before a mood can be exposed, in the recipe's order."""
        plans = [self.meter(key) for key in self.keys(mood)]
        needed = {light for plan in plans if plan is not None for light in plan.lights}
        for other in self.neutral_moods(mood):
            needed.update(self.balance(other, space).on)
        return tuple(light for light in self.recipe.model.lights if light in needed)

    def lights(self, mood: str, space: RgbSpace) -> tuple[str, ...]:
        """Lights whose passes will be read for a mood, in the recipe's order.

        For a display of progress; what was read is known when it was read.
        """
        needed = {*self.balance(mood, space).on, *self.measured_lights(mood, space)}
        for other in self.behind(mood):
            needed.update(need.light for need in self.means(other))
        return tuple(light for light in self.recipe.model.lights if light in needed)

    def lights_without_meter(self, mood: str, space: RgbSpace) -> tuple[str, ...]:
        """Lights whose passes a mood follows from where its exposure is given beforehand."""
        needed = set(self.balance(mood, space).on)
        for other in self.neutral_moods(mood):
            needed.update(self.balance(other, space).on)
        for other in (mood, *self.neutral_moods(mood)):
            needed.update(need.light for need in self.means(other))
        return tuple(light for light in self.recipe.model.lights if light in needed)


def _for_its_exposure(recipe: Recipe) -> Recipe:
    """Leave out what exposure does not follow from, so that nothing is measured for it."""
    moods = {
        name: replace(
            mood, camera=mood.camera.model_copy(update={"white_balance": None}), regions=()
        )
        for name, mood in recipe.moods.items()
    }
    return replace(recipe, moods=moods)


def white_balances(mood: ResolvedMood) -> list[WhiteBalance]:
    """White balances of a mood: the camera's and those of its regions."""
    found = [mood.camera.white_balance, *(region.white_balance for region in mood.regions)]
    return [balance for balance in found if balance is not None]
