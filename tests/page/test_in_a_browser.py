"""The review page in a real Chromium: looking, comparing, commenting, by hand and by keys."""

from __future__ import annotations

import io
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from evenfall.comments.model import Box, Comment
from evenfall.comments.reading import read_comments
from evenfall.deliver.jpeg import encode_jpeg
from evenfall.page.contents import PageContents, PagePicture, PageRound, PageTable, PageView
from evenfall.page.html import build_page

HOSTILE = "</script><script>document.title='taken'</script><img src=x onerror=alert(1)>&quot;'\""
COLOURS = {"day": (230, 220, 200), "dusk": (120, 80, 60), "night": (20, 24, 40)}


def picture(mood: str, round_number: int | None = None) -> PagePicture:
    codes = np.full((360, 640, 3), COLOURS[mood], np.uint8)
    codes[:, ::40] = 128
    return PagePicture(mood, mood.title(), encode_jpeg(codes), 640, 360, round_number)


def contents(**changes: Any) -> PageContents:
    usual: dict[str, Any] = {
        "key": "living",
        "title": "Living room",
        "project": "House at Veldmere",
        "studio": "Studio Halden",
        "date": "26 November 2026",
        "round_name": "Round 3",
        "pictures": (picture("day"), picture("dusk"), picture("night"), picture("dusk", 2)),
        "rounds": (
            PageRound(2, "20 November 2026", "lamps warmer", "Anna", ("pendants 2700 K",)),
            PageRound(1, asked="first pictures", answers=(("no porch light", "done"),)),
        ),
        "comments": (
            Comment("urn:x:1", "dusk", None, Box(20, 30, 10, 10), "Warmer.", "Anna", "", 1, "done"),
            Comment("urn:x:2", "dusk", 2, Box(70, 60, 1, 1), "Too dark.", "Ben", "", 2),
        ),
        "settings": PageTable(("Day", "Dusk"), (("Sun", ("as rendered", "off")),)),
    }
    said = usual | changes
    of_page = {name: said.pop(name) for name in ("project", "studio", "date")}
    view = PageView(**said)
    return PageContents(view.key, view.title, (view,), **of_page)


class Opened:
    """A window of a browser, with all that went wrong on the page in it."""

    def __init__(self, browser: Any, **options: Any) -> None:
        self.context = browser.new_context(**options)
        self.page = self.context.new_page()
        self.wrong: list[str] = []
        self.requests: list[str] = []
        self.page.on("console", lambda said: self.wrong.append(said.text))
        self.page.on("pageerror", lambda error: self.wrong.append(str(error)))
        self.page.on("request", lambda request: self.requests.append(request.url))


@pytest.fixture(scope="module")
def window(chromium: Any) -> Iterator[Opened]:
    """One window for the pages of all tests: to open one takes longer than most of them."""
    window = Opened(chromium)
    yield window
    window.context.close()


@pytest.fixture
def opened(chromium: Any, window: Opened, tmp_path: Path) -> Iterator[Any]:
    """Open a page in the common window, or in one of its own, which remembers nothing."""
    path = tmp_path / "review.html"
    made: list[Opened] = []
    window.wrong.clear()
    window.requests.clear()

    def opened(
        what: PageContents | None = None,
        *,
        width: int = 1280,
        color_scheme: str = "light",
        apart: bool = False,
        **options: Any,
    ) -> Any:
        path.write_bytes(build_page(what or contents()))
        if apart or options:
            made.append(Opened(chromium, **options))
            page = made[-1].page
        else:
            page = window.page
            page.set_viewport_size({"width": width, "height": 844})
            page.emulate_media(color_scheme=color_scheme)
        page.goto(path.as_uri())
        return page

    yield opened
    if window.page.url.startswith("file:"):
        window.page.evaluate("localStorage.clear()")
    for each in made:
        each.context.close()
    for each in (window, *made):
        assert each.wrong == []
        fetched = (url for url in each.requests if not url.startswith(("file:", "data:", "blob:")))
        assert list(fetched) == []


