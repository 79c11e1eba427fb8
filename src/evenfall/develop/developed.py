"""A developed mood: everything that its pictures and figures are made of."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import numpy.typing as npt

from evenfall.camera.exposure import MeterPlan
from evenfall.camera.state import CameraState
from evenfall.light.output_spaces import output_space
from evenfall.light.primaries import RgbSpace
from evenfall.look.additions import Additions
from evenfall.look.chain import LookChain, build_chain
from evenfall.mix.balance import Balance
from evenfall.mix.engine import Mix
from evenfall.passes.mending.denoise import Guides
from evenfall.recipe import ResolvedMood
from evenfall.recipe.look import Look
from evenfall.system.opened import Once, Opened, Openings, listening

__all__ = ["DevelopedMood", "Scene"]

Floats = npt.NDArray[np.float32]
_STRIP_ROWS = 64


@dataclass(frozen=True, eq=False)
class Scene:
    """Scene-linear pixels of a mood, ready for its chains.

    Parameters
    ----------
    planes : ndarray, shape (3, H, W), float32
        The mix as it is, or exposed and with the steps that need the whole picture.
    is_exposed : bool
        Which of the two.
    """

    planes: Floats
    is_exposed: bool

    def encode_rows(self, chain: LookChain, rows: slice, out: Floats | None = None) -> Floats:
        """Display-encoded rows by a chain of the mood, (3, h, W), 0 to 1."""
        strip = np.ascontiguousarray(self.planes[:, rows])
        return chain.encode_rows(strip, rows.start, exposed=self.is_exposed, out=out)

    def linear_rows(self, chain: LookChain, rows: slice, out: Floats | None = None) -> Floats:
        """Display-linear rows by a chain of the mood, (3, h, W), 0 to the chain's peak."""
        strip = np.ascontiguousarray(self.planes[:, rows])
        return chain.linear_rows(strip, rows.start, exposed=self.is_exposed, out=out)


