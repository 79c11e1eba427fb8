"""The review page as one HTML file that needs nothing else.

Its content security policy lets in this page's own style and script, by their hashes, and pictures
and fonts that stand in the file; nothing is fetched, and nothing else runs. Everything that comes
from a recipe, a round or a comment is escaped.
"""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Iterable
from html import escape
from pathlib import Path

from evenfall.comments.model import Comment, picture_source
from evenfall.page.contents import PageContents, PageView
from evenfall.system.regular import read_whole

__all__ = ["build_page"]

_ASSETS = Path(__file__).parent / "assets"
_LONG_TITLE = 80  # letters, beyond which it is set smaller
_FONTS = (
    ("Inter page", "Inter-Regular.woff2"),
    ("Inter light page", "InterDisplay-Light.woff2"),
)


def build_page(contents: PageContents) -> bytes:
    """Build the page.

    Parameters
    ----------
    contents : PageContents
        With at least one picture as it stands in each view.

    Returns
    -------
    bytes
        HTML, UTF-8.

    Examples
    --------
    >>> from evenfall.deliver.jpeg import encode_jpeg
    >>> from evenfall.page.contents import PagePicture
    >>> import numpy as np
    >>> grey = encode_jpeg(np.full((9, 16, 3), 118, np.uint8))
    >>> day = PagePicture("day", "Day", grey, 16, 9)
    >>> living = PageView("living", "Living room", (day,))
    >>> page = build_page(PageContents("living", "<Living>", (living,)))
    >>> b"&lt;Living&gt;" in page, b"http://" in page.replace(b"http://www.w3.org", b"")
    (True, False)
    """
    style = _style()
    script = read_whole(_ASSETS / "page.js").decode()
    policy = (
        "default-src 'none'; img-src data:; font-src data:; "
        f"style-src {_hash(style)}; script-src {_hash(script)}; "
        "base-uri 'none'; form-action 'none'"
    )
    head = [
        "<!doctype html>",
        '<html lang="en">',
        "<head>",
        '<meta charset="utf-8">',
        f'<meta http-equiv="Content-Security-Policy" content="{escape(policy)}">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        '<meta name="color-scheme" content="light dark">',
        '<meta name="referrer" content="no-referrer">',
        f"<title>{escape(_joined(contents.title, contents.project))}</title>",
        f"<style>{style}</style>",
        "</head>",
    ]
    body = [
        "<body>",
        *_header(contents),
        "<main>",
        *_viewer(contents),
        *_gallery(contents),
        *_comments(contents),
        *_rounds(contents),
        *_settings(contents),
        "</main>",
    ]
    tail = [
        f'<script type="application/json" id="page-data">{_data(contents)}</script>',
        f"<script>{script}</script>",
        "</body>",
        "</html>",
        "",
    ]
    return _with_size("\n".join([*head, *body]), "\n".join(tail))


def _with_size(page: str, tail: str) -> bytes:
    """Put in the footer how large the page is, itself included."""
    size = len(page.encode()) + len(tail.encode()) + 160
    footer = (
        f"<footer><p>This page is one file of {size / 1e6:.1f} MB and needs no network. "
        "Comments stay in your browser until you save them.</p></footer>"
    )
    return "\n".join([page, footer, tail]).encode()


def _style() -> str:
    faces = []
    for family, file in _FONTS:
        data = base64.b64encode(read_whole(_ASSETS / file)).decode()
        faces.append(
            f'@font-face {{ font-family: "{family}"; src: url(data:font/woff2;base64,{data}) '
            'format("woff2"); }'
        )
    return "\n".join([*faces, read_whole(_ASSETS / "page.css").decode()])


def _hash(text: str) -> str:
    digest = hashlib.sha256(text.encode()).digest()
    return f"'sha256-{base64.b64encode(digest).decode()}'"


def _joined(*parts: str) -> str:
    return " · ".join(dict.fromkeys(part for part in parts if part))


def _line(*parts: str) -> str:
    """Join parts that may each be written from right to left."""
    return " · ".join(f"<bdi>{escape(part)}</bdi>" for part in dict.fromkeys(parts) if part)


def _header(contents: PageContents) -> Iterable[str]:
    yield "<header>"
    long = ' class="long"' if len(contents.title) > _LONG_TITLE else ""
    yield f'<div><h1{long} dir="auto">{escape(contents.title)}</h1>'
    rounds = {view.round_name for view in contents.views}
    project = "" if contents.project == contents.title else contents.project
    about = _line(project, contents.date, rounds.pop() if len(rounds) == 1 else "")
    if about:
        yield f'<p class="about">{about}</p>'
    yield "</div>"
    if contents.studio:
        yield f'<p class="studio" dir="auto">{escape(contents.studio)}</p>'
    yield "</header>"


