"""The plan of passes as a page to print: HTML that needs nothing else, for A4 or Letter."""

from __future__ import annotations

from html import escape

from evenfall.drawings.page import AREA, HAIRLINE, INK, SOFT_INK
from evenfall.survey.plan import CAUTIONS, FORMAT, PassPlan

__all__ = ["plan_page"]

_WIDEST_COLUMN, _MATRIX_WIDTH = 8.5, 108.0  # mm
_LARGEST_HEAD = 8.5  # points
_HEAD_TO_COLUMN = 1.9  # points of type a mm of column, so that leaning heads keep apart
_ONE_PAGE = 30  # rows of the matrix that fit on a page

_STYLE = """
@page { size: A4 portrait; margin: 16mm 15mm 15mm;
  @bottom-right { content: counter(page) " / " counter(pages); font: 8pt Inter, sans-serif;
    color: %(soft)s; } }
* { box-sizing: border-box; }
html { font: 9.5pt/1.45 Inter, "Source Sans 3", "Segoe UI", "Helvetica Neue", Arial, sans-serif;
  color: %(ink)s; background: #fff; font-variant-numeric: tabular-nums; }
body { margin: 0 auto; max-width: 190mm; padding: 12mm 6mm; }
@media print { body { padding: 0; max-width: none; } }
h1 { font-weight: 300; font-size: 25pt; line-height: 1.15; margin: 0 0 1mm;
  letter-spacing: -0.01em; }
h2 { font-weight: 600; font-size: 10.5pt; margin: 7mm 0 2mm; break-after: avoid; }
p { margin: 0; }
.lead { color: %(soft)s; font-size: 11pt; }
table { border-collapse: collapse; width: 100%%; }
th { text-align: left; font-weight: 500; color: %(soft)s; font-size: 8.5pt;
  padding: 0 4mm 1.5mm 0; vertical-align: bottom; }
td { padding: 1.2mm 4mm 1.2mm 0; border-top: 0.25mm solid %(hairline)s; vertical-align: top; }
tr { break-inside: avoid; }
td.box { width: 8mm; } td.number { width: 8mm; color: %(soft)s; }
.tick { display: inline-block; width: 3.4mm; height: 3.4mm; border: 0.3mm solid %(ink)s;
  vertical-align: -0.4mm; }
.file { font-family: "DejaVu Sans Mono", Consolas, Menlo, monospace; font-size: 8.5pt; }
td.file { overflow-wrap: anywhere; min-width: 48mm; }
.soft { color: %(soft)s; }
.matrix { width: auto; } .whole, .format, .cautions { break-inside: avoid; }
.matrix th.light { height: 30mm; width: %(column).2fmm; min-width: %(column).2fmm; padding: 0;
  position: relative; }
.matrix th.light span { position: absolute; left: %(lean).2fmm; bottom: 1.5mm; display: block;
  white-space: nowrap; transform-origin: left bottom; transform: rotate(-60deg);
  font-size: %(head).1fpt; color: %(ink)s; max-width: %(longest)dmm; overflow: hidden;
  text-overflow: ellipsis; }
.matrix td { padding: 1.1mm 0; vertical-align: middle; }
.matrix td.name { padding-right: 4mm; }
.matrix td.name span { display: block; max-width: 46mm; white-space: nowrap; overflow: hidden;
  text-overflow: ellipsis; }
.matrix td.mark { text-align: center; line-height: 1; }
.on, .off { display: inline-block; border-radius: 50%%; print-color-adjust: exact;
  -webkit-print-color-adjust: exact; }
.on { width: %(dot).2fmm; height: %(dot).2fmm; background: %(ink)s; }
.off { width: 1.1mm; height: 1.1mm; margin: %(margin).2fmm 0; background: %(area)s; }
.matrix tr.all td { border-top: 0.35mm solid %(ink)s; }
.cautions { columns: 2; column-gap: 9mm; padding: 0; margin: 0; list-style: none; }
.cautions li { break-inside: avoid; padding: 0 0 3mm 6.5mm; position: relative; }
.cautions .tick { position: absolute; left: 0; top: 0.9mm; }
.cautions b { font-weight: 600; display: block; }
.format td:first-child { width: 30mm; color: %(soft)s; }
.foot { margin-top: 7mm; color: %(soft)s; font-size: 8.5pt; }
"""


