"""Albedo and normal passes, which show the denoiser edges and texture."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import numpy.typing as npt

from evenfall.passes.faults import refused
from evenfall.passes.files import check_inside, open_pass
from evenfall.passes.kinds import EXR_MAGIC
from evenfall.passes.mending.denoise import Guides
from evenfall.passes.openexr.channels import read_channels
from evenfall.passes.openexr.parts import ExrPart
from evenfall.passes.reading import read
from evenfall.recipe import Recipe

__all__ = ["read_guides", "read_vectors"]

Vectors = npt.NDArray[np.float32]

_AXES = ("x", "y", "z")


def read_guides(recipe: Recipe, size: tuple[int, int]) -> Guides:
    """Read the guides that the recipe's ``passes.repair`` names.

    Parameters
    ----------
    recipe : Recipe
    size : tuple of int
        Width and height of the passes, which the guides must have too.

    Raises
    ------
    PassError
        When a guide cannot be read or has another size.
    """
    found = {}
    for kind in ("albedo", "normal"):
        file = getattr(recipe.model.passes.repair, kind)
        if file is None:
            continue
        path = recipe.pass_path(file)
        if not recipe.model.passes.allow_links_outside:
            check_inside(path, recipe.passes_folder)
        picture = read_vectors(path)
        if picture.shape[1::-1] != size:
            raise refused(
                path,
                f"size {picture.shape[1]} x {picture.shape[0]}, but the passes have "
                f"{size[0]} x {size[1]}",
                f"an {kind} pass of the same view",
            )
        found[kind] = picture
    return Guides(**found)


def read_vectors(path: Path) -> Vectors:
    """Read three numbers a pixel: channels X, Y, Z of an EXR file, or else a picture's R, G, B.

    Returns
    -------
    ndarray of float32
        Shape (H, W, 3) of the display window; NaN and Inf become 0.

    Raises
    ------
    PassError
        When the file cannot be read or holds neither.
    """
    with open_pass(path) as file:
        planes = read_channels(file, _vectors_of) if file.at(0, 4) == EXR_MAGIC else None
    if planes is None:
        return read(path)[0].rgb()
    vectors = np.stack(planes, axis=-1).astype(np.float32)
    return np.nan_to_num(vectors, copy=False, nan=0.0, posinf=0.0, neginf=0.0)


def _vectors_of(parts: Sequence[ExrPart]) -> tuple[ExrPart, tuple[str, ...]] | None:
    for part in parts:
        axes = _axes([channel.name for channel in part.channels])
        if axes is not None:
            return part, axes
    return None


def _axes(names: list[str]) -> tuple[str, str, str] | None:
    """Names of the first three channels that end in X, Y and Z after the same beginning."""
    groups: dict[str, dict[str, str]] = {}
    for name in sorted(names):
        last = name[-1:].lower()
        if last in _AXES:
            groups.setdefault(name[:-1], {})[last] = name
    for group in groups.values():
        if len(group) == 3:
            return group["x"], group["y"], group["z"]
    return None
