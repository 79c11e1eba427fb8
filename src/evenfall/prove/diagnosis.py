"""What is wrong with a set of passes, in words and with a stable code for each."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["CODES", "REMARKS", "Diagnosis", "Rectangle", "Remark"]

CODES = {
    "pass-missing": "light of the beauty is in no pass",
    "pass-counted-twice": "the same light is in two passes, or its pass is not in the beauty",
    "pass-exposure": "a pass enters the beauty with a factor other than 1",
    "pass-display-encoded": "a pass holds display-encoded values",
    "pass-tone-mapped": "a pass, or all of them, went through a tone curve",
    "pass-clipped": "a pass was cut off at its largest value",
    "beauty-empty": "the beauty holds no light",
    "beauty-exposure": "all passes enter the beauty with the same factor other than 1",
    "beauty-display-encoded": "the beauty holds display-encoded values",
    "beauty-tone-mapped": "the beauty carries a tone curve",
    "beauty-clipped": "the beauty was cut off at its largest value",
    "beauty-vignetted": "the beauty darkens towards its corners, the passes do not",
    "beauty-glare": "the beauty carries bloom that the passes do not",
    "colour-differs": "passes enter the beauty with another factor a channel",
    "other-primaries": "a pass, or all of them, hold the numbers of another colour space",
    "alpha-multiplied-twice": "colour was multiplied by alpha once too often",
    "alpha-not-multiplied": "colour was not multiplied by alpha",
    "camera-moved": "a pass, or all, stand off the beauty",
    "background-missing": "the beauty has a background that is in no pass",
    "background-repeated": "the background is in several passes",
    "sum-too-bright": "the passes hold light that the beauty does not",
}
"""Every code a diagnosis can have, and what it means in one line."""

REMARKS = {
    "denoised-apart": "pictures were denoised each on its own",
    "beauty-grainy": "the beauty is far grainier than the passes together",
    "alpha-missing": "the beauty has alpha and passes have none",
    "alpha-differs": "alpha of a pass differs from the beauty's",
    "pass-empty": "a pass holds no light",
    "place-stands-out": "light of one small place is in no pass, though the rest agrees",
    "huge-pixel": "a pixel is brighter than any light, and was left out",
    "flat-top": "many pixels of a pass share its largest value",
    "counted-twice": "two passes show the same light",
    "display-encoded": "a pass looks display-encoded",
}
"""Every code a remark can have; remarks say nothing about whether the passes add up."""


@dataclass(frozen=True)
class Rectangle:
    """A rectangle of pixels; right and bottom lie outside of it."""

    left: int
    top: int
    right: int
    bottom: int

    def __str__(self) -> str:
        width, height = self.right - self.left, self.bottom - self.top
        return f"{width} x {height} pixels at {self.left}, {self.top}"


@dataclass(frozen=True)
class Diagnosis:
    """One thing that keeps the passes from making the beauty.

    Parameters
    ----------
    code : str
        One of `CODES`.
    lights : tuple of str
        The lights it speaks of; empty if it speaks of the beauty or of all. Several, where it is
        one of them and the pictures cannot tell which.
    message : str
        What was found.
    remedy : str
        What to do about it.
    region : Rectangle or None
        Where it shows most.
    explained : float
        Share of what beauty and passes differ by, beyond noise, that this explains; 0 to 1.
    """

    code: str
    lights: tuple[str, ...]
    message: str
    remedy: str
    region: Rectangle | None = None
    explained: float = 0.0

    def __str__(self) -> str:
        who = f"{', '.join(self.lights)}: " if self.lights else ""
        return f"{who}{self.message} [{self.code}]"


@dataclass(frozen=True)
class Remark:
    """Something about single pictures that is worth knowing and decides nothing.

    Parameters
    ----------
    code : str
        One of `REMARKS`.
    lights : tuple of str
        The lights it speaks of; empty if it speaks of the beauty.
    message : str
        What was found, with the figure that says so.
    advice : str
        What to do about it, if anything.
    """

    code: str
    lights: tuple[str, ...]
    message: str
    advice: str

    def __str__(self) -> str:
        who = f"{', '.join(self.lights)}: " if self.lights else ""
        return f"{who}{self.message} [{self.code}]"
