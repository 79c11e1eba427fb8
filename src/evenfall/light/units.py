"""Photometric and photographic units: exposure value, luminance, illuminance.

A figure in lux or cd/m2 that is read from a rendered picture is no lighting calculation; stairs,
escape routes and work places need a qualified designer. `READ_FROM_PICTURE` says so, and goes with
every such figure a person sees.

Meter calibration constants are K = 12.5 cd s/m2 for reflected light and C = 250 lx s for incident
light on a flat receptor (ISO 2720:1974).
"""

from __future__ import annotations

import math

__all__ = [
    "METER_C",
    "METER_K",
    "MIDDLE_GREY",
    "READ_FROM_PICTURE",
    "REFERENCE_WHITE_NITS",
    "SATURATION_LUMINANCE",
    "ev100_from_illuminance",
    "ev100_from_luminance",
    "ev100_from_settings",
    "luminance_from_ev100",
]

METER_K = 12.5
METER_C = 250.0

MIDDLE_GREY = 0.18
"""Scene-linear luminance that exposure brings the metered light to: the 18 % of a grey card."""

REFERENCE_WHITE_NITS = 203.0
"""cd/m2 of diffuse white in HDR pictures (ITU-R BT.2408-7, table 1)."""

SATURATION_LUMINANCE = 78.0 / (0.65 * 100.0)
"""Luminance in cd/m2 that just saturates at EV100 = 0: 1.2, from the saturation-based speed
78 lx s / H of ISO 12232:2019 and a lens factor q = 0.65."""

READ_FROM_PICTURE = (
    "Read from a picture: this is no lighting calculation. Stairs, escape routes and work places "
    "need a qualified lighting designer."
)


def ev100_from_settings(iso: float, aperture: float, shutter_seconds: float) -> float:
    """Exposure value at ISO 100 that camera settings are right for (ISO 2720:1974, APEX).

    Examples
    --------
    >>> round(ev100_from_settings(100, 8, 1 / 125), 4)
    12.9658
    """
    return math.log2(aperture**2 / shutter_seconds) - math.log2(iso / 100)


def luminance_from_ev100(ev100: float) -> float:
    """Luminance in cd/m2 of a meter reading: K / 100 x 2^EV100.

    Examples
    --------
    >>> luminance_from_ev100(15)
    4096.0
    """
    return METER_K / 100 * math.exp2(ev100)


def ev100_from_luminance(luminance: float) -> float:
    """Exposure value at ISO 100 of a luminance in cd/m2 above 0.

    Examples
    --------
    >>> ev100_from_luminance(16)
    7.0
    """
    return math.log2(luminance * 100 / METER_K)


def ev100_from_illuminance(illuminance: float) -> float:
    """Exposure value at ISO 100 of an illuminance in lux above 0, flat receptor.

    Examples
    --------
    >>> round(ev100_from_illuminance(500), 3)
    7.644
    """
    return math.log2(illuminance * 100 / METER_C)
