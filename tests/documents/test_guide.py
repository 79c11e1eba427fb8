"""What the documents tell a reader to write and to type works on the sample view, as written.

Lightness is CIE L* of the picture in sRGB, reckoned by colour-science. The bands of its median are
common practice, judged by looking at the pictures: a day is bright and not burnt, dusk keeps its
room beside the sky, night its pools of light.
"""

from __future__ import annotations

import warnings
from itertools import pairwise
from pathlib import Path

import numpy as np
import numpy.typing as npt

import evenfall

from .reading import README, blocks, snippets

BANDS = {"day": (55, 75), "dusk": (36, 50), "blue_hour": (34, 46), "night": (16, 32)}
"""Median CIE L* of the whole picture."""

MOST_BURNT = 0.04
"""Of the picture: lamps that are seen, and the patch of sun on a white table."""

STEP = 8
"""Between the medians of day and dusk, and of dusk and night."""

DRAFT = "\n[draft]\nwidth = 320\n"

Floats = npt.NDArray[np.float64]


def lightness(picture: Floats) -> Floats:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of optional packages that are not there
        import colour
    return np.asarray(colour.XYZ_to_Lab(colour.sRGB_to_XYZ(picture))[..., 0])


def drafts(folder: Path, text: str) -> dict[str, Floats]:
    """Every mood of a recipe beside the sample's passes, as a draft."""
    path = folder / "written.toml"
    path.write_text(text + DRAFT, encoding="utf-8")
    view = evenfall.open(path, draft=True).keep()
    return {mood: view.develop(mood).encoded().astype(np.float64) for mood in view.moods}


def the_lights(folder: Path) -> str:
    """The sample's recipe down to its lights."""
    return (folder / "view.toml").read_text(encoding="utf-8").partition("[groups]")[0]


def assert_as_told(pictures: dict[str, Floats]) -> None:
    medians = {mood: float(np.median(lightness(each))) for mood, each in pictures.items()}
    for mood, median in medians.items():
        least, most = BANDS[mood]
        assert least <= median <= most, medians
    in_order = [medians[mood] for mood in ("day", "dusk", "night") if mood in medians]
    assert all(one > next_one + STEP for one, next_one in pairwise(in_order))
    for mood, each in pictures.items():
        assert (each >= 254.5 / 255).any(axis=-1).mean() <= MOST_BURNT, mood


def test_the_recipe_of_the_readme(sample: Path) -> None:
    (recipe,) = blocks(README, "toml")
    pictures = drafts(sample, recipe)
    assert list(pictures) == ["day", "dusk"]
    assert_as_told(pictures)


def test_the_chapters_on_balance_moods_and_finish_are_one_recipe(sample: Path) -> None:
    pictures = drafts(sample, the_lights(sample) + "\n".join(snippets(5, 6, 7)))
    assert list(pictures) == ["day", "dusk", "night", "blue_hour"]
    assert_as_told(pictures)
