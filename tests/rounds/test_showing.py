"""Earlier rounds on the review page, and before and after on boards."""

from __future__ import annotations

import io
import json
import re
from pathlib import Path

import pytest
from pypdf import PdfReader

import evenfall
from evenfall.errors import UsageError
from evenfall.view import write_page


@pytest.fixture
def path(corner: evenfall.Recipe) -> Path:
    """A recipe with a round behind it, changed since."""
    view = evenfall.open(corner.path)
    view.keep_round(
        asked=["warmer lamps", "no porch"], answers=["done", "declined: code"], by="Anna"
    )
    text = corner.path.read_text(encoding="utf-8")
    corner.path.write_text(text.replace("kelvin = 2700", "kelvin = 2400"), encoding="utf-8")
    return corner.path


def told(page: Path) -> dict:
    text = page.read_text(encoding="utf-8")
    return json.loads(re.search(r'id="page-data">(.*?)</script>', text)[1])


def test_pictures_of_the_last_round_are_on_the_page(path: Path) -> None:
    page, notes = write_page(evenfall.open(path))
    keys = [picture["key"] for picture in told(page)["pictures"]]
    assert keys == ["now:day", "now:dusk", "1:day", "1:dusk"]
    assert notes == ()
    text = page.read_text(encoding="utf-8")
    for words in ("Anna", "warmer lamps", "declined: code", "dusk, round 1"):
        assert words in text


def test_what_changed_of_the_lights_is_shown_only_with_figures(path: Path) -> None:
    evenfall.open(path).keep_round(asked=["still warmer"], by="Anna")
    plain, _ = write_page(evenfall.open(path))
    text = plain.read_text(encoding="utf-8")
    assert "still warmer" in text
    assert "2400 K" not in text
    full, _ = write_page(evenfall.open(path), figures=True, overwrite=True)
    assert "lamp: +1 stop, 2700 K -&gt; +1 stop, 2400 K" in full.read_text(encoding="utf-8")


def test_a_round_that_holds_what_stands_is_not_shown_twice(path: Path) -> None:
    evenfall.open(path).keep_round()
    page, _ = write_page(evenfall.open(path))
    keys = [picture["key"] for picture in told(page)["pictures"]]
    assert keys == ["now:day", "now:dusk", "1:day", "1:dusk"]
    assert "Round 2" in page.read_text(encoding="utf-8")


def test_no_rounds_when_none_are_wanted(path: Path) -> None:
    page, _ = write_page(evenfall.open(path), rounds=0)
    assert [picture["key"] for picture in told(page)["pictures"]] == ["now:day", "now:dusk"]
    assert "warmer lamps" in page.read_text(encoding="utf-8")


def test_damaged_pictures_are_left_out_and_told(path: Path) -> None:
    file = path.parent / "rounds" / "001" / "dusk.jpg"
    file.chmod(0o644)
    file.write_bytes(b"other")
    page, notes = write_page(evenfall.open(path))
    assert [picture["key"] for picture in told(page)["pictures"]][2:] == ["1:day"]
    assert notes == ("round 1: dusk.jpg was changed since",)


def test_before_and_after_on_a_board(path: Path) -> None:
    board = evenfall.open(path).board("dusk", before=1)
    pages = PdfReader(io.BytesIO(board.data)).pages
    assert len(pages) == 2
    text = pages[1].extract_text()
    assert "before and after" in text
    assert "round 1" in text
    assert "now" in text
    assert len(pages[1]["/Resources"]["/XObject"]) >= 2
    with pytest.raises(UsageError, match="there is no round 7"):
        evenfall.open(path).board(before=7)


def test_six_pictures_of_1920_pixels_stay_under_6_megabytes(tmp_path: Path) -> None:
    """Pictures full of noise are the worst that JPEG can meet."""
    import numpy as np

    from evenfall.develop.example import example_recipe

    recipe = example_recipe(tmp_path)
    rng = np.random.default_rng(3)
    noisy = {
        light: rng.gamma(1, 0.4, (1080, 1920, 3)).astype(np.float32)
        for light in ("sun", "sky", "lamp")
    }
    view = evenfall.open(recipe, passes=noisy)
    page, _ = write_page(view, tmp_path / "page.html", rounds=0)
    assert page.stat().st_size < 6e6 / 3 + 2e5  # two pictures of six