def _viewer(contents: PageContents) -> Iterable[str]:
    yield '<section id="viewer" aria-label="Pictures" hidden>'
    yield '<div class="choice"><div>'
    if contents.shows_several:
        yield '<div class="views" role="group" aria-label="View">'
        for view in contents.views:
            yield (
                f'<button type="button" data-view="{escape(view.key)}" aria-pressed="false">'
                f"{escape(view.title)}</button>"
            )
        yield "</div>"
    for view in contents.views:
        yield f'<div class="moods" role="group" aria-label="Mood" data-view="{escape(view.key)}">'
        for picture in view.pictures:
            key = escape(contents.picture_key(view, picture))
            if picture.round_number is None:
                yield (
                    f'<button type="button" data-key="{key}" aria-pressed="false">'
                    f"{escape(picture.title)}</button>"
                )
        yield "</div>"
    yield '</div><div class="aside">'
    yield '<label for="beside">Compare with</label>'
    yield '<select id="beside"><option value="">nothing</option>'
    for view in contents.views:
        for picture in view.pictures:
            key = escape(contents.picture_key(view, picture))
            yield (
                f'<option value="{key}" data-view="{escape(view.key)}">'
                f"{escape(picture.full_title)}</option>"
            )
    yield "</select>"
    yield '<button type="button" id="blink" aria-pressed="false" hidden>Blink</button>'
    yield '<button type="button" id="comment">Comment on a spot</button>'
    yield "</div></div>"
    yield '<div class="stage" id="stage">'
    yield '<img id="under" alt=""><img id="over" class="other" alt="" hidden>'
    yield '<span class="name-tag left" id="left-name" hidden></span>'
    yield '<span class="name-tag right" id="right-name" hidden></span>'
    yield '<div id="pins"></div>'
    yield (
        '<div class="area asked" id="asked" role="application" tabindex="0" '
        'aria-label="Spot of your comment" hidden></div>'
    )
    yield (
        '<div class="edge" id="edge" role="slider" tabindex="0" aria-label="Edge" '
        'aria-valuemin="0" aria-valuemax="100" aria-valuenow="50" hidden></div>'
    )
    yield "</div>"
    yield '<form id="form" hidden>'
    yield '<p class="soft" id="asked-where"></p>'
    yield '<label for="text">Your comment'
    yield '<textarea id="text" maxlength="4000" aria-describedby="text-wrong" '
    yield 'dir="auto"></textarea></label>'
    yield '<p id="text-wrong" role="alert"></p>'
    yield '<label for="author">Your name'
    yield '<input type="text" id="author" maxlength="100" autocomplete="name"></label>'
    yield '<div class="row"><button class="main" type="submit">Keep comment</button>'
    yield '<button type="button" id="discard">Discard</button></div></form>'
    yield '<p class="soft">Touch a spot or draw a rectangle to say something about it.</p>'
    yield "</section>"


def _gallery(contents: PageContents) -> Iterable[str]:
    yield '<section id="gallery" aria-label="All pictures">'
    for view in contents.views:
        yield from _view_head(contents, view)
        for picture in view.pictures:
            data = base64.b64encode(picture.jpeg).decode()
            key = escape(contents.picture_key(view, picture))
            title = escape(contents.picture_title(view, picture))
            yield (
                f'<figure><div class="held"><img data-key="{key}" alt="{title}" '
                f'width="{picture.width}" height="{picture.height}" '
                f'src="data:image/jpeg;base64,{data}"><div data-pins="{key}"></div></div>'
                f'<figcaption dir="auto">{title}</figcaption></figure>'
            )
    yield "</section>"


def _view_head(contents: PageContents, view: PageView) -> Iterable[str]:
    """Give the name of a view above what is said of it, where there are several."""
    if contents.shows_several:
        yield f'<h3 class="view" dir="auto">{escape(view.title)}</h3>'


