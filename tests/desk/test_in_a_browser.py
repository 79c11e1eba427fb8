"""The desk in a real Chromium: reading, turning by keys, hand and words, keeping, two windows."""

from __future__ import annotations

import io
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest

import evenfall

SKY = ".figure[data-key='gain:sky']"
LAMP = ".figure[data-key='gain:lamp']"


class Window:
    """A window of a desk, with all that went wrong in it."""

    def __init__(self, browser: Any, served: Any, **options: Any) -> None:
        self.context = browser.new_context(**options)
        self.page = self.context.new_page()
        self.wrong: list[str] = []
        self.requests: list[str] = []
        self.page.on("console", self._said)
        self.page.on("pageerror", lambda error: self.wrong.append(str(error)))
        self.page.on("request", lambda request: self.requests.append(request.url))
        self.own = f"http://127.0.0.1:{served.port}/"
        self.page.goto(served.url)
        self.whole()

    def _said(self, message: Any) -> None:
        if "willReadFrequently" not in message.text:  # our reading of codes, here
            self.wrong.append(message.text)

    def whole(self) -> None:
        """Wait for the whole picture."""
        self.page.wait_for_selector("#front[data-size='whole']")

    def choose(self, mood: str) -> None:
        self.page.click(f".moods button[data-mood='{mood}']")
        self.page.wait_for_selector(f"#front[data-mood='{mood}']")

    def text(self, figure: str) -> str:
        return str(self.page.locator(figure).inner_text())

    def reads(self, figure: str, text: str) -> None:
        """Wait until a figure reads so."""
        self.page.wait_for_function(
            "([where, text]) => document.querySelector(where)?.textContent === text",
            arg=[figure, text],
        )

    def codes(self) -> npt.NDArray[np.uint8]:
        """The codes that the picture shows."""
        self.whole()
        values = self.page.evaluate(
            "() => { const c = document.getElementById('front'); return [c.width, c.height,"
            " [...c.getContext('2d').getImageData(0, 0, c.width, c.height).data]] }"
        )
        width, height, data = values
        return np.array(data, np.uint8).reshape(height, width, 4)[..., :3]


@pytest.fixture
def window(chromium: Any, served: Any) -> Iterator[Any]:
    made: list[Window] = []

    def window(of: Any = None, **options: Any) -> Window:
        made.append(Window(chromium, of or served, **options))
        return made[-1]

    yield window
    for each in made:
        each.context.close()
        assert each.wrong == []
        assert [url for url in each.requests if not url.startswith(each.own)] == []


def draft(recipe: Path, folder: Path, mood: str) -> npt.NDArray[np.uint8]:
    """What a run writes as the draft of a mood, decoded by Pillow."""
    from PIL import Image

    evenfall.open(recipe, draft=True).run(mood, out=folder)
    data = (folder / f"corner_{mood}_draft.png").read_bytes()
    return np.asarray(Image.open(io.BytesIO(data)).convert("RGB"))


def test_the_picture_is_the_draft_to_the_last_code(
    window: Any, recipe: Path, tmp_path: Path
) -> None:
    shown = window()
    shown.choose("dusk")
    assert np.array_equal(shown.codes(), draft(recipe, tmp_path / "a", "dusk"))
    shown.page.focus(SKY)
    for key in ("ArrowUp", "ArrowUp", "Shift+ArrowDown", "PageUp"):
        shown.page.keyboard.press(key)
    shown.reads(SKY, "0.43 down")  # -2 + 2/3 - 1/10 + 1
    shown.page.keyboard.press("Control+s")
    shown.page.wait_for_selector("#save:disabled")
    shown.page.wait_for_timeout(400)
    assert np.array_equal(shown.codes(), draft(recipe, tmp_path / "b", "dusk"))


def test_figures_turn_by_keys_by_hand_and_by_words(window: Any) -> None:
    shown = window()
    page = shown.page
    shown.choose("dusk")
    page.focus(SKY)
    page.keyboard.press("PageDown")
    shown.reads(SKY, "3 stops down")
    page.keyboard.press("ArrowRight")
    shown.reads(SKY, "2 2/3 stops down")
    assert page.evaluate("document.activeElement.dataset.key") == "gain:sky"
    box = page.locator(LAMP).bounding_box()
    page.mouse.move(box["x"] + 5, box["y"] + 5)
    page.mouse.down()
    page.mouse.move(box["x"] + 5 - 45, box["y"] + 5, steps=9)
    page.mouse.up()
    shown.reads(LAMP, "as rendered")  # three steps of a third down from a stop up
    page.focus(LAMP)
    page.keyboard.type("= 1/2")
    page.keyboard.press("Enter")
    shown.reads(LAMP, "1/2 up")
    page.focus(LAMP)
    page.keyboard.type("=x")
    page.keyboard.press("Enter")
    page.wait_for_selector("#said.wrong:has-text('is not understood')")
    shown.reads(LAMP, "1/2 up")
    page.fill("#say", "lamp off")
    page.keyboard.press("Enter")
    shown.reads(LAMP, "off")
    page.click("#undo")
    shown.reads(LAMP, "1/2 up")
    page.click("#undo")
    page.click("#undo")
    shown.reads(LAMP, "1 stop up")  # all of a drag at once
    page.click("#redo")
    shown.reads(LAMP, "as rendered")


