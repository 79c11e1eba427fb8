"""Render every pass, the beauty and the re-lit truths into a work folder (resumable).

Run it as ``python sample_passes/scene/render.py --work DIR`` with ``mitsuba``, ``numpy``, ``scipy``
and ``colour-science`` installed. Each picture is rendered in two halves with different seeds, one
float32 ``.npy`` file each; files that exist are kept, so that a render can be stopped at any time
and go on later, and further turns add paths. ``package.py`` averages them and writes the EXR
files; one half against the other gives the noise. ``--sun-path`` renders, small, the sun alone at
three places on its way down.
"""

from __future__ import annotations

import argparse
import json
import os
import time
from dataclasses import dataclass
from pathlib import Path

import mitsuba as mi

mi.set_variant(os.environ.get("MITSUBA_VARIANT", "llvm_ad_rgb"))

import lights  # noqa: E402
import numpy as np  # noqa: E402
import scene  # noqa: E402

CHUNK_PATHS = 16_000_000
SMALL, SUN_PATH_SIZE = (320, 180), (480, 270)


@dataclass(frozen=True)
class Job:
    """One half of a picture, or a whole small one.

    Attributes
    ----------
    name : str
        File name without suffix.
    burning : dict of str to ndarray
        Lights that are on and their RGB factors.
    size : tuple of int
        Width and height in pixels.
    samples : int
        Paths per pixel.
    seed : int
        First random seed; chunks count up from it.
    to_sun : list of float or None
        Where the sun stands, if not where it stands in the sample.
    """

    name: str
    burning: dict[str, np.ndarray]
    size: tuple[int, int]
    samples: int
    seed: int
    to_sun: list[float] | None = None


def all_jobs(size: tuple[int, int], share_of_samples: float, turn: int) -> list[Job]:
    """Return the halves of all full-size pictures for one turn, then (turn 0) the small ones.

    The name tells the picture, the half, the turn and the paths per pixel.
    """
    samples = {name: light.samples for name, light in lights.LIGHTS.items()} | lights.TRUTH_SAMPLES
    jobs = []
    for number, (name, count) in enumerate(samples.items()):
        part = max(1, round(count * share_of_samples / 2))
        for letter, half in (("a", 1), ("b", 5_001)):
            seed = 10_000 * number + half + 100 * turn
            full_name = f"{name}.{letter}.{turn}.{part}"
            jobs.append(Job(full_name, lights.lights_of(name), size, part, seed))
    return jobs + (small_jobs(share_of_samples) if turn == 0 else [])


def small_jobs(share_of_samples: float) -> list[Job]:
    """Return the small renders that validate noise estimates and tints by kelvin."""
    few, many = (max(1, round(n * share_of_samples)) for n in (64, 256))
    return [
        Job("sky_seed_1", lights.lights_of("sky"), SMALL, few, 300_001),
        Job("sky_seed_2", lights.lights_of("sky"), SMALL, few, 310_001),
        Job("pendants_3000K", lights.lights_of("pendants"), SMALL, many, 320_001),
        Job("pendants_2200K", lights.at_kelvin("pendants", 2200), SMALL, many, 330_001),
    ]


def sun_path_jobs(share_of_samples: float, turn: int) -> list[Job]:
    """Return the halves of the sun's pictures on its way down for one turn."""
    part = max(1, round(lights.SUN_PATH_SAMPLES * share_of_samples / 2))
    burning = lights.lights_of("sun")
    return [
        Job(
            f"{name}.{letter}.{turn}.{part}",
            burning,
            SUN_PATH_SIZE,
            part,
            10_000 * number + half + 100 * turn,
            lights.to_sun(*place),
        )
        for number, (name, place) in enumerate(lights.SUN_PATH.items(), start=40)
        for letter, half in (("a", 1), ("b", 5_001))
    ]


_LAST: dict[str, tuple[mi.Scene, mi.Integrator]] = {}


def _loaded(job: Job) -> tuple[mi.Scene, mi.Integrator]:
    """Return scene and integrator; both halves of a picture share them."""
    key = job.name.split(".")[0]
    if key not in _LAST:
        _LAST.clear()
        _LAST[key] = scene.load(job.burning, *job.size, job.to_sun)
    return _LAST[key]


def render_job(job: Job) -> np.ndarray:
    """Render a job in chunks and return the mean, shape (H, W, 3)."""
    width, height = job.size
    built, integrator = _loaded(job)
    chunk = max(1, min(job.samples, CHUNK_PATHS // (width * height)))
    total, done, seed = np.zeros((height, width, 3)), 0, job.seed
    while done < job.samples:
        count = min(chunk, job.samples - done)
        total += count * np.array(mi.render(built, integrator=integrator, spp=count, seed=seed))
        done, seed = done + count, seed + 1
    return (total / job.samples).astype(np.float32)


def render_alpha(size: tuple[int, int]) -> np.ndarray:
    """Return the coverage of every pixel, shape (H, W), from 256 rays each."""
    built, _ = scene.load({}, *size)
    picture = mi.render(built, integrator=scene.coverage_integrator(), spp=256, seed=7)
    return np.array(picture)[..., 0].astype(np.float32)


def save(path: Path, array: np.ndarray) -> None:
    """Write an array beside its final name, then rename it."""
    scratch = path.with_suffix(".part.npy")
    np.save(scratch, array)
    scratch.replace(path)


def main() -> None:
    """Render what is missing in the work folder."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--work", type=Path, required=True, help="folder for the .npy files")
    parser.add_argument("--size", type=int, nargs=2, default=(1280, 720), metavar=("W", "H"))
    parser.add_argument("--share", type=float, default=1.0, help="share of the full sample counts")
    parser.add_argument("--turn", type=int, default=0, help="0, then 1, 2, ... for more samples")
    parser.add_argument("--sun-path", action="store_true", help="the sun on its way down instead")
    parser.add_argument("--only", nargs="*", default=None, help="names of pictures to render")
    arguments = parser.parse_args()
    arguments.work.mkdir(parents=True, exist_ok=True)
    size = (arguments.size[0], arguments.size[1])
    for name, make in (("alpha", render_alpha), ("ids", scene.render_ids)):
        if not (path := arguments.work / f"{name}.npy").exists():
            save(path, make(size))
    (arguments.work / "things.json").write_text(json.dumps(scene.things()))
    if arguments.sun_path:
        jobs = sun_path_jobs(arguments.share, arguments.turn)
    else:
        jobs = all_jobs(size, arguments.share, arguments.turn)
    for job in jobs:
        path = arguments.work / f"{job.name}.npy"
        if path.exists() or (arguments.only and job.name.split(".")[0] not in arguments.only):
            continue
        started = time.perf_counter()
        save(path, render_job(job))
        seconds = time.perf_counter() - started
        rate = job.samples * job.size[0] * job.size[1] / seconds / 1e6
        print(f"{job.name}: {job.samples} paths/pixel, {seconds:.0f} s, {rate:.2f} M/s", flush=True)


if __name__ == "__main__":
    main()