def colour_at(page: Any, across: float, down: float) -> tuple[int, ...]:
    """What the stage shows at a share of its size."""
    from PIL import Image

    shot = Image.open(io.BytesIO(page.locator("#stage").screenshot())).convert("RGB")
    return shot.getpixel((int(across * shot.width), int(down * shot.height)))


def near(found: tuple[int, ...], mood: str) -> bool:
    return max(abs(a - b) for a, b in zip(found, COLOURS[mood], strict=True)) < 12


def comment_at(page: Any, across: float, down: float, text: str) -> None:
    page.locator("#stage").scroll_into_view_if_needed()
    box = page.locator("#stage").bounding_box()
    page.mouse.click(box["x"] + across * box["width"], box["y"] + down * box["height"])
    page.fill("#text", text)
    page.click("text=Keep comment")


def test_moods_are_chosen_and_laid_over_one_another(opened: Any) -> None:
    page = opened()
    assert near(colour_at(page, 0.52, 0.5), "day")
    page.click("button:has-text('Night')")
    assert near(colour_at(page, 0.52, 0.5), "night")
    page.select_option("#beside", label="Dusk, round 2")
    assert near(colour_at(page, 0.22, 0.5), "night")
    assert near(colour_at(page, 0.77, 0.5), "dusk")
    edge = page.locator("#edge").bounding_box()
    page.mouse.move(edge["x"] + edge["width"] / 2, edge["y"] + 40)
    page.mouse.down()
    page.mouse.move(edge["x"] + 500, edge["y"] + 40)
    page.mouse.up()
    assert near(colour_at(page, 0.72, 0.5), "night")


def test_blinking_shows_one_and_then_the_other(opened: Any) -> None:
    page = opened(apart=True)
    page.clock.install()
    page.select_option("#beside", label="Night")
    page.click("#blink")
    shows = "mood => getComputedStyle(over).clipPath.includes(mood === 'night' ? ' 0%' : '100%')"
    for mood in ("night", "day", "night"):
        page.clock.run_for(800)
        assert page.evaluate(shows, mood), mood
    assert not page.locator("#edge").is_visible()
    page.click("#blink")
    assert page.locator("#edge").is_visible()


def test_blinking_waits_for_a_hand_where_motion_is_not_wanted(opened: Any) -> None:
    page = opened(reduced_motion="reduce")
    page.clock.install()
    page.select_option("#beside", label="Night")
    page.click("#blink")
    assert near(colour_at(page, 0.22, 0.5), "night")
    page.clock.run_for(1000)
    assert near(colour_at(page, 0.22, 0.5), "night")
    page.click("#blink")
    assert near(colour_at(page, 0.22, 0.5), "day")


def test_a_comment_is_kept_over_a_reload_saved_and_taken_in_again(
    opened: Any, tmp_path: Path
) -> None:
    """The saved file is an annotation page after the W3C model; another page takes it in."""
    page = opened()
    box = page.locator("#stage").bounding_box()
    page.mouse.move(box["x"] + 0.25 * box["width"], box["y"] + 0.5 * box["height"])
    page.mouse.down()
    page.mouse.move(box["x"] + 0.5 * box["width"], box["y"] + 0.75 * box["height"])
    page.mouse.up()
    page.fill("#text", "The floor is too bright.")
    page.fill("#author", "Anna Berg")
    page.click("text=Keep comment")
    page.reload()
    assert page.locator("#mine .said").inner_text() == "The floor is too bright."
    with page.expect_download() as saved:
        page.click("#save")
    assert saved.value.suggested_filename == "living_comments_Anna_Berg.json"
    file = tmp_path / "comments.json"
    saved.value.save_as(file)
    told = json.loads(file.read_text(encoding="utf-8"))
    assert (told["@context"], told["type"]) == (
        "http://www.w3.org/ns/anno.jsonld",
        "AnnotationPage",
    )
    (item,) = told["items"]
    assert item["body"] == {
        "type": "TextualBody",
        "value": "The floor is too bright.",
        "format": "text/plain",
    }
    assert item["target"]["source"] == "urn:evenfall:living:day:now"
    place = Box.of_fragment(item["target"]["selector"]["value"])
    sides = (place.x, place.y, place.width, place.height)
    assert sides == pytest.approx((25, 50, 25, 25), abs=0.3)
    other = opened(apart=True)
    other.set_input_files("#bring", file)
    assert other.locator("#mine .said").inner_text() == "The floor is too bright."
    other.set_input_files("#bring", file)
    other.wait_for_function(
        "document.getElementById('told').textContent.includes('0 comments new')"
    )
    assert other.locator("#mine li").count() == 1


