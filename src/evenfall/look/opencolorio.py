"""What OpenColorIO computes for the look: LUT files, CDL files, and whole views of a config."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Self

import numpy as np

from evenfall.errors import Fault, PixelSourceError, RecipeError
from evenfall.light.primaries import ACES2065_1, RgbSpace
from evenfall.look.arrays import Planes
from evenfall.look.checks import (
    CDL_FILES,
    CONFIG_FILES,
    LUT_FILES,
    absurd_correction,
    no_built_in_config,
    no_cdl,
    no_config,
    no_interchange,
    no_lut,
    no_numbers,
    no_view,
    not_in_config,
    require_file,
    unknown_correction,
)
from evenfall.look.opencolorio_quiet import opencolorio_silenced
from evenfall.look.probing import ENCODED, SCENE, unsound_value
from evenfall.look.trials import try_file, try_view
from evenfall.recipe.look import Cdl, Lut, View
from evenfall.system.opened import Opened, hashed, note_opened
from evenfall.system.scratch import buffer

__all__ = ["LutStep", "Processor", "ViewRendering", "cdl_processor"]

_BUILT_IN = "ocio://"
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

        require_file(path, LUT_FILES)
        opened = try_file("lut", path, no_lut(path))
        transform = PyOpenColorIO.FileTransform(str(path), interpolation=PyOpenColorIO.INTERP_BEST)
        if lut.input == "log":
            transform = _in_acescct(transform)
        try:
            with _as_tried([opened]):
                processor = PyOpenColorIO.Config.CreateRaw().getProcessor(transform)
                self._processor = Processor(processor.getDefaultCPUProcessor())
        except _refusals() as error:
            raise no_lut(path)(error) from error
        if not _tables_are_finite(processor):
            raise no_lut(path)("it holds numbers that are not finite (NaN or Inf)")
        levels = SCENE if lut.place == "scene" else ENCODED
        if (value := unsound_value(self._processor, levels)) is not None:
            raise no_lut(path)(no_numbers(value))
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


def _tables_are_finite(processor: Any) -> bool:
    """Whether tables are free of NaN and Inf, which may come out as something else.

    Those by half codes rightly have both among them.
    """
    import PyOpenColorIO

    return all(
        np.isfinite(step.getData()).all()
        for step in processor.createGroupTransform()
        if isinstance(step, PyOpenColorIO.Lut3DTransform)
        or (isinstance(step, PyOpenColorIO.Lut1DTransform) and not step.getInputHalfDomain())
    )


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


def cdl_processor(cdl: Cdl, folder: Path) -> Processor:
    """Processor of an ASC CDL, from the recipe's numbers or from the file it names.

    ``(x slope + offset)^power``, then saturation around luma of BT.709 weights (ASC CDL v1.2).
    Without `clamp` nothing is cut off and the power is skipped for negative values.

    Parameters
    ----------
    cdl : Cdl
    folder : Path
        Where relative names start.

    Raises
    ------
    PixelSourceError
        If the file cannot be read.
    RecipeError
        If it has no correction of that id; the message lists those it has. If its numbers leave
        single precision.

    Examples
    --------
    >>> planes = np.full((3, 1), 0.18, np.float32)
    >>> cdl_processor(Cdl(slope=(2, 1, 0.5)), Path())(planes)
    >>> planes.ravel().astype(float).round(4).tolist()
    [0.36, 0.18, 0.09]
    """
    import PyOpenColorIO

    if cdl.file is None:
        transform = PyOpenColorIO.CDLTransform(cdl.slope, cdl.offset, cdl.power, cdl.saturation)
    else:
        transform = _read_cdl(folder / cdl.file, cdl.id)
    style = PyOpenColorIO.CDL_ASC if cdl.clamp else PyOpenColorIO.CDL_NO_CLAMP
    transform.setStyle(style)
    try:
        processor = Processor.of_transform(
            _in_acescct(transform) if cdl.input == "log" else transform
        )
        value = unsound_value(processor, SCENE)
    except _refusals():  # of numbers that it has read
        value = 0.0
    if value is None:
        return processor
    if cdl.file is not None:
        raise no_cdl(folder / cdl.file)(no_numbers(value))
    raise RecipeError(absurd_correction(value))


def _read_cdl(path: Path, identifier: str | None) -> Any:
    import PyOpenColorIO

    require_file(path, CDL_FILES)
    opened = try_file("cdl", path, no_cdl(path))
    read = PyOpenColorIO.CDLTransform
    with _as_tried([opened]):
        try:
            known = [each.getID() for each in read.CreateGroupFromFile(str(path))]
        except _refusals() as error:
            raise no_cdl(path)(error) from error
        try:
            return read.CreateFromFile(str(path), identifier or "")
        except _refusals() as error:
            raise RecipeError(unknown_correction(path, identifier or "", known)) from error


@contextmanager
def _as_tried(tried: Sequence[Opened]) -> Iterator[None]:
    """Have OpenColorIO open files that were tried, and note that they stayed as they were.

    Raises
    ------
    PixelSourceError
        When one has changed by the end.
    """
    import PyOpenColorIO

    PyOpenColorIO.ClearAllCaches()  # files are cached by name, and may have been rewritten
    with opencolorio_silenced():
        yield
    for opened in tried:
        if not _is_still(opened):
            found, hint = "the file changed while it was read", "wait until it has been written"
            raise PixelSourceError(Fault(str(opened.path), "", found, hint=hint))
    note_opened(*tried)


def _is_still(opened: Opened) -> bool:
    try:
        return hashed(opened.path).sha256 == opened.sha256
    except OSError:
        return False


class ViewRendering:
    """A display and view of a studio's config, from scene-linear to display-encoded values.

    Parameters
    ----------
    view : View
        From the recipe. Without `source` the config's own role for ACES2065-1 is used.
    passes : RgbSpace
        Primaries of the passes, which `source` names in the config's words.
    folder : Path
        Where a relative name of a config starts.

    Raises
    ------
    PixelSourceError
        If the config cannot be read, or the view not be computed.
    RecipeError
        If there is no such built-in config, or the config has no such display, view or colour
        space: with every one of them, and what it has.
    """

    def __init__(self, view: View, passes: RgbSpace, folder: Path) -> None:
        self.space = ACES2065_1 if view.source is None else passes
        opened = () if view.config.startswith(_BUILT_IN) else _try_view(view, folder)
        with _as_tried(opened):
            config = _read_config(view, folder)
            try:
                _require_names(view, config)
            except UnicodeDecodeError as error:  # a name in it is no text
                raise no_config(folder / view.config)(error) from error
            try:
                processor = _view_processor(config, view)
                self._processor = Processor(processor.getDefaultCPUProcessor())
            except _refusals() as error:
                raise no_view(view.config)(error) from error
        value = unsound_value(self._processor, SCENE)
        if value is not None:
            raise no_view(view.config)(no_numbers(value))

    def __call__(self, scene_linear: Planes) -> Planes:
        """Render a strip in place."""
        self._processor(scene_linear)
        return scene_linear


def _try_view(view: View, folder: Path) -> tuple[Opened, ...]:
    """Have a view of a config file read elsewhere; give the config and the files beside it."""
    path = folder / view.config
    require_file(path, CONFIG_FILES)
    source = view.source or _ACES_INTERCHANGE
    names = (source, view.display, view.view)
    return try_view(path, names, no_config(path), no_view(view.config))


def _view_processor(config: Any, view: View) -> Any:
    import PyOpenColorIO

    source = view.source or _ACES_INTERCHANGE
    forward = PyOpenColorIO.TRANSFORM_DIR_FORWARD
    return config.getProcessor(source, view.display, view.view, forward)


def _require_names(view: View, config: Any) -> None:
    """Raise RecipeError with every name of a view that its config does not have."""
    faults: list[Fault] = []

    def require(what: str, name: str, known: Iterable[str]) -> None:
        known = list(known)
        if name not in known:
            faults.append(not_in_config(view.config, what, name, known))

    displays, spaces = list(config.getDisplays()), list(config.getColorSpaceNames())
    require("display", view.display, displays)
    if view.display in displays:
        require("view", view.view, config.getViews(view.display))
    if view.source is not None:
        require("source", view.source, spaces)
    elif not config.hasRole(_ACES_INTERCHANGE):
        faults.append(no_interchange(view.config, _ACES_INTERCHANGE, spaces))
    if faults:
        raise RecipeError(faults)


def _read_config(view: View, folder: Path) -> Any:
    import PyOpenColorIO

    if view.config.startswith(_BUILT_IN):
        try:
            return PyOpenColorIO.Config.CreateFromFile(view.config)
        except _refusals() as error:
            built_in = PyOpenColorIO.BuiltinConfigRegistry().getBuiltinConfigs()
            names = [_BUILT_IN + name for name, *_ in built_in]
            raise RecipeError(no_built_in_config(view.config, names)) from error
    path = folder / view.config
    try:
        return PyOpenColorIO.Config.CreateFromFile(str(path))
    except _refusals() as error:
        raise no_config(path)(error) from error


def _refusals() -> tuple[type[Exception], ...]:
    """Give what OpenColorIO raises; its words may quote bytes of a file that are no text."""
    import PyOpenColorIO

    return PyOpenColorIO.Exception, PyOpenColorIO.ExceptionMissingFile, UnicodeDecodeError
