"""Program of the trial process: a file is read by OpenColorIO, and what came of it is told.

Run by `evenfall.look.trials`, alone and without importing the package. Arguments: the kind of file
("lut", "cdl" or "view"), its path, seconds of processor time, bytes of address space; for a view
its source, display and name. One line of JSON goes to standard output: why the file was refused, if
it was, and whether it is a config at least; what was read beside it, and from which folders.
"""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path


def main() -> int:
    """Read the file."""
    kind, path, seconds, address_space, *names = sys.argv[1:]
    out = os.fdopen(os.dup(1), "w", encoding="ascii")
    silence = os.open(os.devnull, os.O_WRONLY)
    os.dup2(silence, 1)
    os.dup2(silence, 2)
    _limit(int(seconds), int(address_space))
    import PyOpenColorIO

    refusals = (PyOpenColorIO.Exception, PyOpenColorIO.ExceptionMissingFile, UnicodeDecodeError)
    told: dict[str, object] = {"refused": None, "is_config": False, "files": [], "folders": []}
    try:
        if kind == "view":
            _read_view(told, path, *names)
        else:
            _read_transform(kind, path)
    except refusals as error:
        # Its words may quote bytes of a file that are no text; older Pythons then have no words.
        words = "" if isinstance(error, UnicodeDecodeError) else str(error)
        told["refused"] = words or "it is no text"
    with out:
        json.dump(told, out)
    return 0


def _read_transform(kind: str, path: str) -> None:
    import PyOpenColorIO

    if kind == "cdl":
        transform = PyOpenColorIO.CDLTransform.CreateGroupFromFile(path)
    else:
        transform = PyOpenColorIO.FileTransform(path, interpolation=PyOpenColorIO.INTERP_BEST)
    processor = PyOpenColorIO.Config.CreateRaw().getProcessor(transform)
    processor.createGroupTransform()
    processor.getDefaultCPUProcessor()


def _read_view(told: dict[str, object], path: str, source: str, display: str, view: str) -> None:
    import PyOpenColorIO

    config = PyOpenColorIO.Config.CreateFromFile(path)
    told["is_config"] = True
    folder = Path(config.getWorkingDir())
    told["folders"] = [str(folder), *(str(folder / each) for each in config.getSearchPaths())]
    if display not in config.getDisplays() or view not in config.getViews(display):
        return
    if source in config.getColorSpaceNames() or config.hasRole(source):
        forward = PyOpenColorIO.TRANSFORM_DIR_FORWARD
        processor = config.getProcessor(source, display, view, forward)
        processor.getDefaultCPUProcessor()
        told["files"] = list(processor.getProcessorMetadata().getFiles())


def _limit(seconds: int, address_space: int) -> None:
    try:
        import resource
    except ImportError:  # not on Windows
        return
    for kind, most in (
        (resource.RLIMIT_CPU, seconds),
        (resource.RLIMIT_AS, address_space),
        (resource.RLIMIT_CORE, 0),
    ):
        _, hard = resource.getrlimit(kind)
        if hard == resource.RLIM_INFINITY or most < hard:
            resource.setrlimit(kind, (most, hard))


if __name__ == "__main__":
    sys.exit(main())