def test_saved_comments_are_taken_in_by_the_library(opened: Any, tmp_path: Path) -> None:
    from evenfall.comments.reading import read_comments

    page = opened()
    page.click("button:has-text('Dusk')")
    comment_at(page, 0.6, 0.4, "Warmer?")
    with page.expect_download() as saved:
        page.click("#save")
    file = tmp_path / "saved.json"
    saved.value.save_as(file)
    (comment,) = read_comments(file, "living", ["day", "dusk"]).comments
    assert (comment.mood, comment.round_number, comment.text) == ("dusk", None, "Warmer?")
    assert comment.box.centre == pytest.approx((60, 40), abs=0.7)


def test_a_comment_belongs_to_the_picture_that_is_seen(opened: Any) -> None:
    page = opened()
    page.select_option("#beside", label="Dusk, round 2")
    comment_at(page, 0.8, 0.5, "Here.")
    assert "Dusk, round 2" in page.locator("#mine .soft").inner_text()


def test_everything_by_keys(opened: Any) -> None:
    page = opened()
    page.focus("#comment")
    page.keyboard.press("Enter")
    for key in ("ArrowLeft", "ArrowLeft", "ArrowUp", "Shift+ArrowRight", "Shift+ArrowDown"):
        page.keyboard.press(key)
    page.keyboard.press("Enter")
    page.keyboard.type("By keys.")
    page.keyboard.press("Tab")
    page.keyboard.type("Kit")
    page.keyboard.press("Enter")
    assert page.locator("#mine .said").inner_text() == "By keys."
    box = json.loads(page.evaluate("localStorage.getItem('evenfall:living')"))["remarks"][0]["box"]
    assert box == {"x": 47.5, "y": 48.5, "w": 2, "h": 2}
    page.select_option("#beside", label="Night")
    page.focus("#edge")
    for _ in range(5):
        page.keyboard.press("ArrowRight")
    assert page.locator("#edge").get_attribute("aria-valuenow") == "60"
    page.keyboard.press("Home")
    assert page.locator("#edge").get_attribute("aria-valuenow") == "0"
    reached = set()
    for _ in range(40):
        page.keyboard.press("Tab")
        reached.add(
            page.evaluate("document.activeElement.id || document.activeElement.textContent")
        )
    assert {
        "Day",
        "Dusk",
        "Night",
        "beside",
        "blink",
        "comment",
        "save",
        "copy",
        "bring",
    } <= reached


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [390, 1400])
def test_no_barriers_are_found(opened: Any, scheme: str, width: int) -> None:
    """axe-core, all its rules of WCAG 2.2 A and AA."""
    from axe_playwright_python.sync_playwright import Axe

    page = opened(color_scheme=scheme, width=width)
    page.click("button:has-text('Dusk')")
    page.select_option("#beside", label="Night")
    comment_at(page, 0.2, 0.2, "Mine.")
    page.click("#comment")
    found = Axe().run(page)
    assert found.violations_count == 0, found.generate_report()


