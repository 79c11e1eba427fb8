"""Views of several kinds with their first recipes, each worked out once."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

import evenfall

SCENES = Path(__file__).with_name("scenes")


@pytest.fixture(scope="session")
def scene(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], evenfall.View]:
    """A view of other make by its name, in a folder of that name; not to be written into."""
    made: dict[str, evenfall.View] = {}

    def view(name: str) -> evenfall.View:
        if name not in made:
            folder = tmp_path_factory.mktemp(name)
            shutil.copy(SCENES / f"{name}.exr", folder)
            evenfall.survey_folder(folder, write=folder / "first.toml")
            made[name] = evenfall.open(folder / "first.toml").keep()
        return made[name]

    return view
