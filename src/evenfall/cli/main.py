"""The command `evenfall`: commands are loaded only when they are called."""

from __future__ import annotations

import importlib
import sys
from typing import Any

import click

from evenfall.cli.saying import say
from evenfall.cli.stopping import INTERRUPTED, stop_in_order
from evenfall.errors import EvenfallError

__all__ = ["main"]

_COMMANDS = {
    "survey": "Look at a folder of passes and write a first recipe.",
    "check": "Report all faults of a recipe, and advice, without writing anything.",
    "change": "Change a recipe in words, counted from its present values.",
    "run": "Make the deliverables of all moods, or of chosen ones.",
    "compare": "Show what differs between two recipes, rounds or pictures.",
    "desk": "Balance a view by hand, on a page of this machine.",
    "round": "Keep rounds of feedback: what was asked, what changed, what came out.",
    "trace": "Show how a delivered picture was made, or make it again.",
    "meter": "Show gains, tints, ratios, exposure and noise headroom of every mood.",
    "prove": "Show whether the passes add up to the beauty.",
    "plan": "Print which passes to render, before anything is rendered.",
    "ask": "Ask the picture what lights a spot.",
    "aim": "Solve gains from what a mood should show.",
    "match": "Solve gains that make a mood look like a picture.",
    "page": "Write a review page for the client: one file, no network.",
    "comments": "Collect, show and answer what a client said on the page.",
    "board": "Lay the moods out on pages to print, as a PDF.",
    "handback": "Hand a mood's balance back to the lamps of the scene.",
    "daylight": "Show sun and sky by the hour, as gains and tints.",
    "schema": "Print the recipe's JSON Schema, for editors.",
}


class LazyGroup(click.Group):
    """A group that imports a command's file only when that command runs."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(_COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in _COMMANDS:
            return None
        module = importlib.import_module(f"evenfall.cli.{cmd_name}_command")
        if cmd_name != "run":  # which says itself when it begins to write
            stop_in_order()
        command: click.Command = module.command
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl(list(_COMMANDS.items()))

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        name = args[0]
        if name not in _COMMANDS and not name.startswith("-"):
            from difflib import get_close_matches

            close = get_close_matches(name, _COMMANDS, n=1)
            hint = f" Did you mean '{close[0]}'?" if close else ""
            ctx.fail(f"No such command '{name}'.{hint} Commands: {', '.join(_COMMANDS)}.")
        return super().resolve_command(ctx, args)

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except EvenfallError as error:
            say(str(error), err=True)
            faults = getattr(error, "faults", ())
            if len(faults) > 1:
                say(f"{len(faults)} faults.", err=True)
            for line in getattr(error, "__notes__", ()):
                say(line, err=True)
            ctx.exit(error.exit_code)
        except MemoryError:
            say("There is not enough memory for this.", err=True)
            ctx.exit(1)
        except KeyboardInterrupt:
            say("Stopped.", err=True)
            ctx.exit(INTERRUPTED)


@click.group("evenfall", cls=LazyGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="evenfall")
def main() -> None:
    """Balance the light of a rendered view after it was rendered.

    Give it one scene-linear pass per light, and one recipe file; it makes day, dusk and night
    without rendering again.

    \b
    The usual order of work:
      evenfall survey passes/ --write view.toml    find the lights, write a recipe
      evenfall prove view.toml                     do they add up to the beauty?
      evenfall check view.toml                     faults and advice
      evenfall run view.toml --draft               quick small pictures
      evenfall meter view.toml                     figures, and advice from the pixels
      evenfall run view.toml                       the deliverables
    """  # noqa: D301 -- click needs the backspace itself
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
