"""The command line: one thin file per command over the library."""