def _comments(contents: PageContents) -> Iterable[str]:
    said = [view for view in contents.views if view.comments]
    yield '<section class="words" aria-labelledby="comments-head">'
    yield '<h2 id="comments-head">Comments</h2>'
    yield f'<p id="none" class="soft"{" hidden" if said else ""}>There are no comments yet.</p>'
    for view in said:
        titles = {picture.mood: picture.title for picture in view.pictures}
        yield from _view_head(contents, view)
        yield '<ol class="comments">'
        for comment in view.comments:
            yield from _comment(comment, titles)
        yield "</ol>"
    yield '<ol class="comments" id="mine" aria-label="Your comments"></ol>'
    yield '<p id="told" role="status"></p>'
    yield '<div class="tools" id="tools" hidden>'
    yield '<div id="outgoing" hidden><div class="row">'
    yield '<button class="main" type="button" id="save">Save comments</button>'
    yield '<button type="button" id="copy">Copy as text</button></div>'
    yield "<details><summary>Your comments as text</summary>"
    yield (
        '<label for="as-text">To send where no file can go'
        '<textarea id="as-text" readonly></textarea></label></details></div>'
    )
    yield (
        '<div class="row"><span class="file"><label for="bring">Open a comments file</label>'
        '<input type="file" id="bring" accept=".json,application/json" multiple></span></div>'
    )
    yield "</div></section>"


def _comment(comment: Comment, titles: dict[str, str]) -> Iterable[str]:
    title = titles.get(comment.mood, comment.mood)
    if comment.round_number is not None:
        title = f"{title}, round {comment.round_number}"
    yield f'<li id="remark-{escape(comment.id)}" tabindex="-1">'
    yield f'<span class="number">{comment.number}</span><div>'
    yield f'<div class="said" dir="auto">{escape(comment.text)}</div>'
    yield f'<div class="soft">{_line(title, comment.author)}</div>'
    if comment.answer:
        yield f'<div class="answer">Answer: <bdi>{escape(comment.answer)}</bdi></div>'
    yield "</div></li>"


def _rounds(contents: PageContents) -> Iterable[str]:
    rounds = [(view, each) for view in contents.views for each in view.rounds]
    if not rounds:
        return
    yield '<section class="words" aria-labelledby="rounds-head">'
    yield '<h2 id="rounds-head">Asked and answered</h2>'
    for view, each in rounds:
        of_view = view.title if contents.shows_several else ""
        yield f"<h3>{escape(_joined(of_view, f'Round {each.number}', each.date, each.by))}</h3>"
        pairs = [("Asked", each.asked)] if each.asked else []
        pairs += [("Changed", "\n".join(each.changes))] if each.changes else []
        pairs += list(each.answers)
        if pairs:
            yield "<dl>"
            for term, said in pairs:
                yield f'<dt dir="auto">{escape(term)}</dt><dd dir="auto">{escape(said)}</dd>'
            yield "</dl>"
    yield "</section>"


def _settings(contents: PageContents) -> Iterable[str]:
    if all(view.settings is None for view in contents.views):
        return
    yield '<section class="words" aria-labelledby="lights-head">'
    yield '<h2 id="lights-head">Lights</h2>'
    for view in contents.views:
        if view.settings is None:
            continue
        yield from _view_head(contents, view)
        yield '<div class="scroll" role="region" aria-label="Settings by mood" tabindex="0"><table>'
        heads = "".join(f'<th scope="col">{escape(mood)}</th>' for mood in view.settings.moods)
        yield f"<tr><td></td>{heads}</tr>"
        for light, said in view.settings.rows:
            cells = "".join(f"<td>{escape(each)}</td>" for each in said)
            yield f'<tr><th scope="row">{escape(light)}</th>{cells}</tr>'
        yield "</table></div>"
    yield "</section>"


def _data(contents: PageContents) -> str:
    """Give the script what it needs to know; no text can end the element that it stands in."""
    told = {
        "view": contents.key,
        "stem": contents.key,
        "pictures": [
            {
                "key": contents.picture_key(view, each),
                "view": view.key,
                "mood": each.mood,
                "source": picture_source(view.key, each.mood, each.round_number),
                "title": contents.picture_title(view, each),
                "width": each.width,
                "height": each.height,
            }
            for view in contents.views
            for each in view.pictures
        ],
        "remarks": [one for view in contents.views for one in _remarks(contents, view)],
    }
    text = json.dumps(told, ensure_ascii=True)
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


def _remarks(contents: PageContents, view: PageView) -> Iterable[dict[str, object]]:
    """Give the comments of a view, on pictures that are shown."""
    keys = {
        (each.mood, each.round_number): contents.picture_key(view, each) for each in view.pictures
    }
    for each in view.comments:
        if (each.mood, None) in keys:
            box = {"x": each.box.x, "y": each.box.y, "w": each.box.width, "h": each.box.height}
            yield {
                "id": each.id,
                "picture": keys.get((each.mood, each.round_number), keys[each.mood, None]),
                "box": box,
                "text": each.text,
                "author": each.author,
                "created": each.created,
                "number": each.number,
                "answer": each.answer,
            }
