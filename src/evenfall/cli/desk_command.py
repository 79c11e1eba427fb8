"""`evenfall desk`: balance a view by hand."""

from __future__ import annotations

from pathlib import Path

import click

from evenfall.cli.options import passes_option, recipe_argument
from evenfall.cli.saying import say

__all__ = ["command"]


@click.command("desk", short_help="Balance a view by hand, on a page of this machine.")
@recipe_argument
@passes_option
@click.option(
    "--host",
    default="127.0.0.1",
    show_default=True,
    help="Address of this machine to serve at; another than the usual one can be reached by others "
    "on its network who have the page's address.",
)
@click.option(
    "--port", type=click.IntRange(0, 65535), default=0, help="Port; a free one otherwise."
)
@click.option("--no-open", is_flag=True, help="Do not open the page in a browser.")
@click.option(
    "--workers", metavar="N", type=click.IntRange(1), help="Threads; one a processor otherwise."
)
def command(
    recipe: Path,
    passes: Path | None,
    host: str,
    port: int,
    no_open: bool,
    workers: int | None,
) -> None:
    """Serve the brief of RECIPE with live figures, beside its picture, until Ctrl-C.

    The page says each mood in sentences. Its figures turn by arrow keys (a third of a stop; a tenth
    with shift; a stop with the page keys), by dragging, or by typing what 'evenfall change' takes.
    The recipe's file changes only when it is saved there; edits that are not saved come back with
    the next desk.
    """
    from evenfall.desk.serving import serve_desk

    def ready(address: str) -> None:
        say(f"The desk of {recipe} is at {address}")
        say("Ctrl-C ends it; what is not saved comes back next time.", err=True)
        if not no_open:
            import webbrowser

            webbrowser.open(address)

    unsaved = serve_desk(
        recipe, passes=passes, host=host, port=port, workers=workers, on_ready=ready
    )
    if unsaved:
        say("Ended. Edits that are not saved are kept for the next desk.", err=True)
    else:
        say("Ended.", err=True)
