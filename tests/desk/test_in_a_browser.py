"""The desk in a real Chromium: reading, turning by keys, hand and words, keeping, two windows."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator
from functools import partial
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

    def __init__(self, browser: Any, **options: Any) -> None:
        still = {"reduced_motion": "reduce"}  # colours that fade keep a processor busy
        self.context = browser.new_context(**(still | options))
        self.page = self.context.new_page()
        self.wrong: list[str] = []
        self.requests: list[str] = []
        self.page.on("console", self._said)
        self.page.on("pageerror", lambda error: self.wrong.append(str(error)))
        self.page.on("request", lambda request: self.requests.append(request.url))

    def open(self, served: Any) -> None:
        """Open a desk in it, which shows its first picture."""
        self.own = f"http://127.0.0.1:{served.port}/"
        self.wrong.clear()
        self.requests.clear()
        self.page.goto(served.url)
        self.whole()

    def leave(self) -> None:
        """Leave the desk and forget it, as when a window is closed."""
        if self.page.url != "about:blank":
            self.page.evaluate("sessionStorage.clear()")
            self.page.goto("about:blank")

    def check(self) -> None:
        """Nothing went wrong, and nothing was fetched but from the desk."""
        assert self.wrong == []
        assert [url for url in self.requests if not url.startswith(self.own)] == []

    def _said(self, message: Any) -> None:
        if "willReadFrequently" not in message.text:  # our reading of codes, here
            self.wrong.append(message.text)

    def whole(self) -> None:
        """Wait for the whole picture."""
        self.page.wait_for_selector("#front[data-size='whole']")

    def settle(self) -> None:
        """Wait for the whole picture of what was turned last."""
        self.page.wait_for_function(
            "() => front.dataset.size === 'whole' &&"
            " Number(front.dataset.version) >= Number(document.documentElement.dataset.version)"
        )

    def sees_another(self, act: Callable[[], object]) -> npt.NDArray[np.uint8]:
        """Do something, and give the codes of the whole picture that comes of it."""
        number = self.page.evaluate("front.dataset.number")
        act()
        self.page.wait_for_function(
            "number => front.dataset.size === 'whole' && front.dataset.number !== number",
            arg=number,
        )
        return self.codes()

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


@pytest.fixture(scope="module")
def first_window(chromium: Any) -> Iterator[Window]:
    """The first window of each test; to open one takes as long as many a test."""
    window = Window(chromium)
    yield window
    window.context.close()


@pytest.fixture
def windows(chromium: Any, first_window: Window) -> Iterator[Any]:
    """Windows of desks; those that have options, and all but the first, are opened anew."""
    made: list[Window] = []

    def show(served: Any, **options: Any) -> Window:
        made.append(Window(chromium, **options) if made or options else first_window)
        made[-1].open(served)
        return made[-1]

    yield show
    for each in made:
        if each is first_window:
            each.leave()
        else:
            each.context.close()
    for each in made:
        each.check()


@pytest.fixture
def window(windows: Any, served: Any) -> Any:
    """Windows of a desk that the test has for itself."""
    return partial(windows, served)


@pytest.fixture
def visit(windows: Any, common: Any) -> Iterator[Any]:
    """Windows of the common desk, whose recipe is left as it was."""
    made: list[Window] = []
    before = common.recipe.read_bytes()

    def visit(**options: Any) -> Window:
        made.append(windows(common, **options))
        return made[-1]

    yield visit
    page = made[0].page
    while not page.locator("#undo").is_disabled():
        version = page.locator("html").get_attribute("data-version")
        page.click("#undo")
        page.wait_for_selector(f"html:not([data-version='{version}'])")
    assert page.locator("#save").is_disabled()
    assert common.recipe.read_bytes() == before


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
    shown.settle()
    shown.page.keyboard.press("Control+s")
    shown.page.wait_for_selector("#save:disabled")
    assert np.array_equal(shown.codes(), draft(recipe, tmp_path / "b", "dusk"))


def test_figures_turn_by_keys_by_hand_and_by_words(visit: Any) -> None:
    shown = visit()
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
    assert page.get_attribute("#say", "placeholder") == "lamp up 1/3, 2700 K"  # of this view
    page.fill("#say", "lamp of")
    page.keyboard.press("Enter")
    page.wait_for_selector("#said.wrong:has-text('\"of\" is not understood')")
    assert page.input_value("#say") == "lamp of"  # to be put right
    page.keyboard.type("f")
    page.keyboard.press("Enter")
    shown.reads(LAMP, "off")
    page.wait_for_function("() => say.value === '' && said.textContent === ''")
    page.click("#undo")
    shown.reads(LAMP, "1/2 up")
    page.click("#undo")
    page.click("#undo")
    shown.reads(LAMP, "1 stop up")  # all of a drag at once
    page.click("#redo")
    shown.reads(LAMP, "as rendered")


def test_undo_goes_on_after_a_reload_and_after_a_new_start(
    windows: Any, served: Any, serve: Any, recipe: Path
) -> None:
    shown = windows(served)
    shown.choose("dusk")
    shown.page.focus(SKY)
    shown.page.keyboard.press("ArrowUp")
    shown.reads(SKY, "1 2/3 stops down")
    shown.page.reload()
    shown.reads(SKY, "1 2/3 stops down")
    served.end()
    shown.page.wait_for_selector("#said.wrong:has-text('The desk has ended')")
    shown.leave()
    shown.wrong.clear()  # the browser says that the socket is gone
    again = windows(serve(recipe))
    again.choose("dusk")
    again.reads(SKY, "1 2/3 stops down")
    again.page.keyboard.press("Control+z")
    again.reads(SKY, "2 stops down")
    assert again.page.locator("#save").is_disabled()


def test_what_is_inherited_is_made_ones_own_by_a_click(visit: Any) -> None:
    shown = visit()
    exposure = ".figure[data-key='dial:exposure']"
    assert "taken" in shown.page.locator(exposure).get_attribute("class")
    assert "from the recipe" in shown.page.locator(".sentence.camera").inner_text()
    shown.page.click(exposure)
    shown.page.wait_for_selector(f"{exposure}:not(.taken)")
    shown.page.focus(exposure)
    shown.page.keyboard.press("Delete")
    shown.page.wait_for_selector(f"{exposure}.taken")


def test_two_windows_show_one_recipe(visit: Any) -> None:
    one, other = visit(), visit()
    one.choose("dusk")
    other.choose("dusk")
    one.page.focus(SKY)
    one.page.keyboard.press("ArrowDown")
    other.reads(SKY, "2 1/3 stops down")
    other.page.keyboard.press("Control+z")
    one.reads(SKY, "2 stops down")
    one.settle()
    other.settle()
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


def test_without_the_key_of_this_start_nothing_is_shown(chromium: Any, common: Any) -> None:
    context = chromium.new_context()
    page = context.new_page()
    page.goto(f"http://127.0.0.1:{common.port}/")
    page.wait_for_selector("#said:has-text('Open the address that the terminal shows')")
    assert page.locator(".figure").count() == 0
    context.close()


def test_no_barriers_are_found(window: Any, recipe: Path) -> None:
    """axe-core, all its rules of WCAG 2.2 A and AA; the policy is set aside to let it in."""
    from axe_playwright_python.sync_playwright import Axe

    shown = window(bypass_csp=True)
    page, axe = shown.page, Axe()

    def clean(*places: tuple[int, str]) -> None:
        for width, hour in places:
            page.set_viewport_size({"width": width, "height": 720})
            page.evaluate("hour => document.documentElement.dataset.hour = hour", hour)
            found = axe.run(page)
            assert found.violations_count == 0, f"{width}, {hour}: {found.generate_report()}"

    clean(
        (820, "day"), (1280, "day"), (1280, "dusk"), (820, "dusk"), (820, "night"), (1280, "night")
    )
    page.select_option("#beside-what", label="dusk")
    page.click("[data-shows=exposure]")
    page.click("#keep-round")
    page.fill("#say", "lamp fro")
    page.keyboard.press("Enter")
    page.wait_for_selector("#said.wrong")
    text = recipe.read_text(encoding="utf-8")
    recipe.write_text(text + "[moods.dusk", encoding="utf-8")
    page.wait_for_selector("#outside:has-text('cannot be used')")
    page.focus("#stage")
    page.keyboard.press("a")
    page.keyboard.press("Enter")
    page.wait_for_selector("#aiming:visible")
    page.dblclick(LAMP)
    page.wait_for_selector(".figure-input")
    clean((1280, "day"), (820, "day"), (820, "night"), (1280, "night"))


def test_nothing_moves_where_that_is_asked(visit: Any) -> None:
    """`prefers-reduced-motion` of Media Queries 5."""
    page = visit(reduced_motion="no-preference").page
    moving = "getComputedStyle(document.body).transitionDuration"
    assert page.evaluate(moving) == "0.6s"
    page.emulate_media(reduced_motion="reduce")
    assert page.evaluate(moving) == "0s"
    page.evaluate("document.documentElement.dataset.hour = 'night'")
    assert page.evaluate("document.getAnimations().length") == 0


def test_a_screen_reader_names_every_figure_with_its_unit(visit: Any) -> None:
    """Roles and values as WAI-ARIA 1.2 has them for a spin button."""
    shown = visit()
    shown.choose("dusk")
    told = shown.page.evaluate(
        "[...document.querySelectorAll('.figure')].map(e => [e.getAttribute('role'),"
        " e.getAttribute('aria-label'), e.getAttribute('aria-valuetext'), e.tabIndex])"
    )
    assert ["spinbutton", "Sky, strength", "2 stops down", 0] in told
    assert ["spinbutton", "Lamp, colour", "2700 K", 0] in told
    assert all(label and value for _, label, value, _ in told)


def test_everything_is_reached_by_keys(visit: Any) -> None:
    shown = visit()
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


def point(shown: Any, across: float, down: float) -> tuple[float, float]:
    box = shown.page.locator("#frame").bounding_box()
    at = box["x"] + across * box["width"], box["y"] + down * box["height"]
    shown.page.mouse.move(*at)
    return at


def shows(shown: Any, text: str) -> None:
    shown.page.wait_for_selector(f"#caption:has-text('{text}')")


def test_the_picture_tells_what_lights_a_spot_and_is_pulled(visit: Any, common: Any) -> None:
    """The lamp stands at 0.3, 0.4 of the example, where `ask` gives it more than 0.8 of all."""
    shown = visit()
    shown.choose("dusk")
    point(shown, 0.3, 0.4)
    shows(shown, "1 lamp")
    spot = evenfall.open(common.recipe, draft=True).ask("dusk", (0.3, 0.4))
    assert (
        f"{100 * spot.lights[0].share:.0f}\N{NO-BREAK SPACE}%"
        in shown.page.locator("#caption").inner_text()
    )
    assert shown.page.locator(".clause.lit[data-lights='lamp']").count() == 1
    x, y = point(shown, 0.3, 0.4)
    shown.page.mouse.down()
    shown.page.mouse.move(x, y - 30, steps=6)
    shown.page.mouse.up()
    shown.reads(LAMP, "1 2/3 stops up")  # two steps of 14 pixels
    shown.page.click("#undo")
    shown.reads(LAMP, "1 stop up")


def test_the_picture_by_keys_alone(visit: Any) -> None:
    shown = visit()
    shown.choose("dusk")
    shown.page.focus("#stage")
    for _ in range(10):
        shown.page.keyboard.press("ArrowLeft")
    for _ in range(5):
        shown.page.keyboard.press("ArrowUp")
    shows(shown, "▸ 1 lamp")
    shown.page.keyboard.press("+")
    shown.reads(LAMP, "1 1/3 stops up")
    shown.page.keyboard.press("2")
    shows(shown, "▸ 2 sky")
    shown.page.keyboard.press("PageDown")
    shown.reads(SKY, "3 stops down")
    shown.page.keyboard.press("a")
    shown.page.keyboard.press("Shift+ArrowRight")
    shown.page.keyboard.press("Enter")
    assert shown.page.evaluate("document.activeElement.id") == "aim"
    shown.page.keyboard.press("Escape")
    assert not shown.page.locator("#aiming").is_visible()


def test_an_area_becomes_what_it_should_be(window: Any, recipe: Path) -> None:
    """Metered back through `ask`; the aim stands in the file, where `aim` finds it met."""
    shown = window()
    shown.choose("dusk")
    corners, place, aim = (
        ((0.2, 0.3), (0.4, 0.5)),
        "0.2,0.3,0.4,0.5",
        ".figure[data-key='aim:table']",
    )
    start = recipe.read_text(encoding="utf-8")
    before = evenfall.open(recipe, draft=True).ask("dusk", place)
    shown.page.click("#draw")
    shown.page.mouse.move(*point(shown, *corners[0]))
    shown.page.mouse.down()
    shown.page.mouse.move(*point(shown, *corners[1]))
    shown.page.mouse.up()
    shown.page.keyboard.type("table: 1/2 brighter")
    shown.page.keyboard.press("Enter")
    shown.page.wait_for_selector(aim)
    shown.page.keyboard.press("Control+s")
    shown.page.wait_for_selector("#said:has-text('Saved')")
    view = evenfall.open(recipe, draft=True)
    assert view.ask("dusk", place).stops - before.stops == pytest.approx(0.5, abs=0.03)
    aimed = view.aim("dusk", dry_run=True)
    assert [(each.aim, each.is_met) for each in aimed.aims] == [("table", True)]
    shown.page.focus(aim)
    assert shown.page.locator("#area").is_visible()
    shown.page.keyboard.press("PageDown")
    shown.page.wait_for_selector("#said:has-text('table, ')")
    shown.page.keyboard.press("Control+s")
    shown.page.wait_for_selector("#said:has-text('Saved')")
    after = evenfall.open(recipe, draft=True).ask("dusk", place)
    assert after.stops - before.stops == pytest.approx(-0.5, abs=0.03)
    shown.page.focus(aim)
    shown.page.keyboard.press("Delete")
    shown.page.wait_for_selector(aim, state="detached")
    for _ in range(3):  # the aim gone, turned, drawn
        shown.page.click("#undo")
    shown.page.wait_for_selector("#undo:disabled")
    shown.page.click("#save")
    shown.page.wait_for_selector("#save:disabled")
    assert recipe.read_text(encoding="utf-8") == start


def test_before_is_shown_while_it_is_held(visit: Any) -> None:
    shown = visit()
    shown.choose("dusk")
    before = shown.codes()
    shown.page.focus(SKY)
    shown.page.keyboard.press("PageUp")
    shown.reads(SKY, "1 stop down")
    shown.page.wait_for_selector("#before[data-mood='dusk']", state="attached")
    shown.page.keyboard.down("F2")
    shows(shown, "As it was saved last")
    assert shown.page.locator("#before").is_visible()
    held = shown.page.evaluate(
        "[...before.getContext('2d').getImageData(0, 0, before.width, before.height).data]"
    )
    shown.page.keyboard.up("F2")
    assert not shown.page.locator("#before").is_visible()
    assert np.array_equal(np.array(held, np.uint8).reshape(before.shape[0], -1, 4)[..., :3], before)


def test_two_lie_beside_one_another_with_an_edge(visit: Any) -> None:
    shown = visit()
    shown.page.select_option("#beside-what", label="dusk")
    shown.page.wait_for_selector("#beside[data-mood='dusk']")
    assert "50%" in shown.page.evaluate("beside.style.clipPath")
    shown.page.focus("#edge")
    for _ in range(3):
        shown.page.keyboard.press("ArrowRight")
    assert shown.page.locator("#edge").get_attribute("aria-valuenow") == "56"
    edge = shown.page.locator("#edge").bounding_box()
    shown.page.mouse.move(edge["x"] + edge["width"] / 2, edge["y"] + 30)
    shown.page.mouse.down()
    shown.page.mouse.move(*point(shown, 0.25, 0.5))
    shown.page.mouse.up()
    assert shown.page.locator("#edge").get_attribute("aria-valuenow") == "25"


def test_one_light_alone_all_but_one_and_maps(visit: Any, common: Any) -> None:
    """Light adds: what a light gives alone and what all others give are the whole, by exposure."""
    shown = visit()
    shown.choose("dusk")
    whole = shown.codes()
    seen = {}
    for label in ("lamp alone", "all but lamp"):
        choose = partial(shown.page.select_option, "#lit-by", label=label)
        seen[label] = shown.sees_another(choose)
    view = evenfall.open(common.recipe, draft=True)
    alone = view.develop("dusk", lights=["lamp"]).mix.planes
    others = view.develop("dusk", lights=["sun", "sky"]).mix.planes
    assert np.allclose(alone + others, view.develop("dusk").mix.planes, rtol=1e-5)
    assert np.array_equal(seen["lamp alone"], view.still("dusk", lights=["lamp"]))
    assert seen["all but lamp"].mean() < whole.mean()
    shown.sees_another(partial(shown.page.select_option, "#lit-by", label="all lights"))
    for what in ("exposure", "ends"):
        seen[what] = shown.sees_another(partial(shown.page.click, f"[data-shows={what}]"))
        assert np.array_equal(seen[what], view.still("dusk", shows=what))
        assert shown.page.locator("#scale").is_visible() == (what == "exposure")


def test_noise_and_one_pixel_a_pixel_come_from_the_full_passes(visit: Any) -> None:
    shown = visit()
    shown.choose("dusk")
    shown.page.click("#noise")
    shown.page.wait_for_selector("#said:has-text('up by'), #said:has-text('could be measured')")
    shown.page.click("#close-up")
    shown.page.wait_for_selector("#near[data-size='near']")
    shows(shown, "One pixel a pixel")
    shown.page.keyboard.press("Escape")


def test_a_round_is_kept_and_the_pictures_are_made(window: Any, recipe: Path) -> None:
    shown = window()
    shown.choose("dusk")
    shown.page.focus(SKY)
    shown.page.keyboard.press("PageUp")
    shown.reads(SKY, "1 stop down")
    shown.page.click("#keep-round")
    shown.page.fill("#asked", "a brighter sky")
    shown.page.fill("#by", "Anna")
    shown.page.keyboard.press("Enter")
    shown.page.wait_for_selector("#said.wrong:has-text('save them first')")
    shown.page.click("#save")
    shown.page.wait_for_selector("#save:disabled")
    shown.page.click("#keep-round")
    shown.page.fill("#asked", "a brighter sky")
    shown.page.click("text=Keep it")
    shown.page.wait_for_selector("#said:has-text('Round 1 is kept')")
    record = (recipe.parent / "rounds" / "001" / "round.toml").read_text(encoding="utf-8")
    assert "a brighter sky" in record
    shown.page.wait_for_function("document.querySelector('#beside-what').textContent.includes('1')")
    shown.page.click("#make")
    shown.page.wait_for_selector("#said:has-text('files made')")
    (made,) = recipe.parent.rglob("corner_dusk.png")
    before = made.read_bytes()
    shown.page.focus(SKY)
    shown.page.keyboard.press("PageDown")
    shown.page.click("#save")
    shown.page.wait_for_selector("#save:disabled")
    shown.page.click("#make")
    shown.page.wait_for_selector("#said.wrong:has-text('corner_dusk.png')")
    assert made.read_bytes() == before
    shown.page.click("text=Replace the pictures")
    shown.page.wait_for_selector("#said:has-text('files made')")
    assert made.read_bytes() != before


def test_a_tablet_is_touched(visit: Any) -> None:
    shown = visit(viewport={"width": 820, "height": 1180}, has_touch=True)
    page = shown.page
    assert page.evaluate("document.documentElement.scrollWidth") <= 820
    page.tap(".moods button[data-mood='dusk']")
    box = page.locator("#frame").bounding_box()
    page.touchscreen.tap(box["x"] + 0.3 * box["width"], box["y"] + 0.4 * box["height"])
    shows(shown, "1 lamp")
    small = page.evaluate(
        "[...document.querySelectorAll('button, select, .figure')].filter(e => e.offsetHeight > 0"
        " && Math.min(e.offsetHeight, e.offsetWidth) < 24 && !e.matches('.figure'))"
        ".map(e => e.outerHTML)"
    )
    assert small == []  # WCAG 2.2, 2.5.8; figures stand in sentences, which it excepts