def test_a_phone_shows_it_without_scrolling_sideways(opened: Any) -> None:
    page = opened(viewport={"width": 360, "height": 740}, has_touch=True, is_mobile=True)
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    box = page.locator("#stage").bounding_box()
    assert box["width"] == 360
    page.touchscreen.tap(box["x"] + 100, box["y"] + 100)
    page.fill("#text", "Touched.")
    page.click("text=Keep comment")
    assert page.locator("#mine .said").inner_text() == "Touched."
    small = page.evaluate(
        "[...document.querySelectorAll('button, select, summary')].filter(e => e.offsetHeight > 0"
        " && Math.min(e.offsetHeight, e.offsetWidth) < 24).map(e => e.outerHTML)"
    )
    assert small == []  # WCAG 2.2, 2.5.8: targets of at least 24 by 24


def test_texts_from_outside_stay_texts(opened: Any) -> None:
    evil = contents(
        key="living<b>",
        title=HOSTILE,
        project=HOSTILE,
        studio=HOSTILE,
        pictures=(picture("day"), PagePicture("<i>", HOSTILE, picture("dusk").jpeg, 640, 360)),
        rounds=(PageRound(1, HOSTILE, HOSTILE, HOSTILE, (HOSTILE,), ((HOSTILE, HOSTILE),)),),
        comments=(
            Comment('urn:"x', "day", None, Box(1, 1, 1, 1), HOSTILE, HOSTILE, "", 1, HOSTILE),
        ),
        settings=PageTable((HOSTILE,), ((HOSTILE, (HOSTILE,)),)),
    )
    page = opened(evil)
    assert page.title() == f"{HOSTILE} · {HOSTILE}".split(" · ")[0]
    assert page.locator("h1").inner_text() == HOSTILE
    assert page.locator("script").count() == 2
    assert page.locator("img[src=x]").count() == 0
    page.set_input_files(
        "#bring",
        {
            "name": "evil.json",
            "mimeType": "application/json",
            "buffer": json.dumps(
                {
                    "items": [
                        {
                            "id": HOSTILE,
                            "creator": {"name": HOSTILE},
                            "created": HOSTILE,
                            "body": {"value": HOSTILE},
                            "target": {
                                "source": "urn:evenfall:living%3Cb%3E:day:now",
                                "selector": {"value": "xywh=percent:1,1,5,5"},
                            },
                        }
                    ]
                }
            ).encode(),
        },
    )
    assert page.locator("#mine .said").inner_text() == HOSTILE
    assert page.title() != "taken"


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"\x00\xff\xfe", "no comments file"),
        (b"[]", "holds no comments"),
        (b'{"items": [{}, null, 3]}', "3 are of other pictures"),
        (b" " * 4_000_001, "larger than 4 MB"),
    ],
)
def test_files_that_are_no_comments(opened: Any, tmp_path: Path, data: bytes, says: str) -> None:
    page = opened()
    file = tmp_path / "odd.json"
    file.write_bytes(data)
    page.set_input_files("#bring", file)
    page.wait_for_function("document.getElementById('told').textContent !== ''")
    assert says in page.locator("#told").inner_text()
    assert page.locator("#mine li").count() == 0


def test_it_prints_all_moods_with_numbers(opened: Any, tmp_path: Path) -> None:
    from pypdf import PdfReader

    page = opened()
    data = page.pdf(format="A4")
    reader = PdfReader(io.BytesIO(data))
    text = "\n".join(each.extract_text() for each in reader.pages)
    for words in ("Living room", "Day", "Dusk", "Night", "Warmer.", "lamps warmer"):
        assert words in text
    assert "Compare with" not in text
    assert "Save comments" not in text


def test_paper_holds_pictures_and_words_alone(opened: Any) -> None:
    """Two landscape pictures to a page of A4; what is said of the file is for a screen."""
    from pypdf import PdfReader

    page = opened(contents(comments=(), rounds=(), settings=None))
    reader = PdfReader(io.BytesIO(page.pdf(format="A4", prefer_css_page_size=True)))
    texts = [each.extract_text() for each in reader.pages]
    assert len(texts) == 2
    assert "Dusk" in texts[0]
    assert "Night" in texts[1]
    assert "no comments" not in texts[1]
    assert "network" not in texts[1]
    assert all(min(_left_of_pictures(each)) > 30 for each in reader.pages)  # a margin, in points


