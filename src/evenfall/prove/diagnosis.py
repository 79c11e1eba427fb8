"""What is wrong with a set of passes, in words and with a stable code for each."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["CODES", "Diagnosis", "Region"]

CODES = {
    "pass-missing": "light of the beauty is in no pass",
    "pass-counted-twice": "the same light is in two passes, or its pass is not in the beauty",
    "pass-exposure": "a pass enters the beauty with a factor other than 1",
    "pass-display-encoded": "a pass holds display-encoded values",
    "pass-clipped": "a pass was cut off at its largest value",
    "pass-empty": "a pass holds no light",
    "beauty-empty": "the beauty holds no light",
    "beauty-exposure": "all passes enter the beauty with the same factor other than 1",
    "beauty-display-encoded": "the beauty holds display-encoded values",
    "beauty-tone-mapped": "the beauty carries a tone curve",
    "beauty-clipped": "the beauty was cut off at its largest value",
    "colour-differs": "passes enter the beauty with another factor a channel",
    "camera-moved": "a pass, or all, stand off the beauty",
    "denoised-apart": "pictures were denoised each on its own",
    "alpha-missing": "the beauty has alpha and passes have none",
    "alpha-differs": "alpha of a pass differs from the beauty's",
    "background-missing": "the beauty has a background that is in no pass",
    "background-repeated": "the background is in several passes",
    "sum-too-bright": "the passes hold light that the beauty does not",
}
"""Every code a diagnosis can have, and what it means in one line."""


@dataclass(frozen=True)
class Region:
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
        The lights it speaks of; empty if it speaks of the beauty or of all.
    message : str
        What was found.
    remedy : str
        What to do about it.
    region : Region or None
        Where it shows most.
    """

    code: str
    lights: tuple[str, ...]
    message: str
    remedy: str
    region: Region | None = None

    def __str__(self) -> str:
        who = f"{', '.join(self.lights)}: " if self.lights else ""
        return f"{who}{self.message} [{self.code}]"
