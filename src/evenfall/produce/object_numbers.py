"""Object numbers that a deliverable carries beside its layers."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import numpy as np
import numpy.typing as npt

from evenfall.errors import Fault, PixelSourceError
from evenfall.recipe import Deliverable, Recipe

__all__ = ["check_object_numbers", "object_numbers"]

_LARGEST = 2**32 - 1  # of the whole numbers that OpenEXR stores


def check_object_numbers(
    recipe: Recipe, deliverables: Iterable[tuple[int, Deliverable]], size: tuple[int, int]
) -> None:
    """Check the files of object numbers that deliverables name.

    Parameters
    ----------
    recipe : Recipe
        Where the files lie.
    deliverables : iterable of (int, Deliverable)
        Number in the recipe, and deliverable.
    size : tuple of int
        Width and height of the passes.

    Raises
    ------
    PixelSourceError
        With a fault for every file that cannot be used, at its place in the recipe.
    """
    faults: list[Fault] = []
    for number, ids in {number: one.ids for number, one in deliverables if one.ids}.items():
        try:
            object_numbers(recipe.pass_path(ids), size)
        except PixelSourceError as error:
            for fault in error.faults:
                found = ": ".join(part for part in (fault.place, fault.found) if part)
                if fault.file:
                    found = f"{fault.file}: {found}"
                place = ("deliverables", number, "ids")
                faults.append(recipe.fault(place, found, fault.allowed, fault.hint))
    if faults:
        raise PixelSourceError(faults)


def object_numbers(path: Path, size: tuple[int, int]) -> npt.NDArray[np.uint32]:
    """Object numbers of every pixel of the passes, shape (H, W).

    Raises
    ------
    PixelSourceError
        When the file cannot be read, has another size than the passes, or numbers below 0 or
        beyond 4,294,967,295.
    """
    from evenfall.passes.side.pictures import read_object_ids

    ids = read_object_ids(path)
    height, width = ids.shape
    if (width, height) != size:
        raise PixelSourceError(
            Fault(
                "",
                "",
                f"{path.name} has {width} x {height} pixels; those of the passes, "
                f"{size[0]} x {size[1]}",
                hint="render the object numbers at the size of the passes",
            )
        )
    for found in (int(ids.min()), int(ids.max())):
        if not 0 <= found <= _LARGEST:
            said = f"{path.name} has an object number {found}"
            raise PixelSourceError(Fault("", "", said, f"expected 0 to {_LARGEST:,}"))
    return ids.astype(np.uint32)
