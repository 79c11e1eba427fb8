"""Settings in words: ratios as they are spoken."""

from __future__ import annotations

import pytest

from evenfall.recipe.lights import LightSetting
from evenfall.recipe.words.wording import setting_words


@pytest.mark.parametrize(
    ("match", "words"),
    # A ratio names its sides in the order of its numbers: key to fill, key and fill to fill.
    [
        ({"to": "sun", "ratio": "4:1"}, "sun to fill 4:1"),
        ({"to": "sun"}, "sun to fill 1:1"),
        (
            {"to": "sun", "ratio": "5:1", "convention": "(key+fill):fill"},
            "sun + fill to fill 5:1",
        ),
    ],
)
def test_a_match_names_both_lights(match: dict[str, str], words: str) -> None:
    assert setting_words(LightSetting.model_validate({"match": match}), "fill") == words
    tinted = LightSetting.model_validate({"match": match, "kelvin": 6000})
    assert setting_words(tinted, "fill") == f"{words}, 6000 K"
