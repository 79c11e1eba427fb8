"""Versions of evenfall and of what it computes with, and a digest of its own files."""

from __future__ import annotations

import hashlib
import os
import re
from collections.abc import Iterator
from functools import cache
from importlib.metadata import PackageNotFoundError, distribution
from pathlib import Path

from evenfall.system.regular import read_whole

__all__ = ["versions"]

_NO_PIXELS = {"click", "rich", "tomlkit"}
"""Libraries that no picture hangs on: terminals, and writing recipes."""
_TOOLS = re.compile(r"extra *== *['\"](test|benchmark)['\"]")
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]*")
_VERSION_LINE = re.compile(r"^Version: *(\S+)", re.MULTILINE)
_COMPILED = (".pyc", ".pyo")


@cache
def versions() -> dict[str, str]:
    """Versions of evenfall and of every library that it needs and that is here; and of its files.

    Extras count where they are installed: a picture that was denoised follows from the denoiser.
    """
    found = {"evenfall": _version("evenfall")}
    for name in _needed():
        try:
            found[name] = _version(name)
        except PackageNotFoundError:  # an extra that is not installed
            continue
    return found | {"evenfall code": _digest_of_files()}


def _needed() -> Iterator[str]:
    for line in distribution("evenfall").requires or ():
        name = _NAME.match(line)
        if name is not None and name[0] not in _NO_PIXELS and not _TOOLS.search(line):
            yield name[0]


def _version(package: str) -> str:
    """Version of an installed package, without parsing all that is said of it."""
    installed = distribution(package)
    found = _VERSION_LINE.search(installed.read_text("METADATA") or "")
    return found[1] if found else installed.version


def _digest_of_files() -> str:
    """Digest of the package: code, tables and fonts, so that any change of it is told."""
    root = str(Path(__file__).parents[1])
    paths = [
        f"{folder}/{name}"
        for folder, _, names in os.walk(root)
        for name in names
        if not name.endswith(_COMPILED)
    ]
    digest = hashlib.sha256()
    for path in sorted(paths):
        digest.update(f"{path[len(root) + 1 :].replace(os.sep, '/')}\0".encode())
        digest.update(read_whole(Path(path)))
    return digest.hexdigest()[:16]
