"""The command line: one thin file per command over the library."""

from evenfall.cli.main import main

__all__ = ["main"]
