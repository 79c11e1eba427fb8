"""How quickly the desk follows a hand, measured in a browser: from key press to painted picture.

    python tests/benchmarks/desk.py [--lights 12] [--width 1600] [--turns 60] [--folder DIR]

Passes are made of the sample's, at the width asked for, further lights by mirroring them; the look
is the sample recipe's: glare, plate, grain, vignette, a region. The desk and the browser are held
to two processors where the system can. Nothing else should run on the machine.
"""

from __future__ import annotations

import argparse
import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

import evenfall

SAMPLE = Path(__file__).parents[2] / "sample_passes"
BETWEEN_MS = 110  # key presses of a hand that holds a key down
PRESS = "ArrowUp", "ArrowDown"


def make_view(folder: Path, width: int, lights: int) -> Path:
    """Write passes of twice a width, and the sample recipe with so many lights and that draft."""
    import OpenEXR
    from PIL import Image

    view = evenfall.open(SAMPLE / "view.toml")
    full, high = 2 * width, round(2 * width * view.size[1] / view.size[0])
    source = view.passes
    images = {
        light: image
        for batch in source.batches(source.headers)
        for light, image in source.read(batch).items()
    }

    def write(name: str, light: str, *, mirrored: bool) -> None:
        planes = [*images[light].planes]
        alpha = images[light].alpha
        planes += [] if alpha is None else [alpha]
        big = [
            np.asarray(Image.fromarray(np.asarray(plane, np.float32)).resize((full, high)))
            for plane in planes
        ]
        pixels = np.stack(big, -1).astype(np.float16)
        if mirrored:
            pixels[..., :3] = pixels[:, ::-1, :3] * np.float16(0.3)
        key = "RGBA" if len(big) == 4 else "RGB"
        OpenEXR.File({}, {key: np.ascontiguousarray(pixels)}).write(str(folder / f"{name}.exr"))

    for light in images:
        write(light, light, mirrored=False)
    extra = ""
    for number in range(lights - len(images)):
        write(f"spot_{number}", list(images)[3 + number % 4], mirrored=True)
        extra += f'[lights.spot_{number}]\nfile = "spot_{number}.exr"\nrole = "fixture"\n\n'
    text = (SAMPLE / "view.toml").read_text(encoding="utf-8")
    text = re.sub(r"beauty = .*\n|repair = .*\n", "", text).replace("[groups]", f"{extra}[groups]")
    text = re.sub(r"\[draft\]\nwidth = \d+", f"[draft]\nwidth = {width}", text)
    shutil.copytree(SAMPLE / "plates", folder / "plates", dirs_exist_ok=True)
    path = folder / "view.toml"
    path.write_text(text, encoding="utf-8")
    return path


def measure(recipe: Path, turns: int) -> None:
    """Serve the desk twice, the second time with passes that are reduced, and turn a figure."""
    from playwright.sync_api import sync_playwright

    program = next(filter(None, map(shutil.which, ("chromium", "chromium-browser"))))
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=program, args=["--no-sandbox"])
        for warm in (False, True):
            begun = time.time()
            process = serve(recipe)
            try:
                page = browser.new_page(viewport={"width": 1280, "height": 720})
                page.goto(address(process))
                page.wait_for_selector("#front[data-size='whole']", timeout=120_000)
                first = time.time() - begun
                print(f"first picture, passes {'reduced' if warm else 'as files'}: {first:.2f} s")
                if warm:
                    turn(page, turns)
                    print(f"memory of the desk: {memory(process.pid):.0f} MB")
                page.close()
            finally:
                process.terminate()
                process.wait()
        browser.close()


def serve(recipe: Path) -> subprocess.Popen[str]:
    command = [sys.executable, "-m", "evenfall", "desk", str(recipe), "--no-open"]
    return subprocess.Popen(
        command, stdout=subprocess.PIPE, text=True, env=dict(os.environ, PYTHONUNBUFFERED="1")
    )


def address(process: subprocess.Popen[str]) -> str:
    assert process.stdout is not None
    return re.search(r"http\S+", process.stdout.readline())[0]


def turn(page, turns: int) -> None:
    page.click(".moods button[data-mood='dusk']")
    page.wait_for_timeout(3000)
    page.focus(".figure[data-key='gain:sky']")
    for number in range(5):  # what is kept is made
        page.keyboard.press(PRESS[number % 2])
        page.wait_for_timeout(700)
    page.evaluate("performance.clearMarks()")
    version = page.evaluate("Number(document.getElementById('front').dataset.version)")
    for number in range(turns):
        page.keyboard.press(PRESS[number // 6 % 2])
        page.wait_for_timeout(BETWEEN_MS)
    page.wait_for_timeout(3000)
    marks = page.evaluate(
        "performance.getEntriesByType('mark').map(m => [m.name, m.startTime, m.detail])"
    )
    sent = [detail for name, _, detail in marks if name == "sent"]
    painted = [(at, one["version"], one["size"]) for name, at, one in marks if name == "painted"]
    found = [
        next(at for at, of, _ in painted if of >= version + number and at > since) - since
        for number, since in enumerate(sent, 1)
    ]
    told = ", ".join(f"{share} %: {np.percentile(found, share):.0f} ms" for share in (50, 90, 95))
    print(f"{len(found)} turns, key press to painted picture: {told}; worst {max(found):.0f} ms")
    whole = []
    for number in range(12):
        page.evaluate("performance.clearMarks()")
        page.keyboard.press(PRESS[number % 2])
        page.wait_for_timeout(1200)
        marks = page.evaluate(
            "performance.getEntriesByType('mark').map(m => [m.name, m.startTime, m.detail])"
        )
        since = next(detail for name, _, detail in marks if name == "sent")
        whole.append(
            max(at for name, at, one in marks if name == "painted" and one["size"] == "whole")
            - since
        )
    print(f"whole picture after the last key: {np.median(whole):.0f} ms, worst {max(whole):.0f} ms")


def memory(process: int) -> float:
    status = Path(f"/proc/{process}/status").read_text()
    return int(re.search(r"VmHWM:\s+(\d+)", status)[1]) / 1024


def main() -> None:
    """Make the view and measure."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--lights", type=int, default=12)
    parser.add_argument("--width", type=int, default=1600)
    parser.add_argument("--turns", type=int, default=60)
    parser.add_argument("--folder", type=Path)
    asked = parser.parse_args()
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, sorted(os.sched_getaffinity(0))[:2])
    folder = asked.folder or Path(tempfile.mkdtemp(prefix="evenfall-desk-"))
    folder.mkdir(parents=True, exist_ok=True)
    os.environ.setdefault("EVENFALL_CACHE", str(folder / "cache"))
    recipe = make_view(folder, asked.width, asked.lights)
    print(f"{asked.lights} lights, {asked.width} pixels wide, load {os.getloadavg()[0]:.1f}")
    measure(recipe, asked.turns)


if __name__ == "__main__":
    main()
