"""Procedural textures as linear reflectance arrays (float32, BT.709 primaries, below 0.8)."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import gaussian_filter, map_coordinates


def noise(shape: tuple[int, int], blur: tuple[float, float], seed: int) -> np.ndarray:
    """Return smooth noise of zero mean and unit deviation that tiles in both directions."""
    field = np.random.default_rng(seed).standard_normal(shape)
    field = gaussian_filter(field, blur, mode="wrap")
    return (field - field.mean()) / field.std()


def coloured(value: np.ndarray, dark: tuple[float, ...], light: tuple[float, ...]) -> np.ndarray:
    """Blend from dark to light reflectance by a value from 0 to 1, to shape (H, W, 3)."""
    share = np.clip(value, 0, 1)[..., None]
    blend = np.array(dark) * (1 - share) + np.array(light) * share
    return np.clip(blend, 0.005, 0.78).astype(np.float32)


def grain(shape: tuple[int, int], seed: int, rings: float = 5.0) -> np.ndarray:
    """Return wood grain from 0 (dark) to 1 (light) that runs along the columns (u)."""
    rows, columns = shape
    bend = noise(shape, (rows / 6, columns / 5), seed)
    across = np.linspace(0, 1, rows, endpoint=False)[:, None]
    figure = np.sin(2 * np.pi * (rings * across + 0.55 * bend))
    fibre = noise(shape, (0.7, 45), seed + 1)
    pores = noise(shape, (0.5, 14), seed + 2)
    return 0.55 + 0.13 * figure + 0.10 * fibre - 0.10 * np.clip(pores - 1.1, 0, None)


def planks(
    size_m: tuple[float, float],
    pixels_per_metre: int,
    board: tuple[float, float],
    dark: tuple[float, ...],
    light: tuple[float, ...],
    seed: int,
    gap_m: float = 0.004,
    variety: float = 0.12,
) -> np.ndarray:
    """Return a surface of boards whose grain runs along u.

    Parameters
    ----------
    size_m : tuple of float
        Extent along v (across the boards) and u (along them), in metres.
    pixels_per_metre : int
        Resolution.
    board : tuple of float
        Width and length of a board, in metres.
    dark, light : tuple of float
        Linear reflectance of dark and light grain.
    seed : int
        Changes every board.
    gap_m : float
        Width of the dark joint.
    variety : float
        How much one board differs from the next in lightness.
    """
    rng = np.random.default_rng(seed)
    rows, columns = (round(s * pixels_per_metre) for s in size_m)
    stock = grain((1024, 4096), seed)
    count = round(size_m[0] / board[0])
    edges = np.linspace(0, rows, count + 1).round().astype(int)
    gap = max(1, round(gap_m * pixels_per_metre))
    value = np.empty((rows, columns), np.float32)
    for top, bottom in zip(edges[:-1], edges[1:], strict=True):
        cuts = [0, *_board_ends(columns, board[1] * pixels_per_metre, rng), columns]
        for left, right in zip(cuts[:-1], cuts[1:], strict=True):
            v0, u0 = rng.integers(0, 1024), rng.integers(0, 4096)
            piece = np.take(stock, range(v0, v0 + bottom - top), 0, mode="wrap")
            piece = np.take(piece, range(u0, u0 + right - left), 1, mode="wrap")
            piece = piece + rng.normal(0, variety)
            piece[:gap] -= 0.45
            piece[:, : max(1, gap // 2)] -= 0.45
            value[top:bottom, left:right] = piece
    return coloured(value, dark, light)


def _board_ends(columns: int, length: float, rng: np.random.Generator) -> list[int]:
    """Return where boards end along one row, each 0.6 to 1.2 of the nominal length."""
    ends, position = [], rng.uniform(0.2, 1.0) * length
    while position < columns - 0.25 * length:
        ends.append(int(position))
        position += rng.uniform(0.6, 1.2) * length
    return ends


def wood(dark: tuple[float, ...], light: tuple[float, ...], seed: int) -> np.ndarray:
    """Return a tile of solid timber, 0.5 m across and 2 m along u."""
    return coloured(grain((512, 2048), seed, rings=7), dark, light)


def plaster(colour: tuple[float, ...], seed: int, depth: float = 0.05) -> np.ndarray:
    """Return trowelled plaster, a tile of 2 m."""
    shape = (1024, 1024)
    cloud = 0.6 * noise(shape, (60, 90), seed) + 0.4 * noise(shape, (9, 16), seed + 1)
    fine = noise(shape, (1.2, 1.2), seed + 2)
    value = 1 + depth * (0.8 * cloud + 0.25 * fine)
    return np.clip(value[..., None] * np.array(colour), 0, 0.78).astype(np.float32)


def stone(dark: tuple[float, ...], light: tuple[float, ...], seed: int) -> np.ndarray:
    """Return speckled, faintly veined stone, a tile of 1 m."""
    shape = (1024, 1024)
    cloud = noise(shape, (50, 50), seed)
    veins = np.exp(-np.abs(noise(shape, (30, 60), seed + 1)) * 9)
    speckle = noise(shape, (1.4, 1.4), seed + 2)
    return coloured(0.5 + 0.12 * cloud + 0.10 * speckle + 0.25 * veins, dark, light)


def woven(colour: tuple[float, ...], seed: int, depth: float = 0.10) -> np.ndarray:
    """Return a plain weave, a tile of 0.3 m."""
    y, x = np.mgrid[0:512, 0:512]
    threads = np.sin(2 * np.pi * x / 8) * np.sin(2 * np.pi * y / 8)
    slub = noise((512, 512), (1.0, 18), seed) + noise((512, 512), (18, 1.0), seed + 1)
    value = 1 + depth * (0.5 * threads + 0.45 * slub)
    return np.clip(value[..., None] * np.array(colour), 0.01, 0.75).astype(np.float32)


def rug(ground: tuple[float, ...], line: tuple[float, ...], seed: int) -> np.ndarray:
    """Return a hand-woven rug with a loose lozenge pattern, u along its length."""
    rows, columns = 1024, 1408
    y, x = np.mgrid[0:rows, 0:columns].astype(float)
    wobble = noise((rows, columns), (40, 40), seed)
    wobble_2 = noise((rows, columns), (40, 40), seed + 1)
    a, b = (x + y * 1.35 + 7 * wobble) / 176, (x - y * 1.35 + 7 * wobble_2) / 176
    distance = np.minimum(np.abs(a - np.round(a)), np.abs(b - np.round(b)))
    lines = np.clip((0.045 - distance) * 45, 0, 1) * np.clip(1 + 0.3 * wobble, 0.4, 1)
    border = np.minimum(np.minimum(y, rows - y), np.minimum(x, columns - x))
    lines = np.where(border < 26, 0, lines)
    pile = noise((rows, columns), (1.0, 1.6), seed + 2)
    patch = noise((rows, columns), (6, 120), seed + 3)
    texture = coloured(lines, ground, line) * (1 + 0.07 * pile + 0.05 * patch)[..., None]
    return np.clip(texture, 0.01, 0.75).astype(np.float32)


def painting(seed: int) -> np.ndarray:
    """Return an abstract canvas: soft bands of land, water and sky."""
    rows, columns = 640, 512
    y = np.linspace(0, 1, rows)[:, None] + 0.035 * noise((rows, columns), (14, 110), seed)
    stops = [0.0, 0.30, 0.44, 0.50, 0.58, 0.80, 1.0]
    colours = np.array(
        [
            [0.62, 0.56, 0.46],
            [0.66, 0.52, 0.36],
            [0.60, 0.33, 0.17],
            [0.10, 0.14, 0.17],
            [0.16, 0.26, 0.30],
            [0.30, 0.40, 0.41],
            [0.55, 0.53, 0.47],
        ]
    )
    canvas = np.stack([np.interp(y, stops, colours[:, c]) for c in range(3)], -1)
    brush = noise((rows, columns), (1.0, 12), seed + 1)
    return np.clip(canvas * (1 + 0.10 * brush)[..., None], 0.02, 0.75).astype(np.float32)


def warped(texture: np.ndarray, amount: float, seed: int) -> np.ndarray:
    """Return the texture shifted by smooth noise of the given number of pixels."""
    shape = texture.shape[:2]
    y, x = np.mgrid[0 : shape[0], 0 : shape[1]].astype(float)
    y += amount * noise(shape, (30, 30), seed)
    x += amount * noise(shape, (30, 30), seed + 1)
    channels = [map_coordinates(texture[..., c], [y, x], order=1, mode="wrap") for c in range(3)]
    return np.stack(channels, -1).astype(np.float32)


def ripples(seed: int) -> np.ndarray:
    """Return roughness of a lake, one channel: mirror-like calms between lanes of wind, 1500 m."""
    shape = (2048, 2048)
    lanes = noise(shape, (10, 120), seed) + 0.7 * noise(shape, (26, 60), seed + 1)
    fine = noise(shape, (2.2, 14), seed + 2)
    rough = 0.085 + 0.15 / (1 + np.exp(-3.2 * (lanes - 0.5))) + 0.012 * fine
    return np.clip(rough, 0.06, 0.4).astype(np.float32)[..., None]


def birch_bark(seed: int) -> np.ndarray:
    """Return white bark with short dark bands round the stem, a tile of 1 m."""
    shape = (512, 512)
    bands = noise(shape, (2.0, 16), seed)
    scars = noise(shape, (14, 22), seed + 1)
    dark = np.clip(2.2 * (bands - 1.15), 0, 1) + np.clip(1.8 * (scars - 1.5), 0, 1)
    return coloured(1 - dark, (0.04, 0.035, 0.03), (0.34, 0.325, 0.30))
