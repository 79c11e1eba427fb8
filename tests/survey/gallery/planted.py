"""Writing pictures into files, and the truth that goes with a folder."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import OpenEXR

Array = npt.NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class Truth:
    """A planted light.

    Parameters
    ----------
    role : str or None
        What it does; None where only pixels tell, and tell no more than that it is a light.
    picture : ndarray
        All of it, shape (H, W, 3).
    """

    role: str | None
    picture: Array = field(repr=False)


@dataclass(frozen=True, eq=False)
class Planted:
    """What a folder holds.

    Parameters
    ----------
    lights : mapping of str to Truth
        By the name that a person would look for.
    beauty : str or None
        File, part and layer of the picture of all lights.
    unsure : frozenset of str
        Lights of which a person is asked.
    left_out : tuple of str
        Places of pictures that are light, and cannot be used or are there twice.
    data : int or None
        How many pictures and layers hold data; None where that is not counted.
    options : dict
        Further arguments of the survey.
    """

    lights: Mapping[str, Truth]
    beauty: str | None = None
    unsure: frozenset[str] = frozenset()
    left_out: tuple[str, ...] = ()
    data: int | None = None
    options: dict[str, Any] = field(default_factory=dict)


def channels_of(name: str, picture: Array, names: str = "RGBA") -> dict[str, Array]:
    """Channels of a layer; an unnamed one has bare names."""
    start = f"{name}." if name else ""
    picture = picture if picture.ndim == 3 else picture[..., None]
    return {
        f"{start}{names[index]}": np.ascontiguousarray(picture[..., index])
        for index in range(picture.shape[2])
    }


def write_exr(
    path: Path, channels: Mapping[str, Array], *, half: bool = True, **header: Any
) -> Path:
    """Write channels as a file of one part."""
    path.parent.mkdir(parents=True, exist_ok=True)
    OpenEXR.File(_header(header), _stored(channels, half=half)).write(str(path))
    return path


def write_parts(path: Path, parts: Mapping[str, Mapping[str, Array]], **header: Any) -> Path:
    """Write a file with a part for each name."""
    written = [
        OpenEXR.Part({**_header(header), "name": name}, _stored(channels, half=True))
        for name, channels in parts.items()
    ]
    OpenEXR.File(written).write(str(path))
    return path


def write_picture(path: Path, picture: Array, **header: Any) -> Path:
    """Write R, G, B (and A) as a file of its own."""
    return write_exr(path, channels_of("", picture), **header)


def _header(said: Mapping[str, Any]) -> dict[str, Any]:
    return {"compression": OpenEXR.ZIP_COMPRESSION, "type": OpenEXR.scanlineimage, **said}


def _stored(channels: Mapping[str, Array], *, half: bool) -> dict[str, Any]:
    return {
        name: plane
        if plane.dtype == np.uint32
        else np.ascontiguousarray(plane.astype(np.float16 if half and _fits(plane) else np.float32))
        for name, plane in channels.items()
    }


def _fits(plane: Array) -> bool:
    return bool(np.abs(plane).max() < 65504)