def test_undo_goes_on_after_a_reload_and_after_a_new_start(
    window: Any, served: Any, serve: Any, recipe: Path
) -> None:
    shown = window()
    shown.choose("dusk")
    shown.page.focus(SKY)
    shown.page.keyboard.press("ArrowUp")
    shown.reads(SKY, "1 2/3 stops down")
    shown.page.reload()
    shown.reads(SKY, "1 2/3 stops down")
    served.end()
    shown.page.wait_for_selector("#said.wrong:has-text('The desk has ended')")
    shown.wrong.clear()  # the browser says that the socket is gone
    shown.context.close()
    again = window(serve(recipe))
    again.choose("dusk")
    again.reads(SKY, "1 2/3 stops down")
    again.page.keyboard.press("Control+z")
    again.reads(SKY, "2 stops down")
    assert again.page.locator("#save").is_disabled()


def test_what_is_inherited_is_made_ones_own_by_a_click(window: Any) -> None:
    shown = window()
    exposure = ".figure[data-key='dial:exposure']"
    assert "taken" in shown.page.locator(exposure).get_attribute("class")
    assert "from the recipe" in shown.page.locator(".sentence.camera").inner_text()
    shown.page.click(exposure)
    shown.page.wait_for_selector(f"{exposure}:not(.taken)")
    shown.page.focus(exposure)
    shown.page.keyboard.press("Delete")
    shown.page.wait_for_selector(f"{exposure}.taken")


def test_two_windows_show_one_recipe(window: Any) -> None:
    one, other = window(), window()
    one.choose("dusk")
    other.choose("dusk")
    one.page.focus(SKY)
    one.page.keyboard.press("ArrowDown")
    other.reads(SKY, "2 1/3 stops down")
    other.page.keyboard.press("Control+z")
    one.reads(SKY, "2 stops down")
    one.page.wait_for_timeout(500)
    assert np.array_equal(one.codes(), other.codes())


def test_a_file_changed_by_another_hand_appears_at_once(window: Any, recipe: Path) -> None:
    shown = window()
    shown.choose("dusk")
    text = recipe.read_text(encoding="utf-8")
    recipe.write_text(text.replace("stops = -2", "stops = -3"), encoding="utf-8")
    shown.reads(SKY, "3 stops down")
    shown.page.focus(LAMP)
    shown.page.keyboard.press("ArrowUp")
    shown.reads(LAMP, "1 1/3 stops up")
    recipe.write_text(text.replace("stops = -2", "stops = -5"), encoding="utf-8")
    shown.page.wait_for_selector("#outside:has-text('by another hand')")
    told = shown.page.locator("#outside").inner_text()
    assert "sky: -3 stops -> -5 stops" in told
    assert "lamp: +1 stop" in told
    shown.page.click("text=Take the file's")
    shown.reads(SKY, "5 stops down")
    assert shown.page.locator("#outside").inner_text() == ""
    shown.page.click("#undo")
    shown.reads(LAMP, "1 1/3 stops up")


def test_without_the_key_of_this_start_nothing_is_shown(chromium: Any, served: Any) -> None:
    context = chromium.new_context()
    page = context.new_page()
    page.goto(f"http://127.0.0.1:{served.port}/")
    page.wait_for_selector("#said:has-text('Open the address that the terminal shows')")
    assert page.locator(".figure").count() == 0
    context.close()


@pytest.mark.parametrize("mood", ["day", "dusk"])
@pytest.mark.parametrize("width", [820, 1280])
def test_no_barriers_are_found(window: Any, mood: str, width: int) -> None:
    """axe-core, all its rules of WCAG 2.2 A and AA; the policy is set aside to let it in."""
    from axe_playwright_python.sync_playwright import Axe

    shown = window(viewport={"width": width, "height": 720}, bypass_csp=True)
    shown.choose(mood)
    shown.page.wait_for_timeout(700)  # the paper has taken the light of the hour
    found = Axe().run(shown.page)
    assert found.violations_count == 0, found.generate_report()


def test_a_screen_reader_names_every_figure_with_its_unit(window: Any) -> None:
    """Roles and values as WAI-ARIA 1.2 has them for a spin button."""
    shown = window()
    shown.choose("dusk")
    told = shown.page.evaluate(
        "[...document.querySelectorAll('.figure')].map(e => [e.getAttribute('role'),"
        " e.getAttribute('aria-label'), e.getAttribute('aria-valuetext'), e.tabIndex])"
    )
    assert ["spinbutton", "Sky, strength", "2 stops down", 0] in told
    assert ["spinbutton", "Lamp, colour", "2700 K", 0] in told
    assert all(label and value for _, label, value, _ in told)


def test_everything_is_reached_by_keys(window: Any) -> None:
    shown = window()
    shown.page.focus("#say")
    shown.page.keyboard.type("lamp on")
    shown.page.keyboard.press("Enter")
    shown.page.wait_for_selector("#undo:enabled")
    reached = set()
    for _ in range(60):
        shown.page.keyboard.press("Tab")
        reached.add(
            shown.page.evaluate(
                "document.activeElement.id || document.activeElement.dataset.key"
                " || document.activeElement.dataset.mood"
            )
        )
    assert {"undo", "save", "say", "gain:lamp", "gain:sky", "dial:exposure", "day", "dusk"} <= (
        reached
    )
