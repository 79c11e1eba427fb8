"""The plan of passes as plain text that fits its terminal."""

from __future__ import annotations

from evenfall.survey.plan import CAUTIONS, FORMAT, Caution, PassPlan, PlannedLight

__all__ = ["TEXT_WIDTH", "sheet_text"]

TEXT_WIDTH = 79
"""Characters of a line that every terminal and every printed page has room for."""

_NARROWEST_TEXT = 24  # characters for what is on, beside names and files
_LONGEST_NAME = 24  # characters in the matrix; the list above it has names in full
_MARK_WIDTH = 3
_NO_BREAK = "\xa0"


def sheet_text(plan: PassPlan, *, width: int = TEXT_WIDTH) -> str:
    """Write the plan as plain text, for a terminal or a file.

    Parameters
    ----------
    plan : PassPlan
        What to write.
    width : int
        Longest line in characters, from 40; a longer name or file name stays in one piece.

    Examples
    --------
    >>> from evenfall.survey.plan import plan_passes
    >>> print(sheet_text(plan_passes(["sun", "sky"], title="Living room")).split("Save")[0])
    Living room: 2 passes and a beauty
    <BLANKLINE>
         pass    file        what is on
      1  sun     sun.exr     the sun or other key alone; sky and lamps off
      2  sky     sky.exr     the sky alone, and the background; sun and lamps off
      B  beauty  beauty.exr  all lights
    <BLANKLINE>
    On and off (columns are lights by number)
    <BLANKLINE>
                 1  2
      1  sun     o  .
      2  sky     .  o
      B  beauty  o  o
    <BLANKLINE>
    """
    count = len(plan.lights)
    head = f"{plan.title}: {count} pass{'' if count == 1 else 'es'} and a beauty"
    return "\n".join(
        [
            *_wrapped("", head, width),
            "",
            *_pass_lines(plan, width),
            "",
            "On and off (columns are lights by number)",
            *_matrix_lines(plan, width),
            "",
            "Save all of them alike",
            *(line for name, text in FORMAT for line in _wrapped(f"  {name:<13} ", text, width)),
            "",
            "What keeps them additive",
            *(line for caution in CAUTIONS for line in _caution_lines(caution, width)),
            "",
            "Then: evenfall survey FOLDER --write view.toml",
            "      evenfall prove view.toml",
        ]
    )


def _wrapped(head: str, text: str, width: int) -> list[str]:
    """Break text after its head; what follows stands below the text's beginning."""
    import textwrap

    below = " " * len(head)
    room = max(width, len(head) + 12)
    lines = textwrap.wrap(
        text,
        room,
        initial_indent=head,
        subsequent_indent=below,
        break_long_words=False,
        break_on_hyphens=False,
    )
    return [line.replace(_NO_BREAK, " ") for line in lines]


def _pass_lines(plan: PassPlan, width: int) -> list[str]:
    """Write a table, or where that is too wide a paragraph for each pass."""
    rows = [
        (
            str(number),
            light.label,
            light.file,
            " ".join(part for part in (light.what_is_on, _figures(light)) if part),
        )
        for number, light in enumerate(plan.lights, 1)
    ]
    rows.append(("B", "beauty", plan.beauty, "all lights"))
    head = ("", "pass", "file", "what is on")
    widths = [max(len(row[column]) for row in (head, *rows)) for column in range(3)]
    if width - sum(widths) - 8 < _NARROWEST_TEXT:
        return [line for row in rows for line in _pass_paragraph(row, widths[0], width)]
    lines: list[str] = []
    for number, name, place, on in (head, *rows):
        begin = f"  {number:>{widths[0]}}  {name:<{widths[1]}}  {place:<{widths[2]}}  "
        lines += _wrapped(begin, on, width)
    return lines


def _figures(light: PlannedLight) -> str:
    """How it is to be rendered, in one piece."""
    return f"({light.rendered})".replace(" ", _NO_BREAK) if light.rendered else ""


def _pass_paragraph(row: tuple[str, str, str, str], number_width: int, width: int) -> list[str]:
    number, name, place, on = row
    begin = f"  {number:>{number_width}}  "
    below = " " * len(begin)
    return [*_wrapped(begin, name, width), f"{below}{place}", *_wrapped(below, on, width)]


def _matrix_lines(plan: PassPlan, width: int) -> list[str]:
    """Write the matrix, in blocks of as many columns as a line holds."""
    names = [_shortened(light.label) for light in plan.lights] + ["beauty"]
    numbers = [*(str(number) for number in range(1, len(plan.lights) + 1)), "B"]
    number_width = max(len(number) for number in numbers)
    name_width = max(len(name) for name in names)
    most = max(1, (width - number_width - name_width - 4) // _MARK_WIDTH)
    lines: list[str] = []
    for start in range(0, len(plan.lights), most):
        block = slice(start, start + most)
        head = "".join(f"{n:>{_MARK_WIDTH}}" for n in numbers[:-1][block])
        lines += ["", f"  {'':>{number_width}}  {'':<{name_width}}{head}"]
        for number, name, row in zip(numbers, names, plan.matrix(), strict=True):
            marks = "".join(f"{'o' if on else '.':>{_MARK_WIDTH}}" for on in row[block])
            lines.append(f"  {number:>{number_width}}  {name:<{name_width}}{marks}")
    return lines


def _shortened(name: str) -> str:
    return name if len(name) <= _LONGEST_NAME else f"{name[: _LONGEST_NAME - 3].rstrip()}..."


def _caution_lines(caution: Caution, width: int) -> list[str]:
    return [f"  [ ] {caution.title}", *_wrapped(" " * 6, caution.text, width)]