def plan_page(plan: PassPlan) -> str:
    """Write the plan as an HTML page that prints on A4.

    Parameters
    ----------
    plan : PassPlan
        Names in it may hold any character; they are escaped.

    Examples
    --------
    >>> from evenfall.survey.plan import plan_passes
    >>> page = plan_page(plan_passes(["sun", "sky"], title="Living room"))
    >>> page.startswith("<!doctype html>"), page.count('class="on"')
    (True, 4)
    """
    column = min(_WIDEST_COLUMN, _MATRIX_WIDTH / len(plan.lights))
    dot = min(3.6, 0.75 * column)
    style = _STYLE % {
        "ink": INK,
        "soft": SOFT_INK,
        "hairline": HAIRLINE,
        "area": AREA,
        "column": column,
        "lean": 0.4 * column,
        "dot": dot,
        "margin": max(0.0, (dot - 1.1) / 2),
        "longest": 30 if column == _WIDEST_COLUMN else 22,  # the last one leans into the margin
        "head": min(_LARGEST_HEAD, _HEAD_TO_COLUMN * column),
    }
    count = len(plan.lights)
    whole = ' class="whole"' if count <= _ONE_PAGE else ""
    size = f", {escape(plan.size)}" if plan.size else ""
    return "\n".join(
        [
            "<!doctype html>",
            '<html lang="en"><head><meta charset="utf-8">',
            f"<title>Pass plan: {escape(plan.title)}</title>",
            f"<style>{style}</style></head><body>",
            f"<h1>{escape(plan.title)}</h1>",
            f'<p class="lead">Pass plan: {count} pass{"" if count == 1 else "es"} and a '
            f"beauty{size}</p>",
            "<h2>Render these</h2>",
            _passes(plan),
            "<h2>Save all of them alike</h2>",
            _format(),
            f"<section{whole}><h2>On and off</h2>",
            _matrix(plan),
            '</section><section class="whole"><h2>What keeps them additive</h2>',
            _cautions(),
            "</section>",
            '<p class="foot">When they are rendered: <span class="file">evenfall survey FOLDER '
            '--write view.toml</span>, then <span class="file">evenfall prove view.toml</span></p>',
            "</body></html>",
            "",
        ]
    )


def _passes(plan: PassPlan) -> str:
    rows = [
        "<table><thead><tr><th></th><th></th><th>pass</th><th>file</th><th>what is on</th></tr>"
        "</thead><tbody>"
    ]
    for number, light in enumerate(plan.lights, 1):
        rendered = (
            f' <span class="soft">({escape(light.rendered)})</span>' if light.rendered else ""
        )
        rows.append(_row(str(number), light.label, light.file, escape(light.what_is_on) + rendered))
    rows.append(_row("B", "beauty", plan.beauty, "all lights"))
    return "".join([*rows, "</tbody></table>"])


def _row(number: str, label: str, place: str, on: str) -> str:
    return (
        f'<tr><td class="box"><span class="tick"></span></td><td class="number">{number}</td>'
        f'<td>{escape(label)}</td><td class="file">{escape(place)}</td><td>{on}</td></tr>'
    )


def _matrix(plan: PassPlan) -> str:
    heads = "".join(
        f'<th class="light"><span>{escape(light.label)}</span></th>' for light in plan.lights
    )
    rows = [f'<table class="matrix"><thead><tr><th></th><th></th>{heads}</tr></thead><tbody>']
    names = [*(light.label for light in plan.lights), "beauty"]
    numbers = [*(str(number) for number in range(1, len(plan.lights) + 1)), "B"]
    for number, name, row in zip(numbers, names, plan.matrix(), strict=True):
        marks = "".join(
            f'<td class="mark"><span class="{"on" if on else "off"}" '
            f'title="{"on" if on else "off"}"></span></td>'
            for on in row
        )
        kind = ' class="all"' if number == "B" else ""
        rows.append(
            f'<tr{kind}><td class="number">{number}</td><td class="name">{escape(name)}</td>'
            f"{marks}</tr>"
        )
    return "".join([*rows, "</tbody></table>"])


def _cautions() -> str:
    items = "".join(
        f'<li><span class="tick"></span><b>{escape(c.title)}</b>{escape(c.text)}</li>'
        for c in CAUTIONS
    )
    return f'<ul class="cautions">{items}</ul>'


def _format() -> str:
    rows = "".join(f"<tr><td>{escape(k)}</td><td>{escape(v)}</td></tr>" for k, v in FORMAT)
    return f'<table class="format"><tbody>{rows}</tbody></table>'
