"""Small things that commands about passes share: a bar while they are read, pictures as PNG."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import numpy as np
import numpy.typing as npt

__all__ = ["png_bytes", "reading_progress"]


@contextmanager
def reading_progress(count: int | None) -> Iterator[Callable[[str], None]]:
    """Show which pass is read and how many are left, on a terminal only.

    Parameters
    ----------
    count : int or None
        How many there will be, if known.

    Yields
    ------
    callable
        To be called with each name.
    """
    if not sys.stderr.isatty():
        yield lambda name: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

    bar = Progress(
        TextColumn("reading"),
        BarColumn(bar_width=24),
        MofNCompleteColumn(),
        TextColumn("{task.description}", markup=False),
        console=Console(stderr=True),
        transient=True,
    )
    with bar:
        task = bar.add_task("", total=count)
        yield lambda name: bar.update(task, advance=1, description=name)


def png_bytes(codes: npt.NDArray[np.uint8]) -> bytes:
    """Encode sRGB codes, uint8, shape (H, W, 3), as a PNG file."""
    from io import BytesIO

    from PIL import Image

    stream = BytesIO()
    Image.fromarray(codes).save(stream, "PNG", optimize=True)
    return stream.getvalue()
