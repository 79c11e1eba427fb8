"""The meter report: what every mood and light comes to, before anything is written."""

from __future__ import annotations

import math
import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import numpy.typing as npt

from evenfall.advice import MoodFacts, advise, advise_on_facts
from evenfall.advice.doubling import advise_on_doublings
from evenfall.advice.facts import AskedRatio, LightFacts, RatioToKey, light_facts
from evenfall.advice.fireflies import advise_on_fireflies
from evenfall.advice.headroom import NoisePrediction, predict_noise
from evenfall.advice.noise import NoiseGrid, noise_grid
from evenfall.advice.picture_sizes import frame_facts
from evenfall.advice.plates import advise_on_plates
from evenfall.advice.rules import NOISE_SHOWS_LIGHTNESS
from evenfall.develop.asked import Asked
from evenfall.develop.developed import DevelopedMood
from evenfall.develop.engine import develop_moods
from evenfall.develop.reduced import reduced_size
from evenfall.develop.samples import Samples
from evenfall.errors import Advice
from evenfall.light.cielab import cie_lightness
from evenfall.light.primaries import ACESCG, luminance_weights
from evenfall.light.units import READ_FROM_PICTURE
from evenfall.meter.shown import SourcesSeen, measure_shown
from evenfall.mix.averaging import area_mean
from evenfall.mix.balance import Balance
from evenfall.mix.engine import PassRead
from evenfall.passes.mending.clean import find_fireflies
from evenfall.passes.source import PassSource
from evenfall.recipe import Recipe
from evenfall.recipe.look import Grain, Look
from evenfall.survey.doubling import find_doublings

__all__ = ["MeterReport", "MeteredMood", "exposed_luminance", "meter_moods"]

Floats = npt.NDArray[np.float32]

PICTURE_WIDTH = 1280
"""Width of the exposure map and of what the histogram counts."""


@dataclass(frozen=True, eq=False)
class MeteredMood:
    """One mood: its figures, and its exposed luminance as a picture.

    Parameters
    ----------
    facts : MoodFacts
    mean_cd_m2 : mapping of light to float, or None
        Mean luminance each light gives to the picture, when the passes' scale is known.
    ev100 : float or None
        EV at ISO 100 of camera settings that expose the same, when the scale is known.
    exposed : ndarray, shape (3, h, w), float32
        What the camera sees, plate and cut-outs with it, after exposure and white balance and
        before lens and look: scene-linear ACEScg, 0.18 is middle grey; at most 1280 wide.
    luminance_weights : tuple of 3 floats
        Weights of R, G, B in luminance.
    """

    facts: MoodFacts
    mean_cd_m2: Mapping[str, float] | None
    ev100: float | None
    exposed: Floats
    luminance_weights: tuple[float, float, float]

    @property
    def luminance(self) -> Floats:
        """Luminance of `exposed`; shape (h, w)."""
        weights = np.asarray(self.luminance_weights, np.float32)
        exposed: Floats = np.einsum("c,chw->hw", weights, self.exposed)
        return exposed


@dataclass(frozen=True, eq=False)
class MeterReport:
    """All metered moods of a recipe, and what a senior colleague would say of them.

    Parameters
    ----------
    moods : tuple of MeteredMood
    advice : tuple of Advice
        Without what the recipe silences.
    pictures : tuple of Path
        Pictures that were made of it.
    caution : str
        What its figures in cd/m2 are, and what they are not.
    """

    moods: tuple[MeteredMood, ...]
    advice: tuple[Advice, ...]
    pictures: tuple[Path, ...] = ()
    caution: str = READ_FROM_PICTURE


def meter_moods(
    source: PassSource,
    asked: Asked,
    moods: Sequence[str],
    *,
    workers: int | None = None,
    on_read: Callable[[PassRead], None] | None = None,
) -> MeterReport:
    """Meter moods.

    Every pass that some mood needs is read once.

    Parameters
    ----------
    source : PassSource
        Opened passes.
    asked : Asked
        What the recipe says.
    moods : sequence of str
        Names of the moods.
    workers : int, optional
        Threads; one per processor otherwise.
    on_read : callable, optional
        Told of passes as they are read.

    Raises
    ------
    RecipeError, PassError, PixelSourceError
        As for a run.

    Examples
    --------
    >>> from evenfall.develop.example import example_recipe
    >>> from evenfall.develop.opening import open_passes
    >>> recipe = example_recipe()
    >>> report = meter_moods(open_passes(recipe), Asked(recipe), ["dusk"])
    >>> [mood.facts.mood for mood in report.moods]
    ['dusk']
    """
    recipe = asked.recipe
    gauge = _Gauge(recipe, on_read, Samples(source, recipe.model.passes.repair))
    development = develop_moods(
        source, asked, moods, workers=workers, on_read=gauge.see, sees_pixels=True
    )
    metered = tuple(_meter_mood(recipe, developed, gauge) for developed in development)
    facts = [mood.facts for mood in metered]
    frames = frame_facts(recipe, source.size, source.pixel_aspect)
    doublings = find_doublings(gauge.samples.known())
    advice = (
        *advise(recipe, frames),
        *advise_on_plates(recipe, source.headers.values()),
        *advise_on_fireflies(recipe, gauge.fireflies),
        *advise_on_doublings(recipe, doublings),
        *advise_on_facts(recipe, facts),
    )
    return MeterReport(metered, advice)


