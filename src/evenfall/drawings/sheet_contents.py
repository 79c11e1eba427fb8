"""What a contact sheet shows."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

__all__ = ["SheetLight", "SheetMood", "SheetText"]

Codes = npt.NDArray[np.uint8]
Rgb8 = tuple[int, int, int]


@dataclass(frozen=True)
class SheetLight:
    """One light of a mood.

    Parameters
    ----------
    name : str
        Its name.
    stops : float or None
        Gain relative to how it was rendered; None is off.
    tint : str
        Its colour in words, such as "2700 K"; empty if as rendered.
    swatch : tuple of int or None
        Its colour as sRGB codes, for the dot; None draws a neutral one.
    counted : str
        From which mood its gain counts, such as "2 down from day"; empty if from none.
    """

    name: str
    stops: float | None
    tint: str = ""
    swatch: Rgb8 | None = None
    counted: str = ""


@dataclass(frozen=True, eq=False)
class SheetMood:
    """One mood.

    Parameters
    ----------
    title : str
        Its name for people.
    picture : ndarray
        sRGB codes, uint8, shape (H, W, 3), of `picture_size`.
    settings : tuple of str
        Exposure, meter and look in a few words each, set side by side.
    lights : tuple of SheetLight
        In the recipe's order.
    heading : str
        Begins a row under this heading, as the first mood of a view does where there are several.
    """

    title: str
    picture: Codes = field(repr=False)
    settings: tuple[str, ...] = ()
    lights: tuple[SheetLight, ...] = ()
    heading: str = ""


@dataclass(frozen=True)
class SheetText:
    """What stands above and below the pictures.

    Parameters
    ----------
    title : str
        Project, or the recipe's name.
    view : str
        Name of the view.
    date, round : str
        As they are to be written.
    author, copyright, note : str
        For the foot; empty ones are left out.
    """

    title: str
    view: str = ""
    date: str = ""
    round: str = ""
    author: str = ""
    copyright: str = ""
    note: str = ""
