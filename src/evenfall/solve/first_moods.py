"""From the lights of a survey to the moods of a first recipe, worked out from their pixels."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

import numpy as np

from evenfall.camera.meter import meter
from evenfall.errors import PassError
from evenfall.light.colour import xy_to_kelvin_duv
from evenfall.light.primaries import RgbSpace, luminance_weights
from evenfall.light.tint import rgb_to_xy, tint_factors
from evenfall.recipe import LightSetting, Look, Meter, Rendered
from evenfall.recipe.lights import Role
from evenfall.recipe.look import Evenfall, Glare
from evenfall.recipe.starter_moods import LAMP_KELVIN, dusk_sky_tint, plain_moods, to_be_metered
from evenfall.recipe.starter_scene import FirstMood, FirstMoods, FirstSetting, Scene, StarterLight
from evenfall.solve.balanced import AT_DUSK, AT_NIGHT, BY_DAY, Cast, Solved, cast_of
from evenfall.solve.first_balance import WHITE_SHARE, solve_day, solve_first_balance
from evenfall.solve.stage import Rgb, Stage

__all__ = ["FIRST_LOOK", "solve_first_moods"]

FIRST_LOOK = Look(glare=Glare(strength=0.02))
"""What a first recipe says of the look."""

_HEADINGS = (
    "Day: sun and sky as rendered, lamps lit where they are seen.",
    "Dusk: the sun is down, the sky is low and blue, every lamp is on.",
    "Night: as dusk, with the last of the sky.",
)
_HEADINGS_WITHOUT_LAMPS = (
    "Day: sun and sky as rendered.",
    "Dusk: the sun is down; there are no lamps among the passes.",
    "Night: as dusk, and darker.",
)
_HEADINGS_OF_LAMPS = (
    "Day: there is no daylight among the passes; all lamps as rendered.",
    "Dusk: the light that lights most gives way to the others.",
    "Night: the others alone, lower.",
)
_MOST_STOPS = 15.0
_FARTHEST_STOPS = 60  # from 1 in scene units, bright or dark; sums and squares of it are finite
_IN_DOUBT = 0.2  # of a third, from which it is rounded up
_HIGHLIGHT_STOPS = (6.0, 7.0, 8.0)
_WARMER_BY = 200.0  # kelvin: less is no change that is seen
_MEANT_BLUE_KELVIN = 7000.0  # white left as it is comes to 6500
_WHITE_KELVIN = 4300.0
_WARM = 1.35  # red over blue of lamps, against the passes' white
_BLUE = 0.8  # the same of a sky
_TUNGSTEN_KELVIN = 4200.0
_KEPT_WARM = 1.35  # white balance over the lamps' own colour temperature


def solve_first_moods(
    lights: Sequence[StarterLight],
    pictures: Mapping[str, np.ndarray],
    space: RgbSpace,
) -> FirstMoods:
    """Work out day, dusk and night.

    Parameters
    ----------
    lights : sequence of StarterLight
        As they will stand in the recipe.
    pictures : mapping of str to ndarray, shape (3, h, w)
        Means of blocks of their passes.
    space : RgbSpace
        The passes' primaries.

    Returns
    -------
    FirstMoods
        Where nothing shines, or with a brightness that no light has: usual turns, and a camera
        that meters nothing.
    """
    return _FirstMoods(lights, pictures, space).moods()


class _FirstMoods:
    """What is known of the lights, and the words for what comes of it."""

    def __init__(
        self, lights: Sequence[StarterLight], pictures: Mapping[str, np.ndarray], space: RgbSpace
    ) -> None:
        self.scene, self.space, self.pictures = Scene(lights), space, pictures
        self.cast = self._cast()
        self.kelvin = dict(self._warmer_lamps())
        warm = self.cast.daylight and self._lamps_are_warm()
        self.white = _WHITE_KELVIN if warm else None
        self.sky_tint = dusk_sky_tint(self.scene) if not self._sky_is_blue() else (None, None)

    def _is_light(self, stage: Stage) -> bool:
        """Whether it can be developed at all: broken pixels may be of any size."""
        brightest = float(stage.luminance(self.pictures).max())
        return bool(2.0**-_FARTHEST_STOPS < brightest < 2.0**_FARTHEST_STOPS)

    def _cast(self) -> Cast:
        return cast_of({light.name: light.role for light in self.scene.lights}, self.pictures)

    def _warmer_lamps(self) -> Iterator[tuple[str, float]]:
        """Lamps whose colour is known, and that are whiter than lamps of the evening.

        One that is bluer than a lamp left at plain white, as in a pool, was meant to be.
        """
        for role in ("fixture", "outdoor fixture"):
            for light in self.scene.by_role[role]:
                kelvin = light.rendered.kelvin if light.rendered else None
                if kelvin is not None and LAMP_KELVIN + _WARMER_BY < kelvin < _MEANT_BLUE_KELVIN:
                    yield light.name, LAMP_KELVIN

    def _lamps_are_warm(self) -> bool:
        lamps = (*self.cast.lamps, *self.cast.outdoor)
        if not lamps:
            return False
        red, _, blue = np.sum([self.pictures[lamp].mean(axis=(1, 2)) for lamp in lamps], axis=0)
        return bool(red > _WARM * blue)

    def _sky_is_blue(self) -> bool:
        """Whether the sky is as blue as that of dusk needs to be, as it was rendered."""
        if not self.cast.sky:
            return False
        red, _, blue = np.sum([self.pictures[sky].mean((1, 2)) for sky in self.cast.sky], axis=0)
        return bool(red < _BLUE * blue)

    def _white_of_lamps(self) -> float | None:
        """Give a set of warm lamps, without daylight, a white balance that leaves some warmth."""
        if self.cast.daylight:
            return None
        total = np.sum([picture.mean(axis=(1, 2)) for picture in self.pictures.values()], axis=0)
        xy = rgb_to_xy(total, self.space)
        found = None if xy is None else xy_to_kelvin_duv(xy)
        if found is None or found[0] > _TUNGSTEN_KELVIN:
            return None
        return 100.0 * round(_KEPT_WARM * found[0] / 100)

    def moods(self) -> FirstMoods:
        constant = self._white_of_lamps()
        highlights, stage = self._stage_for_the_view(constant)
        if not stage.lit.any() or not self._is_light(stage):
            return replace(plain_moods(self.scene), metered=None)
        solved = solve_first_balance(stage, self.cast, self._tints(), self.white, constant)
        metered, stops = self._metered()
        written = self._written(solved, stops, constant)
        return replace(written, metered=metered, highlight_stops=highlights)

    def _stage_for_the_view(self, white: float | None) -> tuple[float | None, Stage]:
        """Let the curve reach as far as what is seen through the window by day needs."""
        stage = Stage(self.pictures, self.space, FIRST_LOOK)
        if not self.cast.daylight or not stage.lit.any():
            return None, stage
        for stops in (None, *_HIGHLIGHT_STOPS):
            if stops is not None:
                look = FIRST_LOOK.model_copy(update={"tone": Evenfall(highlight_stops=stops)})
                stage = Stage(self.pictures, self.space, look)
            if solve_day(stage, self.cast, white).white_share <= WHITE_SHARE:
                break
        return stops, stage

    def _tints(self) -> dict[str, Rgb]:
        """Factors by which lights change their colour after sunset."""
        kelvin, mired = self.sky_tint
        asked: dict[str, LightSetting] = {
            light: LightSetting(kelvin=each) for light, each in self.kelvin.items()
        }
        if kelvin is not None or mired is not None:
            sky = LightSetting(kelvin=kelvin, mired_shift=mired)
            asked |= dict.fromkeys(self.cast.sky, sky)
        rendered = {light.name: light.rendered or Rendered() for light in self.scene.lights}
        return {
            light: tint_factors(setting, rendered[light], self.space).factors
            for light, setting in asked.items()
        }

    def _metered(self) -> tuple[str | None, float]:
        """Tell what the camera can meter, and the stops to which that will set it."""
        roles: Mapping[str | None, Role] = {"key": "key", self.scene.names["sky"]: "sky"}
        for name in to_be_metered(self.scene):
            role = roles.get(name)
            lights = self.scene.lights if role is None else self.scene.by_role[role]
            planes = np.sum([self.pictures[light.name] for light in lights], axis=0)
            try:
                reading = meter(planes.astype(np.float32), luminance_weights(self.space), Meter())
            except PassError:  # it is black
                continue
            return name, reading.stops
        return None, 0.0

    # In words

    def _written(self, solved: Solved, metered: float, white: float | None) -> FirstMoods:
        turn = _limited(solved.day.exposure_stops - metered)
        day = metered + turn
        dusk, night = (
            day + _darker(each.exposure_stops - day) for each in (solved.dusk, solved.night)
        )
        every = dict.fromkeys((light.name for light in self.scene.lights), 0.0)
        headings = _HEADINGS if self.cast.daylight else _HEADINGS_OF_LAMPS
        if self.cast.daylight and not (self.cast.lamps or self.cast.outdoor or self.cast.key_lamps):
            headings = _HEADINGS_WITHOUT_LAMPS
        return FirstMoods(
            turn,
            f"so that day has a median lightness of {solved.day.median:.0f} (CIE L*)",
            white,
            FirstMood((headings[0],), self._settings(every, solved.day.stops, BY_DAY, step=False)),
            FirstMood(
                (headings[1],),
                self._settings(solved.day.stops, solved.dusk.stops, AT_DUSK, evening=True),
                dusk - day or None,
                exposure_step=True,
                exposure_comment=_opened(dusk - day),
                white_kelvin=self.white,
            ),
            FirstMood(
                (headings[2],),
                self._settings(solved.dusk.stops, solved.night.stops, AT_NIGHT),
                _limited(night - dusk) or None,
                exposure_step=True,
                exposure_comment=_opened(night - dusk),
            ),
        )

    def _settings(
        self,
        before: Mapping[str, float],
        after: Mapping[str, float],
        comments: Mapping[Role, str],
        *,
        step: bool = True,
        evening: bool = False,
    ) -> dict[str, FirstSetting]:
        """Say what differs from the mood before, of a role together where its lights agree."""
        settings: dict[str, FirstSetting] = {}
        for role, lights in self.scene.by_role.items():
            kelvin, mired = self.sky_tint if evening and role == "sky" else (None, None)
            each = {
                light.name: _turned(
                    before.get(light.name),
                    after.get(light.name),
                    step=step,
                    kelvin=kelvin,
                    mired_shift=mired,
                )
                for light in lights
            }
            name = self.scene.names[role]
            if name is not None and len(set(each.values())) == 1:
                each = {name: next(iter(each.values()))}
            comment = comments.get(role, "")
            settings |= {
                name: replace(setting, comment="" if setting.on is False else comment)
                for name, setting in each.items()
                if setting is not None
            }
        if evening:
            for light, kelvin in self.kelvin.items():
                own = settings.get(light, FirstSetting())
                settings[light] = replace(own, kelvin=kelvin, comment="warm")
        return settings


def _turned(
    before: float | None,
    after: float | None,
    *,
    step: bool,
    kelvin: float | None,
    mired_shift: float | None,
) -> FirstSetting | None:
    """Say what a mood asks of a light that stood at some stops, or was off; None for nothing."""
    if after is None:
        return None if before is None else FirstSetting(on=False)
    if before is None:
        return FirstSetting(on=True, stops=_limited(after) or None, kelvin=kelvin,
                            mired_shift=mired_shift)  # fmt: skip
    stops = _limited(_limited(after) - _limited(before)) or None
    if stops is None and kelvin is None and mired_shift is None:
        return None
    return FirstSetting(
        stops=stops, step=step and stops is not None, kelvin=kelvin, mired_shift=mired_shift
    )


def _opened(stops: float) -> str:
    return "the camera opens as daylight goes" if stops > 0 else "darker than the mood before"


def _limited(stops: float) -> float:
    """Keep stops within what a recipe takes, in thirds; only what is no light asks for more."""
    return _thirds(min(max(stops, -_MOST_STOPS), _MOST_STOPS))


def _darker(stops: float) -> float:
    """Keep stops in thirds as `_limited`, in doubt the darker: light evenings are none.

    The meter of a run sees finer than the blocks of a survey, and so exposes a little more.
    """
    return _limited(math.floor(3 * stops + _IN_DOUBT) / 3)


def _thirds(stops: float) -> float:
    return round(stops * 3) / 3
