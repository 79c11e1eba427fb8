"""OpenColorIO processors on planar strips."""

from __future__ import annotations

from typing import Any, Self

from evenfall.look.arrays import Planes

__all__ = ["Processor"]


class Processor:
    """An OpenColorIO CPU processor that works in place on planar float32 strips.

    Parameters
    ----------
    cpu_processor : PyOpenColorIO.CPUProcessor
    """

    def __init__(self, cpu_processor: Any) -> None:
        self._cpu = cpu_processor

    @classmethod
    def of_transform(cls, transform: Any) -> Self:
        """Make a processor of one transform, outside any config."""
        import PyOpenColorIO

        config = PyOpenColorIO.Config.CreateRaw()
        return cls(config.getProcessor(transform).getDefaultCPUProcessor())

    def __call__(self, planes: Planes) -> None:
        """Apply in place.

        Parameters
        ----------
        planes : ndarray of float32, C-contiguous, shape (3, ...)
        """
        import PyOpenColorIO

        if planes.size == 0:
            return
        red, green, blue = (channel.reshape(-1) for channel in planes)
        self._cpu.apply(PyOpenColorIO.PlanarImageDesc(red, green, blue, red.size, 1))
