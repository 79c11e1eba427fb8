"""The tables and the plot of docs/performance.md, from measured numbers."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

_BLOCK = "<!-- measured: {name} -->\n{text}\n<!-- end -->"
_GIB = 2**30 / 1e6
_INK, _SOFT, _LINES = "#1d1d1c", "#6d6b67", ("#1d1d1c", "#b5651d", "#4a6d8c")


def write_page(results: dict[str, Any], docs: Path) -> None:
    """Put the numbers into the page between its markers, and draw the plot beside it."""
    parts = {
        "machine": _machine(results["machine"]),
        "targets": _targets(results),
        "stages": _stages(results),
        "growth": _growth(results),
        "large": _large(results),
    }
    fill_blocks(parts, docs)
    _plot(results, docs / "pictures" / "performance.png")


def fill_blocks(parts: Mapping[str, str], docs: Path) -> None:
    """Put texts into the page between their markers."""
    page = docs / "performance.md"
    text = page.read_text(encoding="utf-8")
    for name, part in parts.items():
        block = re.compile(rf"<!-- measured: {name} -->.*?<!-- end -->", re.DOTALL)
        if not block.search(text):
            raise SystemExit(f"{page}: the marker for {name} is gone")
        text = block.sub(lambda _, n=name, t=part: _BLOCK.format(name=n, text=t), text)
    page.write_text(text, encoding="utf-8")


def table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    lines = [f"| {' | '.join(head)} |", f"|{'---|' * len(head)}"]
    return "\n".join([*lines, *(f"| {' | '.join(row)} |" for row in rows)])


def target(goal: float | None, seconds: float) -> str:
    """Say what a time was to be, and whether it is missed."""
    if goal is None:
        return ""
    return f"{goal:.1f} s" + ("" if seconds <= goal else " (missed)")


def _machine(machine: dict[str, Any]) -> str:
    return (
        f"Measured on {machine['date']}: {machine['processors']} processors, {machine['system']}, "
        f"Python {machine['python']}, numpy {machine['numpy']}, OpenEXR {machine['OpenEXR']}, "
        f"imagecodecs {machine['imagecodecs']}, zlib-ng {machine['zlib-ng']}, "
        f"Pillow {machine['Pillow']}."
    )


def _targets(results: dict[str, Any]) -> str:
    run, floor, plain = (results[name] for name in ("run", "floor", "floor plain"))
    seconds = run["seconds"]
    stages = results["stages"]
    draft, script = results["further draft"], results["straightforward script"]
    lights = [results[f"lights {count}"]["peak_mb"] for count in (6, 24)]
    layers = [results[f"layers {count}"]["peak_mb"] for count in (6, 24)]
    rows = [
        _row("the whole command", run),
        _row("floor, PNG by imagecodecs at level 1", plain),
        _ratio("command over floor", seconds / plain["seconds"], "1.6, reaching for 1.25"),
        _row("floor with our own PNG writer", floor),
        _ratio("command over that floor", seconds / floor["seconds"], "1.6, reaching for 1.25"),
        _row("with the contact sheet", results["run with contact sheet"]),
        _row("straightforward script", script),
        _ratio("script over command", script["seconds"] / seconds, "8 or more", least=8.0),
        _ratio("mix over decoding, processor time", stages["mix"] / stages["decode"], "0.5"),
        ("peak memory, 12 passes, 3 moods", f"{run['peak_mb'] / _GIB:.2f} GiB", "1.2 GiB"),
        _ratio("peak memory of 24 lights over 6", lights[1] / lights[0], "1.1"),
        _ratio("the same, as layers of one file", layers[1] / layers[0], "1.1"),
        _row("first draft", results["first draft"]),
        _row("first draft after a survey", results["first draft after a survey"]),
        _row("further draft", draft),
        _ratio("further draft over command", draft["seconds"] / seconds, "0.2"),
        _row("second run, one light of one mood", results["second run, one light of one mood"]),
        _row("second run, nothing changed", results["second run, nothing changed"]),
        _ratio(
            "`evenfall --help` over `import click`",
            results["help"]["seconds"] / results["import click"]["seconds"],
            "3",
        ),
    ]
    return table(("", "measured", "target"), rows)


def _row(name: str, measured: dict[str, float]) -> tuple[str, str, str]:
    return name, f"{measured['seconds']:.2f} s", ""


def _ratio(
    name: str, ratio: float, target: str, least: float | None = None
) -> tuple[str, str, str]:
    limit = float(re.match(r"[\d.]+", target)[0])  # type: ignore[index]
    met = ratio >= least if least is not None else ratio <= limit
    return name, f"**{ratio:.2f}**" + ("" if met else " (missed)"), target


def _stages(results: dict[str, Any]) -> str:
    stages = results["stages"]
    total = sum(stages.values())
    rows = [
        (stage, f"{seconds:.2f} s", f"{100 * seconds / total:.0f} %")
        for stage, seconds in stages.items()
    ]
    return table(("stage", "processor time", "share"), [*rows, ("together", f"{total:.2f} s", "")])


def _growth(results: dict[str, Any]) -> str:
    rows = []
    for name, measured in results.items():
        kind, _, amount = name.partition(" ")
        if kind in ("pixels", "lights", "layers", "moods") and "," not in name:
            fixed = {
                "pixels": "6 lights, 3 moods",
                "lights": "3840x2160, 3 moods",
                "layers": "3840x2160, 3 moods",
                "moods": "3840x2160, 6 lights",
            }[kind]
            what = f"{amount} {kind}"
            if kind == "pixels":
                what = amount
            if kind == "layers":
                what = f"{amount} lights in one file"
            rows.append(
                (what, fixed, f"{measured['seconds']:.2f} s", f"{measured['peak_mb']:.0f} MB")
            )
    return table(("", "with", "time", "peak memory"), rows)


def _large(results: dict[str, Any]) -> str:
    large = results.get("large")
    if large is None:
        return "Not measured this time (`--large`)."
    return (
        f"At 15360x8640, 4 lights and 3 moods took {large['seconds']:.0f} s and "
        f"{large['peak_mb'] / _GIB:.2f} GiB (target 8 GiB)."
    )


def _plot(results: dict[str, Any], path: Path) -> None:
    import matplotlib as mpl

    mpl.use("Agg")
    from matplotlib import pyplot

    mpl.rcParams.update({"font.size": 9, "axes.edgecolor": _SOFT, "text.color": _INK})
    figure, axes = pyplot.subplots(2, 3, figsize=(9.6, 5.2), sharey="row", dpi=150)
    for column, kind in enumerate(("pixels", "lights", "moods")):
        points = _points(results, kind)
        for row, (field, unit) in enumerate((("seconds", "s"), ("peak_mb", "MB"))):
            axis = axes[row][column]
            values = [measured[field] for _, measured in points]
            axis.plot([x for x, _ in points], values, "o-", color=_LINES[row], linewidth=1.4)
            axis.set_xlim(left=0)
            axis.set_ylim(bottom=0)
            axis.spines[["top", "right"]].set_visible(False)
            axis.grid(color="#e6e3dd", linewidth=0.6)
            if column == 0:
                axis.set_ylabel(("time, " if row == 0 else "peak memory, ") + unit)
            if row == 1:
                axis.set_xlabel("megapixels" if kind == "pixels" else kind)
    figure.tight_layout()
    path.parent.mkdir(exist_ok=True)
    figure.savefig(path)


def _points(results: dict[str, Any], kind: str) -> list[tuple[float, dict[str, float]]]:
    points = []
    for name, measured in results.items():
        head, _, amount = name.partition(" ")
        if head == kind and re.fullmatch(r"[\dx]+", amount):
            numbers = [int(number) for number in amount.split("x")]
            points.append((numbers[0] * numbers[-1] / 1e6 if kind == "pixels" else numbers[0],
                           measured))  # fmt: skip
    return sorted(points, key=lambda point: point[0])
