"""Anybody's folder: each habit of the gallery is surveyed, and its first recipe is mixed.

Truth is what the gallery planted: which pictures are lights, their roles, the beauty, and the exact
sum of all lights.
"""

from __future__ import annotations

import os
from collections.abc import Hashable, Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from gallery import HABITS, Planted
from gallery.habits import Habit

import evenfall
from evenfall.recipe.starter_scene import FirstMoods, StarterLight
from evenfall.solve.first_moods import solve_first_moods
from evenfall.solve.first_recipe import first_recipe
from evenfall.survey.survey import survey_folder
from evenfall.survey.surveyed import Survey

ROUNDING = 2e-3
"""Relative: a few half floats were rounded, and added up."""


@pytest.fixture(scope="module", params=HABITS, ids=[habit.__name__ for habit in HABITS])
def surveyed(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> tuple[Planted, Survey]:
    habit: Habit = request.param
    folder = tmp_path_factory.mktemp(habit.__name__) / "passes"
    folder.mkdir()
    planted = habit(folder)
    return planted, survey_folder(folder, **planted.options)


@pytest.fixture(scope="module")
def moods_of_names() -> Iterator[None]:
    """Balances are solved roughly, and once for all habits that name the same lights.

    What is solved is held by tests/solve/test_first_recipe.py.
    """
    solved: dict[Hashable, FirstMoods] = {}

    def once(lights: Sequence[StarterLight], *said: Any) -> FirstMoods:
        names = tuple((light.name, light.role) for light in lights)
        if names not in solved:
            solved[names] = solve_first_moods(lights, *said)
        return solved[names]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("evenfall.solve.stage._HALVINGS", 3)
        patch.setattr("evenfall.solve.first_balance._ROUNDS", 1)
        patch.setattr("evenfall.solve.first_recipe.solve_first_moods", once)
        yield


def test_lights_beauty_and_data_are_what_was_planted(surveyed: tuple[Planted, Survey]) -> None:
    planted, survey = surveyed
    readable = [light for light in survey.lights if light.name in planted.lights]
    others = [light.name for light in survey.lights if light.name not in planted.lights]
    assert [name for name in others if "leisten" not in name] == []
    assert {light.name for light in readable} == set(planted.lights)
    beauty = None if survey.beauty is None else survey.beauty.place
    assert beauty == planted.beauty
    assert {light.name for light in readable if not light.sure} == set(planted.unsure)
    assert {each.place for each in survey.of_kind("left out")} == set(planted.left_out)
    if planted.data is not None:
        assert len(survey.of_kind("data")) == planted.data


def test_roles_are_what_was_planted(surveyed: tuple[Planted, Survey]) -> None:
    planted, survey = surveyed
    found = {light.name: light.role.role for light in survey.lights}
    for name, truth in planted.lights.items():
        assert truth.role in (None, found[name]), name


@pytest.mark.usefixtures("moods_of_names")
def test_the_first_recipe_mixes_exactly_what_was_planted(
    surveyed: tuple[Planted, Survey],
) -> None:
    planted, survey = surveyed
    path = survey.folder.with_name("first.toml")
    text = first_recipe(survey, path)
    path.write_text(text + "\n[moods.everything]\n", encoding="utf-8")
    total = np.sum([truth.picture for truth in planted.lights.values()], axis=0)
    mixed = evenfall.open(path).mix("everything")
    np.testing.assert_allclose(mixed, total, rtol=ROUNDING, atol=1e-4 * float(total.mean()))


def test_nothing_is_left_unsaid_of_what_cannot_be_read(tmp_path: Path) -> None:
    from gallery.habits import broken_and_missing

    broken_and_missing(tmp_path)
    said = {each.file: each.reason for each in survey_folder(tmp_path).unreadable}
    assert "is a broken link" in said["lantern.exr"]
    assert "is a folder" in said["fill.exr"]
    assert set(said) >= {"strip.exr", "notes.exr", "lantern.exr", "fill.exr"}
    if hasattr(os, "mkfifo"):
        assert "is not a regular file" in said["fire.exr"]
