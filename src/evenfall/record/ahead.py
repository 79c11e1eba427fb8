"""Fingerprints that are found while a recipe is still being checked."""

from __future__ import annotations

import contextlib
import math
import threading
import time
import tomllib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from evenfall.errors import PassError, RecipeError
from evenfall.passes.fingerprint import noted_fingerprint
from evenfall.recipe.inheriting import gather

__all__ = ["fingerprints_ahead"]

_LARGEST_BYTES = 1 << 20  # of a recipe that is looked at before it is checked
_AFTERWARDS_SECONDS = 2.0  # in which a run that follows has asked for what it needs


@contextmanager
def fingerprints_ahead(recipe: Path, passes: Path | None = None) -> Iterator[None]:
    """Find fingerprints beside what is done in this context, which is mostly importing.

    They are noted for whoever asks for them later. What has been begun when the context is left
    goes on for a moment, and then only if somebody has asked for it; nothing more is begun. Faults
    are left to be told by who comes upon them in earnest.

    Parameters
    ----------
    recipe : Path
        Not checked yet: the files that it seems to name are taken one by one.
    passes : Path, optional
        Folder of the passes, if it is not to be the one that the recipe names.
    """
    wanted_until = math.inf

    def find() -> None:
        for path in _files_named(recipe, passes):
            if wanted_until < math.inf:
                return
            with contextlib.suppress(PassError, OSError, ValueError):
                noted_fingerprint(path, is_wanted=lambda: time.monotonic() < wanted_until)

    threading.Thread(target=find, daemon=True).start()
    try:
        yield
    except BaseException:
        wanted_until = -math.inf  # nothing follows
        raise
    wanted_until = time.monotonic() + _AFTERWARDS_SECONDS


def _files_named(recipe: Path, passes: Path | None) -> list[Path]:
    """Files of the lights as written; those of a frame or a camera are not there under this name.

    Examples
    --------
    >>> from evenfall.develop.example import example_recipe
    >>> [path.name for path in _files_named(example_recipe().path, None)]
    ['sun.exr', 'sky.exr', 'lamp.exr']
    """
    try:
        if not recipe.is_file() or recipe.stat().st_size > _LARGEST_BYTES:
            return []
        text = recipe.read_text(encoding="utf-8-sig")
        tree = gather(tomllib.loads(text), text, recipe).tree
        folder = passes or recipe.parent / tree.get("passes", {}).get("folder", ".")
        named = [light["file"] for light in tree["lights"].values()]
        files = [[said] if isinstance(said, str) else said for said in named]
        return [folder / file for some in files for file in some]
    except (
        RecipeError,
        OSError,
        ValueError,
        LookupError,
        TypeError,
        AttributeError,
        RecursionError,
    ):
        return []
