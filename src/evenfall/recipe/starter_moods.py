"""First moods where nothing is known of the pixels: turns that are usual, for a person to set."""

from __future__ import annotations

from evenfall.recipe.lights import Role
from evenfall.recipe.starter_scene import FirstMood, FirstMoods, FirstSetting, Scene

__all__ = [
    "BLUER_MIRED",
    "LAMP_KELVIN",
    "LAMP_ROLES",
    "dusk_sky_tint",
    "lamp_kelvin",
    "plain_moods",
    "to_be_metered",
]

LAMP_ROLES: tuple[Role, ...] = ("fixture", "outdoor fixture", "glow")
BLUER_MIRED = -40.0
LAMP_KELVIN = 2700.0
_DUSK_SKY_KELVIN = 12000.0
_DUSK_SKY_STOPS = -2.0
_NIGHT_SKY_STOPS = -5.0


def to_be_metered(scene: Scene) -> tuple[str, ...]:
    """Name what a camera may meter, the best first: the key, the sky, the mix."""
    key = ("key",) if scene.has("key") else ()
    sky = scene.names["sky"]
    return (*key, *(() if sky is None else (sky,)), "mix")


def plain_moods(scene: Scene) -> FirstMoods:
    """Day, dusk and night by usual turns: sun off, sky down and blue, lamps on."""
    sky_kelvin, sky_mired = dusk_sky_tint(scene)
    dusk: dict[Role, FirstSetting] = {
        "key": FirstSetting(on=False, comment="the sun has set"),
        "sky": FirstSetting(
            stops=_DUSK_SKY_STOPS,
            kelvin=sky_kelvin,
            mired_shift=sky_mired,
            comment="down, and blue against the lamps",
        ),
        "fill": FirstSetting(stops=_DUSK_SKY_STOPS, comment="down with the sky"),
    }
    day: dict[Role, FirstSetting] = {}
    if scene.has("key", "sky", "fill"):
        day = {role: FirstSetting(on=False) for role in ("fixture", "outdoor fixture")}
        dusk |= {role: lamp_on(scene, role) for role in ("fixture", "outdoor fixture")}
    opened = 2.0 if scene.has("key") else 0.0
    return FirstMoods(
        0.0,
        "+ is brighter",
        None,
        FirstMood(("Day: sun and sky as rendered, lamps off.",), scene.named(day)),
        FirstMood(
            ("Dusk: the sun is down, the sky lower and bluer, every lamp on and warm.",),
            scene.named(dusk),
            opened,
            exposure_comment="the camera opens as the light goes",
        ),
        FirstMood(
            ("Night: as dusk, with the last of the sky.",),
            scene.named(
                {
                    "sky": FirstSetting(stops=_NIGHT_SKY_STOPS, comment="a trace, still blue"),
                    "fill": FirstSetting(on=False),
                }
            ),
        ),
        metered=to_be_metered(scene)[0],
    )


def lamp_on(scene: Scene, role: Role) -> FirstSetting:
    """Lamps of a role switched on, at the colour of evening where that can be said."""
    return FirstSetting(on=True, kelvin=lamp_kelvin(scene, role), comment="on")


def lamp_kelvin(scene: Scene, role: Role) -> float | None:
    """2700 K where it is known how all lamps of a role were rendered; None otherwise."""
    lamps = scene.by_role[role]
    known = lamps and all(each.rendered and each.rendered.kelvin for each in lamps)
    return LAMP_KELVIN if known else None


def dusk_sky_tint(scene: Scene) -> tuple[float | None, float | None]:
    """Kelvin or mired shift by which a sky turns blue; neither where its colour is an xy."""
    skies = [each.rendered for each in scene.by_role["sky"]]
    kelvins = [each.kelvin for each in skies if each is not None and each.kelvin is not None]
    if kelvins and len(kelvins) == len(skies):
        return max(_DUSK_SKY_KELVIN, *kelvins), None
    if any(each is not None and each.xy is not None for each in skies):
        return None, None
    return None, BLUER_MIRED