@dataclass
class _Gauge:
    """Takes what is to know of every pass that goes by: mean, noise, fireflies, lamps seen."""

    recipe: Recipe
    onward: Callable[[PassRead], None] | None
    samples: Samples
    means: dict[str, tuple[float, float, float]] = field(default_factory=dict)
    grids: dict[str, NoiseGrid] = field(default_factory=dict)
    fireflies: dict[str, int] = field(default_factory=dict)
    sources: SourcesSeen = field(default_factory=SourcesSeen)
    lock: threading.Lock = field(default_factory=threading.Lock)

    def see(self, event: PassRead) -> None:
        for light in event.lights:
            if light in self.grids:
                continue
            planes = event.images[light].without_huge().planes
            red, green, blue = (float(np.mean(plane, dtype=np.float64)) for plane in planes)
            grid = noise_grid(planes)
            fireflies = int(np.count_nonzero(find_fireflies(planes)))
            self.sources.see(planes, self.recipe.model.lights[light].role)
            with self.lock:
                self.fireflies[light] = fireflies
                self.means[light] = (red, green, blue)
                self.grids[light] = grid
        self.samples.see(event)
        if self.onward is not None:
            self.onward(event)


def _meter_mood(recipe: Recipe, developed: DevelopedMood, gauge: _Gauge) -> MeteredMood:
    weights = _numbers(luminance_weights(developed.space))
    balance, camera = developed.balance, developed.camera
    factors = {name: rgb for name, rgb in balance.factors.items() if max(rgb) > 0}
    lights = light_facts(
        {name: light.role for name, light in recipe.model.lights.items()},
        factors,
        gauge.means,
        weights,
        {name: part.gain for name, part in balance.lights.items()},
        {
            name: None if part.tint.assumed else part.tint.kelvin
            for name, part in balance.lights.items()
        },
    )
    is_denoised = developed.mood.look.denoise.strength > 0  # what the passes have tells nothing
    noise = _predict(developed, gauge, factors) if factors and not is_denoised else None
    if noise is not None:
        lights = tuple(_with_noise(light, noise) for light in lights)
    scale = developed.luminance_scale
    shown = measure_shown(developed, gauge.sources)
    facts = MoodFacts(
        mood=developed.name,
        title=developed.mood.title,
        exposure_stops=math.log2(camera.exposure_factor),
        lights=lights,
        clipped_share=shown.clipped_share,
        noise_lightness=noise.noise_lightness if noise else None,
        notes=developed.notes,
        bare_share=_bare_share(developed),
        burnt_share=shown.burnt_share,
        median_lightness=shown.median_lightness,
        high_lightness=shown.high_lightness,
        asked_ratios=_asked_ratios(balance, lights),
    )
    return MeteredMood(
        facts=facts,
        mean_cd_m2={light.name: light.luminance * scale for light in lights} if scale else None,
        ev100=camera.ev100,
        exposed=_exposed(developed),
        luminance_weights=_numbers(luminance_weights(ACESCG)),
    )


def _asked_ratios(balance: Balance, lights: Sequence[LightFacts]) -> tuple[AskedRatio, ...]:
    luminance = {light.name: light.luminance for light in lights}
    found = []
    for asked in balance.area_ratios:
        in_area = RatioToKey.of(asked.ratio, 1.0)
        in_picture = RatioToKey.of(
            sum(luminance[light] for light in asked.others),
            sum(luminance[light] for light in asked.lights),
        )
        if in_area is not None and in_picture is not None:
            found.append(AskedRatio(asked.lights, asked.to, in_area, in_picture))
    return tuple(found)


def _with_noise(light: LightFacts, noise: NoisePrediction) -> LightFacts:
    headroom = noise.headroom.get(light.name)
    if headroom is None:
        return light
    return replace(
        light,
        headroom_stops=headroom.stops,
        burns_out=headroom.burns_out,
        noise_share=noise.noise_share[light.name],
    )


def _predict(
    developed: DevelopedMood,
    gauge: _Gauge,
    factors: Mapping[str, tuple[float, float, float]],
) -> NoisePrediction:
    """Predict noise through the mood's look, but for the grain that is wanted."""
    rows, columns = next(iter(gauge.grids.values())).mean.shape[1:]
    look = developed.mood.look.model_copy(update={"grain": Grain()})
    chain = developed.chain(look=look, size=(columns, rows))
    weights = luminance_weights(chain.output.rgb).astype(np.float32)

    def lightness(mix: Floats) -> Floats:
        display = chain.linear_rows(np.ascontiguousarray(mix, np.float32), 0)
        return cie_lightness(np.einsum("c,chw->hw", weights, display))

    return predict_noise(gauge.grids, factors, lightness, NOISE_SHOWS_LIGHTNESS)


def _bare_share(developed: DevelopedMood) -> float:
    """Share of the picture that nothing covers."""
    alpha = developed.mix.alpha
    if developed.mood.backgrounds or alpha is None:
        return 0.0
    return float(1.0 - np.clip(alpha, 0, 1).mean(dtype=np.float64))


def exposed_luminance(developed: DevelopedMood) -> Floats:
    """Give the luminance that the camera sees, plate and cut-outs with it, before lens and look.

    Returns
    -------
    ndarray, shape (h, w), float32
        0.18 is middle grey; at most 1280 wide.
    """
    weights = luminance_weights(ACESCG).astype(np.float32)
    luminance: Floats = np.einsum("c,chw->hw", weights, _exposed(developed))
    return luminance


def _exposed(developed: DevelopedMood) -> Floats:
    size = reduced_size(developed.size, PICTURE_WIDTH, developed.pixel_aspect)
    chain = developed.chain(look=Look())
    planes, additions = developed.mix.planes, developed.additions
    if additions.any:
        seen = chain.whole(planes, developed.mix.alpha, additions)
        return np.stack([area_mean(plane, size) for plane in seen])
    return chain.whole(np.stack([area_mean(plane, size) for plane in planes]))


def _numbers(weights: npt.NDArray[np.float64]) -> tuple[float, float, float]:
    red, green, blue = (float(weight) for weight in weights)
    return red, green, blue
