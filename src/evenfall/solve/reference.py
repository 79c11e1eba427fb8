"""A picture that a mood is to look like, brought to the size at which they are compared."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np
import numpy.typing as npt

from evenfall.compare.reading import LightByRows, open_light
from evenfall.develop.reduced import reduced_size
from evenfall.errors import Fault, UsageError
from evenfall.light.output_spaces import output_space
from evenfall.light.primaries import RgbSpace, conversion_matrix, luminance_weights
from evenfall.mix.averaging import area_mean_of_pixels, area_mean_of_rows
from evenfall.system.processors import workers_of

__all__ = ["Reference", "read_reference"]

Floats = npt.NDArray[np.float32]
Mask = npt.NDArray[np.bool_]
Holds = Literal["display", "exposed", "rendered"]

_WIDTH = 480
_FLOATS = (".exr", ".hdr", ".pfm")
_SHAPE_SLACK = 0.01
_LEAST_SIDE = 16
_ONE_COLOUR = 1 / 255  # of its largest value: less of a spread is no picture of lights
_TOP, _BOTTOM = 0.995, 0.002
_MOST_LOST = 0.05  # of a pixel's own pixels that are clipped or black
_COARSER, _LEAST_WIDTH = 4, 40
"""A displayed picture is compared so many times coarser than it is, as far as it has the pixels:
formats that lose keep the colour of two by two pixels, and of blocks around them the mean."""
_DARKEST = 1e-6
_ROUGH = 0.02  # of an encoded value: a spread inside a pixel that halves its trust


@dataclass(frozen=True, eq=False)
class Reference:
    """A picture to be matched.

    Parameters
    ----------
    planes : ndarray, shape (3, h, w), float32
        Display-encoded values; or, of scene-linear pictures, light in the passes' primaries.
    holds : {"display", "exposed", "rendered"}
        A displayed picture, or scene-linear light behind or before the camera.
    space : str
        Of displayed pictures: the output space.
    known : ndarray of bool, shape (h, w)
        Where it says something: not clipped, not black.
    trust : ndarray, shape (h, w)
        0 to 1: less where there is fine detail below the size of the comparison, of which means
        before and after a look differ.
    """

    planes: Floats
    holds: Holds
    space: str
    known: Mask
    trust: Floats

    @property
    def size(self) -> tuple[int, int]:
        """Width and height in pixels."""
        height, width = self.planes.shape[1:]
        return width, height


def read_reference(
    path: Path,
    view_size: tuple[int, int],
    space: RgbSpace,
    *,
    rendered: bool,
    workers: int | None = None,
) -> Reference:
    """Read a reference of a view.

    Parameters
    ----------
    path : Path
        PNG, JPEG, TIFF, WebP or AVIF by its profile; EXR, HDR or PFM as scene-linear light.
    view_size : tuple of int
        Width and height of the view, whose shape it must have.
    space : RgbSpace
        The passes' primaries.
    rendered : bool
        Whether a scene-linear file holds light as the passes do, before the camera.
    workers : int, optional
        Threads; the result does not depend on them.

    Raises
    ------
    PixelSourceError
        When it cannot be read.
    UsageError
        When it is of another shape, too small, black or of one colour, or a display picture is
        said to be a render.
    """
    is_float = path.suffix.lower() in _FLOATS
    if rendered and not is_float:
        found = "a display picture is no render: it has been through a look"
        hint = "leave --as-rendered out"
        raise UsageError(Fault(str(path), "", found, "EXR, HDR or PFM", hint))
    picture = open_light(path)
    _check_shape(path, picture.size, view_size)
    if min(picture.size) < min(_LEAST_SIDE, *view_size):
        found = f"{picture.size[0]} x {picture.size[1]} pixels are too few to match"
        allowed = f"a picture of at least {_LEAST_SIDE} pixels a side"
        raise UsageError(Fault(str(path), "", found, allowed))
    width = min(_WIDTH, picture.size[0], view_size[0])
    if not is_float:
        width = min(width, max(picture.size[0] // _COARSER, _LEAST_WIDTH))
    size = reduced_size(view_size, width)
    size = min(size[0], picture.size[0]), min(size[1], picture.size[1])
    if not is_float:
        return _displayed(path, picture, size, workers_of(workers))
    planes = area_mean_of_pixels(np.ascontiguousarray(picture.rows(slice(None))), size)
    return _scene_linear(path, planes, picture.space, space, rendered=rendered)


def _check_shape(path: Path, size: tuple[int, int], view: tuple[int, int]) -> None:
    shape, wanted = size[0] / size[1], view[0] / view[1]
    pixel = 1.5 / min(size[1], view[1])
    if abs(shape / wanted - 1) > max(_SHAPE_SLACK, pixel):
        found = f"{size[0]} x {size[1]} pixels, and the view has {view[0]} x {view[1]}"
        hint = (
            "crop it to what the view shows, or, if it shows another place, take only its mood of "
            "colour with --only colour"
        )
        raise UsageError(Fault(str(path), "", found, "a picture of the same shape", hint))


def _scene_linear(
    path: Path, planes: Floats, own: RgbSpace, space: RgbSpace, *, rendered: bool
) -> Reference:
    matrix = conversion_matrix(own, space).astype(np.float32)
    light = np.tensordot(matrix, planes, axes=1)
    luminance = np.tensordot(luminance_weights(space).astype(np.float32), light, axes=1)
    _check_light(path, luminance)
    known = luminance > _DARKEST * float(luminance.max())
    return Reference(light, "rendered" if rendered else "exposed", "", known, _even(known))


def _even(known: Mask) -> Floats:
    return np.ones(known.shape, np.float32)


def _displayed(path: Path, picture: LightByRows, size: tuple[int, int], workers: int) -> Reference:
    """Bring a displayed picture to a size in its encoded values, of which files keep the means."""
    name = "Display P3" if picture.space == output_space("Display P3").rgb else "sRGB"
    output = output_space(name)
    if picture.space == output.rgb:
        encoded_rows = picture.followed_by(output.encode)
    else:
        matrix = conversion_matrix(picture.space, output.rgb).astype(np.float32).T

        def encoded_rows(rows: slice) -> Floats:
            return output.encode(np.ascontiguousarray(picture.rows(rows) @ matrix))

    def rows(rows: slice) -> Floats:
        """Give encoded R, G, B; whether that is clipped or black; and the square of G."""
        encoded = encoded_rows(rows)
        most = encoded.max(axis=-1)
        is_lost = (most >= _TOP) | (most <= _BOTTOM)
        return np.dstack([encoded, is_lost.astype(np.float32), encoded[..., 1] ** 2])

    *planes, lost, squares = area_mean_of_rows(
        rows, picture.size, size, channels=5, workers=workers
    )
    shown = np.stack(planes)
    _check_light(path, shown)
    spread = np.maximum(squares - shown[1] ** 2, 0)
    trust = (1 / (1 + spread / np.float32(_ROUGH**2))).astype(np.float32)
    return Reference(shown, "display", name, lost < _MOST_LOST, trust)


def _check_light(path: Path, light: Floats) -> None:
    if not light.max() > 0:
        raise UsageError(Fault(str(path), "", "the picture is black, so nothing can be matched"))
    if np.ptp(light, axis=(-2, -1)).max() < _ONE_COLOUR * float(light.max()):
        found = "the picture is of one colour all over, so it shows no lights that can be matched"
        hint = "its colour alone can be taken: --only colour"
        raise UsageError(Fault(str(path), "", found, "a picture of the same view", hint))
