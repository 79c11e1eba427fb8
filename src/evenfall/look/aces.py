"""The ACES 2.0 output transforms, computed by OpenColorIO.

OpenColorIO's fixed function for the ACES 2.0 output transform takes the peak luminance and the
limiting primaries, so there is one for every output space: its own primaries limit the rendering.
For sRGB and BT.709, and for Display P3, that is exactly the published SDR 100 nit transform; for
Adobe RGB (1998), for which none is published, it is the same transform with the limiting primaries
of that space.
"""

from __future__ import annotations

from evenfall.light.primaries import ACES2065_1, RgbSpace
from evenfall.look.arrays import Planes
from evenfall.look.opencolorio import Processor

__all__ = ["AcesRendering"]

_SDR_PEAK_NITS = 100.0


class AcesRendering:
    """ACES 2.0 from scene-linear ACES2065-1 to display-linear output values, 1 at 100 cd/m2.

    Parameters
    ----------
    output : RgbSpace
        Primaries that limit the rendering, and in which the result is given.
    peak : float
        Brightest white, relative to 100 cd/m2.
    """

    def __init__(self, output: RgbSpace, peak: float = 1.0) -> None:
        import PyOpenColorIO

        self.space = ACES2065_1
        transform = PyOpenColorIO.FixedFunctionTransform(
            PyOpenColorIO.FIXED_FUNCTION_ACES_OUTPUT_TRANSFORM_20,
            [float(round(_SDR_PEAK_NITS * peak)), *output.chromaticities],  # whole cd/m2 only
        )
        self._processor = Processor.of_transform(transform)

    def __call__(self, scene_linear: Planes) -> Planes:
        """Render a strip of ACES2065-1 in place."""
        self._processor(scene_linear)
        return scene_linear
