"""Makes the three skies behind the view: ``plates/day.jpg``, ``dusk.jpg`` and ``night.jpg``.

The skies are computed for the camera of the view, so that clouds shrink and flatten towards the
same horizon as the room's lines do. Day holds cumulus, marched through as a volume lit by the sun
of the ``sun`` pass, under a veil of cirrus; dusk an afterglow with thin clouds lit from below;
night stars over the last light. All arithmetic is in scene-linear BT.709; only the files are
sRGB-encoded. Every random number has a fixed seed.

Usage: ``python sample_passes/scene/plates.py [FOLDER] [WIDTH]``; needs numpy, scipy and Pillow.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, map_coordinates, zoom
from viewpoint import FILM_MM, FOCAL_MM, HORIZON

Array = NDArray[np.float32]

WIDTH, ASPECT = 1920, 16 / 9
SUN_AZIMUTH, SUN_ALTITUDE = 52.0, 29.0  # as in lights.py; degrees, to the left of the view
AFTERGLOW_AZIMUTH = 6.0  # the sun has moved on and set almost in the view's axis
JPEG_QUALITY = {"day": 90, "dusk": 92, "night": 90}

CLOUD_BASE, CLOUD_TOP = 1250.0, 2350.0  # metres above the eye
CLOUD_EXTINCTION = 0.011  # per metre in the thick of a cloud
DAY_SEED, DUSK_SEEDS = 107, (214, 514)
HAZE_LENGTH = 34000.0  # metres in which haze takes 63 % of a cloud's contrast


@dataclass(frozen=True)
class Rays:
    """Where every pixel above the horizon looks.

    Attributes
    ----------
    x, y, z : ndarray of shape (H, W)
        Unit vectors: to the right, ahead, up.
    """

    x: Array
    y: Array
    z: Array

    @property
    def degrees_up(self) -> Array:
        """Elevation over the horizon in degrees."""
        return np.degrees(np.arcsin(self.z))

    def cosine_to(self, azimuth: float, altitude: float) -> Array:
        """Return the cosine of the angle to a direction given in degrees, azimuth to the left."""
        a, h = np.radians([azimuth, altitude])
        return -np.sin(a) * np.cos(h) * self.x + np.cos(a) * np.cos(h) * self.y + np.sin(h) * self.z

    def on_layer(self, height: float) -> tuple[Array, Array, Array]:
        """Return x, y and distance in metres where the rays meet a flat layer at a height."""
        distance = height / np.maximum(self.z, 2e-3)
        return self.x * distance, self.y * distance, distance


def rays(width: int) -> Rays:
    """Return the rays of the rows above the horizon for a picture of that width."""
    height = round(width / ASPECT)
    across = (np.arange(width) + 0.5) / width - 0.5
    rows = np.arange(int(np.ceil(HORIZON * height)))
    up = np.maximum(HORIZON - (rows + 0.5) / height, 0) / ASPECT
    x, z = np.meshgrid(across, up)
    y = np.full_like(x, FOCAL_MM / FILM_MM)
    length = np.sqrt(x * x + y * y + z * z)
    return Rays(*(np.asarray(v / length, np.float32) for v in (x, y, z)))


def tile(cells: int, size: int, dimensions: int, seed: int) -> Array:
    """Return smooth noise of zero mean and unit deviation that repeats without a seam."""
    knots = np.random.default_rng(seed).standard_normal((cells,) * dimensions)
    smooth = zoom(knots, size / cells, order=3, mode="grid-wrap", grid_mode=True)
    return np.asarray((smooth - smooth.mean()) / smooth.std(), np.float32)


def fractal(first: int, octaves: int, size: int, seed: int, falloff: float = 0.5) -> Array:
    """Return 2D fractal noise that repeats without a seam; zero mean, unit deviation."""
    total = sum(falloff**i * tile(first * 2**i, size, 2, seed + i) for i in range(octaves))
    return np.asarray(total / np.std(total), np.float32)


def billows(size: int, seed: int) -> Array:
    """Return 3D noise with round bulges and sharp creases, as cumulus has; about 0 to 1."""
    total = sum(0.55**i * np.abs(tile(4 * 2**i, size, 3, seed + i)) for i in range(4))
    return np.asarray(total / total.max(), np.float32)


def sample(noise: Array, period: float, *coordinates: Array) -> Array:
    """Return repeating noise at places in metres; one period is one repeat."""
    grid = np.stack([c * (noise.shape[0] / period) for c in coordinates])
    return map_coordinates(noise, grid, order=1, mode="grid-wrap")


def ramp(value: Array, low: float, high: float) -> Array:
    """Return 0 below low, 1 above high, and a smooth step between."""
    share = np.clip((value - low) / (high - low), 0, 1)
    return share * share * (3 - 2 * share)


def gradient(degrees_up: Array, stops: list[tuple[float, tuple[float, float, float]]]) -> Array:
    """Return colours between given elevations in degrees, shape (H, W, 3), without kinks."""
    at = np.array([s[0] for s in stops])
    colours = np.log(np.array([s[1] for s in stops]))
    fine = np.linspace(at[0], at[-1], 800)
    width = 800 * 1.1 / (at[-1] - at[0])
    table = [gaussian_filter(np.interp(fine, at, c), width, mode="nearest") for c in colours.T]
    return np.stack([np.exp(np.interp(degrees_up, fine, c)) for c in table], -1)


class Cumulus:
    """A field of fair-weather cumulus: flat bases, round tops, gaps between."""

    def __init__(self, seed: int, cover: float) -> None:
        self.cover = cover
        self.plan = fractal(6, 3, 256, seed)
        self.lumps = billows(96, seed + 50)

    def room(self, x: Array, y: Array, z: Array) -> Array:
        """Return how far inside a cloud a point could lie at most; not positive is clear air."""
        height = (z - CLOUD_BASE) / (CLOUD_TOP - CLOUD_BASE)
        return sample(self.plan, 26000.0, x, y) + self.cover - 1.9 * height - 0.25 * (height < 0.04)

    def density(self, x: Array, y: Array, z: Array) -> Array:
        """Return the density of cloud, 0 to 1, at points in metres."""
        found = np.zeros(x.shape, np.float32)
        room = self.room(x, y, z)
        near = np.flatnonzero(room > 0)
        if near.size:
            p = [c[near] for c in (x, y, z)]
            lump = sample(self.lumps, 2900.0, *p) + 0.3 * sample(self.lumps, 610.0, *p[::-1])
            found[near] = np.clip(2.2 * (room[near] + 2.4 * lump - 1.55), 0, 1)
        return found

    def shade(self, x: Array, y: Array, z: Array) -> Array:
        """Return the optical depth from points to the sun."""
        a, h = np.radians([SUN_AZIMUTH, SUN_ALTITUDE])
        towards = (-np.sin(a) * np.cos(h), np.cos(a) * np.cos(h), np.sin(h))
        depth = np.zeros(x.shape, np.float32)
        edges = 40.0 * 1.9 ** np.arange(6)
        for near, far in zip(edges[:-1], edges[1:], strict=True):
            at = (near + far) / 2
            step = [c + t * at for c, t in zip((x, y, z), towards, strict=True)]
            depth += self.density(*step) * (far - near)
        return depth * CLOUD_EXTINCTION


def march(clouds: Cumulus, view: Rays, steps: int = 80) -> tuple[Array, Array, Array]:
    """Look through the cumulus layer.

    Returns
    -------
    sunlit, skylit : ndarray of shape (H, W)
        Light of sun and sky that the clouds send to the eye through the haze, 0 to about 1.
    clear : ndarray of shape (H, W)
        Share of the background that is seen past them.
    """
    z = np.maximum(view.z, np.sin(np.radians(0.5))).ravel()
    x, y = view.x.ravel(), view.y.ravel()
    start, length = CLOUD_BASE / z, (CLOUD_TOP - CLOUD_BASE) / z / steps
    sunlit, skylit, clear = (np.full(z.shape, v, np.float32) for v in (0, 0, 1))
    jitter = np.random.default_rng(5).random(z.shape, np.float32)
    towards_sun = view.cosine_to(SUN_AZIMUTH, SUN_ALTITUDE).ravel()
    for step in range(steps):
        distance = start + (step + jitter) * length
        seen = np.flatnonzero((clear > 0.02) & (distance < 4 * HAZE_LENGTH))
        point = [c[seen] * distance[seen] for c in (x, y, z)]
        density = clouds.density(*point)
        inside = np.flatnonzero(density > 0)
        hit = seen[inside]
        depth = density[inside] * CLOUD_EXTINCTION * length[hit]
        stopped = clear[hit] * (1 - np.exp(-depth))
        visible = stopped * np.exp(-((distance[hit] / HAZE_LENGTH) ** 2))
        shade = clouds.shade(*(c[inside] for c in point))
        # Two scattering lobes: direct, and what has been scattered many times (softer, deeper).
        rim = 1 + 1.2 * np.clip(towards_sun[hit], 0, 1) ** 8
        sunlit[hit] += visible * (0.52 * np.exp(-shade) * rim + 0.24 * np.exp(-0.15 * shade))
        height = (point[2][inside] - CLOUD_BASE) / (CLOUD_TOP - CLOUD_BASE)
        skylit[hit] += visible * (0.55 + 0.45 * np.clip(height, 0, 1))
        clear[hit] -= visible
    return tuple(v.reshape(view.z.shape) for v in (sunlit, skylit, clear))


def streaks(view: Rays, height: float, turn: float, stretch: float, seed: int) -> Array:
    """Return the thickness of a layer of fibrous cloud, mean 0 and deviation 1 before perspective.

    Parameters
    ----------
    view : Rays
        Rays of the picture.
    height : float
        Height of the layer in metres.
    turn, stretch : float
        Direction of the fibres in degrees from across the view; their length to their width.
    seed : int
        Another seed, other clouds.
    """
    x, y, distance = view.on_layer(height)
    a = np.radians(turn)
    along, over = x * np.cos(a) + y * np.sin(a), y * np.cos(a) - x * np.sin(a)
    noise = fractal(4, 6, 1024, seed, 0.55)
    bend = 0.05 * 60000.0 * sample(fractal(3, 2, 128, seed + 40), 90000.0, along, over)
    fibre = sample(noise, 60000.0, along / stretch + bend, over + 0.6 * bend)
    fleck = sample(noise, 17000.0, along / stretch, over + bend)
    # Far away one pixel spans many fibres: their contrast averages out.
    return (0.6 * fibre + 0.6 * fleck) * np.exp(-distance / 200000.0)


def day(view: Rays) -> Array:
    """Return the sky of a fair afternoon, scene-linear, white cloud at about 1."""
    up = view.degrees_up
    sky = gradient(
        up,
        [
            (0, (0.74, 0.85, 0.95)),
            (2, (0.56, 0.74, 0.92)),
            (6, (0.31, 0.54, 0.84)),
            (12, (0.175, 0.38, 0.73)),
            (24, (0.11, 0.27, 0.60)),
        ],
    )
    near_sun = np.clip(view.cosine_to(SUN_AZIMUTH, SUN_ALTITUDE), 0, 1)[..., None]
    sky = sky + np.array([0.26, 0.24, 0.20]) * near_sun**10
    veil = 0.4 * ramp(streaks(view, 8500.0, 24.0, 5.0, 11), 0.0, 2.4) * ramp(up, 1.5, 7.0)
    sky = sky + veil[..., None] * (np.array([0.95, 0.97, 1.0]) - sky)
    sunlit, skylit, clear = march(Cumulus(seed=DAY_SEED, cover=-0.2), view)
    cloud = sunlit[..., None] * np.array([1.0, 0.965, 0.91])
    cloud = cloud + skylit[..., None] * np.array([0.36, 0.42, 0.50])
    return sky * clear[..., None] + cloud


def dusk(view: Rays) -> Array:
    """Return the sky about half an hour after sunset, scene-linear."""
    up = view.degrees_up
    glow = gradient(
        up,
        [
            (0, (1.00, 0.36, 0.12)),
            (1.5, (1.00, 0.45, 0.18)),
            (3.5, (0.78, 0.52, 0.34)),
            (6.0, (0.38, 0.42, 0.44)),
            (9.0, (0.155, 0.26, 0.42)),
            (13.0, (0.065, 0.145, 0.33)),
            (24.0, (0.028, 0.070, 0.20)),
        ],
    )
    away = gradient(
        up,
        [
            (0, (0.34, 0.26, 0.31)),
            (3, (0.24, 0.24, 0.36)),
            (8, (0.12, 0.17, 0.33)),
            (24, (0.03, 0.07, 0.20)),
        ],
    )
    near = np.clip(view.cosine_to(AFTERGLOW_AZIMUTH, 0.0), 0, 1)[..., None] ** 7
    sky = away + near * (glow - away)
    return _lit_from_below(view, sky, near)


def _lit_from_below(view: Rays, sky: Array, near: Array) -> Array:
    """Lay thin clouds over a dusk sky: rosy where the light still reaches them, slate below."""
    up = view.degrees_up
    lit = gradient(
        up,
        [
            (0, (1.25, 0.46, 0.16)),
            (4, (1.20, 0.44, 0.22)),
            (8, (0.86, 0.34, 0.27)),
            (13, (0.46, 0.23, 0.27)),
            (24, (0.10, 0.10, 0.19)),
        ],
    )
    high = (
        0.85 * ramp(streaks(view, 6500.0, 11.0, 3.2, DUSK_SEEDS[0]), 0.0, 1.5) * ramp(up, 0.6, 3.0)
    )
    sky = sky + high[..., None] * (lit * (0.3 + 0.7 * near) - sky)
    slate = 0.42 * sky + np.array([0.014, 0.016, 0.030])
    low = 0.85 * ramp(streaks(view, 3800.0, 5.0, 5.0, DUSK_SEEDS[1]), 0.6, 1.5) * ramp(up, 0.4, 2.0)
    return sky + low[..., None] * (slate - sky)


def night(view: Rays) -> Array:
    """Return a clear night sky, scene-linear, bright enough for 8 bits: the recipe puts it down."""
    sky = gradient(
        view.degrees_up,
        [
            (0, (0.105, 0.145, 0.20)),
            (2.5, (0.070, 0.110, 0.175)),
            (7, (0.036, 0.068, 0.135)),
            (14, (0.018, 0.040, 0.095)),
            (24, (0.010, 0.025, 0.066)),
        ],
    )
    near = np.clip(view.cosine_to(AFTERGLOW_AZIMUTH, 0.0), 0, 1)[..., None] ** 9
    low = np.exp(-view.degrees_up / 3.0)[..., None]
    sky = sky * (0.75 + 0.35 * near) + near * low * np.array([0.050, 0.040, 0.022])
    veil = 0.35 * ramp(streaks(view, 7000.0, 14.0, 6.0, 71), 0.3, 2.0)[..., None]
    behind = np.exp(-1.6 / np.maximum(view.degrees_up, 0.05))[..., None]  # haze swallows stars
    return (
        sky
        + veil * (np.array([0.030, 0.038, 0.056]) - 0.3 * sky)
        + stars(view) * behind * (1 - veil)
    )


def stars(view: Rays, count: int = 420) -> Array:
    """Return stars over black: many faint, few bright, their colours from blue-white to amber."""
    rng = np.random.default_rng(17)
    height, width = view.z.shape
    field = np.zeros((height, width, 3))
    row, column = rng.integers(0, height, count), rng.integers(0, width, count)
    # Each fainter magnitude holds about 2.5 times as many stars; one magnitude is a factor 2.512.
    magnitude = np.maximum(4.6 + np.log(rng.random(count)) / np.log(2.5), 0.0)
    brightness = 60.0 * 2.512**-magnitude
    warmth = rng.normal(0, 1, count)[:, None]
    tint = np.clip(1 + 0.13 * warmth * np.array([1.0, 0.1, -1.0]), 0.6, 1.4)
    np.add.at(field, (row, column), brightness[:, None] * tint)
    core = width / WIDTH * 0.85
    spread = [
        0.9 * gaussian_filter(c, core) + 0.1 * gaussian_filter(c, 2.6 * core)
        for c in np.moveaxis(field, -1, 0)
    ]
    return np.stack(spread, -1) * core**2


def below_horizon(sky: Array, width: int) -> Array:
    """Return the full frame: under the horizon the colour of the lowest rows goes on, fading."""
    height = round(width / ASPECT)
    last = gaussian_filter(sky[-4:].mean(0), (width / 40, 0), mode="nearest")
    fade = np.linspace(1, 0.6, height - len(sky))[:, None, None]
    return np.concatenate([sky, last * fade])


def encode_srgb(scene_linear: Array) -> Array:
    """Return sRGB-encoded values (IEC 61966-2-1), clipped to 0..1."""
    value = np.clip(scene_linear, 0, 1)
    return np.where(value <= 0.0031308, 12.92 * value, 1.055 * value ** (1 / 2.4) - 0.055)


def write(path: Path, scene_linear: Array, quality: int) -> None:
    """Write a JPEG, with noise of half a code value so that gradients do not band."""
    from PIL import Image

    noise = np.random.default_rng(3).random(scene_linear.shape)
    codes = np.floor(encode_srgb(scene_linear) * 255 + noise).clip(0, 255).astype(np.uint8)
    Image.fromarray(codes).save(path, quality=quality, subsampling=0, optimize=True)


def main(folder: Path, width: int) -> None:
    """Make the three plates."""
    view = rays(width)
    folder.mkdir(parents=True, exist_ok=True)
    for make in (day, dusk, night):
        name = make.__name__
        write(folder / f"{name}.jpg", below_horizon(make(view), width), JPEG_QUALITY[name])


if __name__ == "__main__":
    wanted = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent.parent / "plates"
    main(wanted, int(sys.argv[2]) if len(sys.argv) > 2 else WIDTH)