@dataclass(frozen=True, eq=False)
class DevelopedMood:
    """One mood, balanced, mixed and exposed, with its look at hand.

    In a notebook it shows itself.

    Parameters
    ----------
    mood : ResolvedMood
        What the recipe asks for.
    balance : Balance
        Gains and tints, those solved from pixels included.
    meter : MeterPlan or None
        What was metered; None when the camera does not meter.
    camera : CameraState
        Exposure and white balance, and what the meter read.
    mix : Mix
        The scene-linear sum of the passes.
    space : RgbSpace
        The passes' primaries.
    luminance_scale : float or None
        cd/m2 of a pixel of luminance 1 in the mix, when it is known.
    pixel_aspect : float
        Width over height of a pixel.
    recipe_folder : Path
        Where relative names of LUT, CDL and config files start.
    openings : Openings
        What was opened for the mix and the camera.
    look_openings : Openings
        What was opened, so far, for what comes after them.

    Examples
    --------
    >>> from evenfall.develop.engine import develop_mood
    >>> from evenfall.develop.example import example_recipe
    >>> dusk = develop_mood(example_recipe(), "dusk")
    >>> dusk.size, dusk.meter.lights, round(dusk.balance.lights["sky"].gain, 2)
    ((48, 32), ('sun',), 0.25)
    >>> [opened.path.name for opened in dusk.opened]
    ['sky.exr', 'lamp.exr', 'sun.exr']
    """

    mood: ResolvedMood
    balance: Balance
    meter: MeterPlan | None
    camera: CameraState
    mix: Mix
    space: RgbSpace
    luminance_scale: float | None
    pixel_aspect: float
    recipe_folder: Path
    openings: Openings
    look_openings: Openings
    _additions: Once[Additions]
    _guides: Once[Guides]
    _notes: Callable[[], tuple[str, ...]]
    _light_layers: Callable[[], Iterator[tuple[str, Floats]]]
    _told: list[str] = field(default_factory=list)

    @property
    def name(self) -> str:
        """Key of the mood in the recipe."""
        return self.mood.name

    @property
    def size(self) -> tuple[int, int]:
        """Width and height in pixels."""
        height, width = self.mix.planes.shape[1:]
        return width, height

    @property
    def opened(self) -> tuple[Opened, ...]:
        """Every file that was opened for it so far."""
        return tuple(Openings((*self.openings, *self.look_openings)))

    @property
    def additions(self) -> Additions:
        """Regions, plate and cut-outs; read when they are first asked for.

        Raises
        ------
        PixelSourceError
            When a mask, plate or cut-out cannot be read.
        RecipeError
            When there is no light in the neutral spot of a region's white balance.
        """
        with listening(self.look_openings):
            return self._additions.get()

    @property
    def notes(self) -> tuple[str, ...]:
        """What a person should know; of regions and of noise, as far as they have been made."""
        return (*self._notes(), *self._told)

    @property
    def noise_note(self) -> str | None:
        """What should be known before the mix is denoised; None where it is not to be."""
        if self.mood.look.denoise.strength == 0:
            return None
        from evenfall.look.mix_noise import measure_noise

        noise = measure_noise(self.mix.planes)
        if noise is None or not noise.is_tied:
            return f"{self.name}: the mix is being denoised"
        return (
            f"{self.name}: the mix is being denoised; its noise is tied from pixel to pixel by a "
            f"pixel filter (correlation with the next: {noise.correlation:.2f}), so it is done in "
            "four parts of half the size, which takes twice as long"
        )

    def light_layers(self) -> Iterator[tuple[str, Floats]]:
        """Give the lights of the mix apart, one after the other; their passes are read again.

        Yields
        ------
        light, planes : str, ndarray
            A light that is on, and what it adds to the mix: (3, H, W), float32, not exposed.

        Raises
        ------
        PassError, PixelSourceError
            When a pass, or a mask, cannot be read.

        Examples
        --------
        >>> from evenfall.develop.engine import develop_mood
        >>> from evenfall.develop.example import example_recipe
        >>> dusk = develop_mood(example_recipe(), "dusk")
        >>> layers = dict(dusk.light_layers())
        >>> list(layers), bool((layers["sky"] + layers["lamp"] == dusk.mix.planes).all())
        (['sky', 'lamp'], True)
        """
        return self._light_layers()

    def chain(
        self,
        space: str = "sRGB",
        *,
        peak: float = 1.0,
        look: Look | None = None,
        size: tuple[int, int] | None = None,
    ) -> LookChain:
        """Make the chain of the look for one kind of display.

        Parameters
        ----------
        space : str
            Output space, as recipes write it.
        peak : float
            Display-linear value of the brightest white, for displays with headroom.
        look : Look, optional
            Another look than the mood's own.
        size : tuple of int, optional
            Width and height of what it is for, if not the whole mix.

        Raises
        ------
        PixelSourceError
            When a LUT, CDL or config file cannot be used.
        UsageError
            When there is no such space.
        """
        with listening(self.look_openings):
            return build_chain(
                self.mood.look if look is None else look,
                source=self.space,
                camera_matrix=self.camera.matrix,
                output=output_space(space),
                size=self.size if size is None else size,
                recipe_folder=self.recipe_folder,
                peak=peak,
            )

    def scene(self, chain: LookChain, *, workers: int = 1) -> Scene:
        """Make the steps that need the whole picture, if there are any.

        Parameters
        ----------
        chain : LookChain
            Any of the mood's chains: they have these steps in common.
        workers : int
            Threads; the result does not depend on them.

        Raises
        ------
        PixelSourceError, RecipeError
            As for `additions`.
        """
        planes = self._denoised(chain.look.denoise.strength)
        if not (chain.needs_whole or self.additions.any):
            return Scene(planes, is_exposed=False)
        whole = chain.whole(planes, self.mix.alpha, self.additions, workers=workers)
        return Scene(whole, is_exposed=True)

    def _denoised(self, strength: float) -> Floats:
        """Give the mix, with as much of its noise taken off."""
        planes = self.mix.planes
        if strength == 0:
            return planes
        from evenfall.look.mix_noise import denoise_mix, measure_noise, share_of_noise_left

        with listening(self.look_openings):
            guides = self._guides.get()
        clean = denoise_mix(planes, guides, strength, measure_noise(planes))
        left = share_of_noise_left(planes, clean)
        if left is not None:
            self._told[:] = [f"after denoising, {left:.0%} of the noise in calm places is left"]
        return clean

    def encoded(self, space: str = "sRGB", *, workers: int = 1) -> Floats:
        """Give what a run encodes for a display, before it is made whole codes.

        Parameters
        ----------
        space : str
            Output space: "sRGB", "Display P3", "Adobe RGB (1998) compatible" or "BT.709".
        workers : int
            Threads; the result does not depend on them.

        Returns
        -------
        ndarray, shape (H, W, 3), float32
            Display-encoded values, 0 to 1.

        Raises
        ------
        PixelSourceError
            When a LUT, CDL or config file cannot be used.
        UsageError
            When there is no such space.

        Examples
        --------
        >>> from evenfall.develop.engine import develop_mood
        >>> from evenfall.develop.example import example_recipe
        >>> dusk = develop_mood(example_recipe(), "dusk").encoded()
        >>> dusk.shape, bool(0 <= dusk.min() and dusk.max() <= 1)
        ((32, 48, 3), True)
        """
        chain = self.chain(space)
        scene = self.scene(chain, workers=workers)
        width, height = self.size
        encoded = np.empty((height, width, 3), np.float32)
        for top in range(0, height, _STRIP_ROWS):
            rows = slice(top, min(top + _STRIP_ROWS, height))
            encoded[rows] = np.moveaxis(scene.encode_rows(chain, rows), 0, -1)
        return encoded

    def _repr_png_(self) -> bytes:
        """Show it in a notebook, as 8-bit sRGB."""
        from evenfall.deliver.png import encode_png
        from evenfall.deliver.quantise import quantise

        planes = np.ascontiguousarray(np.moveaxis(self.encoded(), -1, 0))
        return encode_png(quantise(planes, 8, dither=False))
