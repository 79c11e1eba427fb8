"""What OpenColorIO computes for the look: LUT files, CDL files, and whole views of a config."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Self

import numpy as np

from evenfall.errors import Fault, PixelSourceError
from evenfall.look.arrays import Planes
from evenfall.look.grade import CdlNumbers
from evenfall.look.scratch import buffer
from evenfall.recipe.look import Cdl, Lut, View

__all__ = ["LutStep", "Processor", "read_cdl", "view_processor"]

_ACES_INTERCHANGE = "aces_interchange"  # role of ACES2065-1 in configs from version 2.1


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


class LutStep:
    """A LUT file at its place in the chain.

    Parameters
    ----------
    lut : Lut
        From the recipe.
    path : Path
        The file.

    Raises
    ------
    PixelSourceError
        If there is no such file, or OpenColorIO cannot use it.

    Notes
    -----
    3D LUTs are interpolated between four points (tetrahedra), 1D LUTs between two. Values outside
    the LUT's domain are held at its edge, as the formats ask.
    """

    def __init__(self, lut: Lut, path: Path) -> None:
        import PyOpenColorIO

        _require_file(path, "a LUT file")
        PyOpenColorIO.ClearAllCaches()  # files are cached by name, and may have been rewritten
        transform = PyOpenColorIO.FileTransform(str(path), interpolation=PyOpenColorIO.INTERP_BEST)
        if lut.input == "log":
            transform = _in_acescct(transform)
        try:
            self._processor = Processor.of_transform(transform)
        except PyOpenColorIO.Exception as error:
            raise _unusable(path, "cannot be used as a LUT", error) from error
        self._strength = np.float32(lut.strength)

    def __call__(self, planes: Planes) -> None:
        """Apply in place to float32 planes of the shape (3, n)."""
        if self._strength == 1:
            self._processor(planes)
            return
        changed = buffer("lut", planes.shape)
        np.copyto(changed, planes)
        self._processor(changed)
        changed -= planes
        changed *= self._strength
        planes += changed


def _in_acescct(transform: Any) -> Any:
    """Wrap a transform so that it gets and gives ACEScct where ACEScg goes in and out."""
    import PyOpenColorIO

    inverse = PyOpenColorIO.TRANSFORM_DIR_INVERSE
    steps = [
        PyOpenColorIO.BuiltinTransform("ACEScg_to_ACES2065-1"),
        PyOpenColorIO.BuiltinTransform("ACEScct_to_ACES2065-1", inverse),
        transform,
        PyOpenColorIO.BuiltinTransform("ACEScct_to_ACES2065-1"),
        PyOpenColorIO.BuiltinTransform("ACEScg_to_ACES2065-1", inverse),
    ]
    return PyOpenColorIO.GroupTransform(steps)


def read_cdl(cdl: Cdl, folder: Path) -> CdlNumbers:
    """Numbers of an ASC CDL, from the recipe or from the file it names.

    Parameters
    ----------
    cdl : Cdl
    folder : Path
        Where relative names start.

    Raises
    ------
    PixelSourceError
        If the file cannot be read or has no correction of that id.
    """
    if cdl.file is None:
        return cdl.slope, cdl.offset, cdl.power, cdl.saturation
    import PyOpenColorIO

    path = folder / cdl.file
    _require_file(path, "a .cc, .ccc or .cdl file")
    PyOpenColorIO.ClearAllCaches()
    try:
        found = PyOpenColorIO.CDLTransform.CreateFromFile(str(path), cdl.id or "")
    except PyOpenColorIO.Exception as error:
        raise _unusable(path, "cannot be used as a CDL", error) from error
    slope, offset, power = (
        (float(red), float(green), float(blue))
        for red, green, blue in (found.getSlope(), found.getOffset(), found.getPower())
    )
    return slope, offset, power, float(found.getSat())


def view_processor(view: View, folder: Path) -> tuple[Processor, bool]:
    """Processor of a display and view of a config.

    Parameters
    ----------
    view : View
        From the recipe.
    folder : Path
        Where a relative name of a config starts.

    Returns
    -------
    processor : Processor
    from_aces : bool
        Whether it takes ACES2065-1 (then the recipe named no source); otherwise it takes the
        passes' own primaries.

    Raises
    ------
    PixelSourceError
        If the config cannot be read or has no such display, view or colour space; the message
        lists what it has.
    """
    import PyOpenColorIO

    config = _read_config(view, folder)
    _require_among(view.config, "display", view.display, config.getDisplays())
    _require_among(view.config, "view", view.view, config.getViews(view.display))
    source = view.source
    if source is None:
        if not config.hasRole(_ACES_INTERCHANGE):
            raise PixelSourceError(
                Fault(
                    view.config,
                    "",
                    f"the config has no role {_ACES_INTERCHANGE}, so it does not say how it is "
                    "related to other spaces",
                    hint="name the passes' colour space in it: look.view.source",
                )
            )
        source = _ACES_INTERCHANGE
    else:
        _require_among(view.config, "source", source, config.getColorSpaceNames())
    forward = PyOpenColorIO.TRANSFORM_DIR_FORWARD
    try:
        processor = config.getProcessor(source, view.display, view.view, forward)
        return Processor(processor.getDefaultCPUProcessor()), view.source is None
    except PyOpenColorIO.Exception as error:
        raise _unusable(Path(view.config), "this view cannot be computed", error) from error


def _read_config(view: View, folder: Path) -> Any:
    import PyOpenColorIO

    try:
        if view.config.startswith("ocio://"):
            return PyOpenColorIO.Config.CreateFromFile(view.config)
        path = folder / view.config
        _require_file(path, "an OpenColorIO config, or ocio://NAME for a built-in one")
        return PyOpenColorIO.Config.CreateFromFile(str(path))
    except PyOpenColorIO.Exception as error:
        raise _unusable(Path(view.config), "cannot be read as a config", error) from error


def _require_file(path: Path, allowed: str) -> None:
    if not path.is_file():
        raise PixelSourceError(Fault(str(path), "", "there is no such file", f"expected {allowed}"))


def _require_among(config: str, what: str, name: str, names: Any) -> None:
    known = list(names)
    if name not in known:
        listed = ", ".join(f'"{one}"' for one in known)
        raise PixelSourceError(
            Fault(config, f"look.view.{what}", f'found "{name}"', f"the config has {listed}")
        )


def _unusable(path: Path, what: str, error: Exception) -> PixelSourceError:
    reason = " ".join(str(error).split())
    return PixelSourceError(Fault(str(path), "", f"{what}: {reason}"))
