"""What a setting says of a light's strength, before anything is read."""

from __future__ import annotations

from evenfall.recipe.lights import LightSetting

__all__ = ["is_on", "plain_gain"]


def is_on(setting: LightSetting) -> bool:
    """Whether a light gives anything.

    Examples
    --------
    >>> is_on(LightSetting(stops=-3)), is_on(LightSetting(factor=0))
    (True, False)
    """
    return not (setting.off or 0 in (setting.factor, setting.lumens, setting.watts))


def plain_gain(setting: LightSetting) -> float | None:
    """Gain of a setting that says it by itself; None where it hangs on pixels or on the lamp.

    Examples
    --------
    >>> plain_gain(LightSetting(stops=-2)), plain_gain(LightSetting(lumens=800))
    (0.25, None)
    """
    if setting.stops is not None:
        return float(2.0**setting.stops)
    if setting.factor is not None:
        return setting.factor
    return 1.0 if setting.gain_key is None else None