def _left_of_pictures(page: Any) -> list[float]:
    found: list[float] = []

    def before(operator: bytes, _: Any, matrix: list[float], __: list[float]) -> None:
        if operator == b"Do":
            found.append(matrix[4])

    page.extract_text(visitor_operand_before=before)
    return found


@pytest.mark.parametrize("width", [390, 1280])
def test_titles_of_any_length_and_writing(opened: Any, width: int) -> None:
    """A title from right to left is set from the right, and its line keeps the order of parts."""
    title = "غرفة المعيشة " + "x" * 460 + " 🏡"
    what = contents(title=title, project="بيت على الشاطئ <b>", studio="Ö" * 120)
    page = opened(what, width=width)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.evaluate("getComputedStyle(document.querySelector('h1')).direction") == "rtl"
    parts = page.locator(".about bdi").evaluate_all(
        "all => all.map(one => [one.getBoundingClientRect().top, one.getBoundingClientRect().left])"
    )
    assert parts == sorted(parts)


def test_without_scripts_all_pictures_are_there(opened: Any) -> None:
    page = opened(java_script_enabled=False)
    assert page.locator("figure img").count() == 4
    assert page.locator("figure img").first.is_visible()
    assert not page.locator("#viewer").is_visible()


def several() -> PageContents:
    """Two views of one project; a comment number 1 in each."""
    views = []
    for key, title, moods in (
        ("living", "Living room", ("day", "dusk")),
        ("kitchen", "Kitchen", ("dusk", "night")),
    ):
        said = Comment(
            f"urn:x:{key}", "dusk", None, Box(20, 30, 1, 1), f"{title}: warmer.", number=1
        )
        pictures = (*(picture(mood) for mood in moods), picture("dusk", 2))
        views.append(PageView(key, title, pictures, comments=(said,)))
    return PageContents("house", "House at Veldmere", tuple(views), "House at Veldmere")


def test_views_are_chosen_in_the_same_mood(opened: Any) -> None:
    page = opened(several())
    assert page.locator(".moods:visible button").all_inner_texts() == ["Day", "Dusk"]
    page.click(".moods:visible button:has-text('Dusk')")
    page.select_option("#beside", label="Day")
    page.click("button:has-text('Kitchen')")
    assert page.locator("#beside").input_value() == ""  # another camera cannot lie over it
    assert page.locator("#beside option").all_inner_texts() == [
        "nothing", "Dusk", "Night", "Dusk, round 2"
    ]  # fmt: skip
    assert page.locator(".moods:visible button[aria-pressed=true]").inner_text() == "Dusk"
    assert near(colour_at(page, 0.52, 0.5), "dusk")
    page.click(".moods:visible button:has-text('Night')")
    page.click("button:has-text('Living room')")  # where there is no night
    assert near(colour_at(page, 0.52, 0.5), "day")


def test_comments_find_back_to_their_view(opened: Any, tmp_path: Path) -> None:
    page = opened(several())
    assert page.locator(".words h3.view").all_inner_texts() == ["Living room", "Kitchen"]
    comment_at(page, 0.3, 0.3, "of the living room")
    page.click("button:has-text('Kitchen')")
    assert page.locator("#pins .pin").count() == 1  # dusk: the one that was taken in
    comment_at(page, 0.6, 0.6, "of the kitchen")
    with page.expect_download() as download:
        page.click("text=Save comments")
    file = tmp_path / "comments.json"
    download.value.save_as(file)
    assert download.value.suggested_filename == "house_comments.json"
    for view, text in (("living", "of the living room"), ("kitchen", "of the kitchen")):
        read = read_comments(file, view, ("day", "dusk", "night"))
        assert [each.text for each in read.comments] == [text]
        assert len(read.notes) == 1  # the other one is of another view
