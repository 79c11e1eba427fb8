"""How quickly the desk follows a hand, measured in a browser: from key press to painted picture.

    python tests/benchmarks/desk.py [--lights 12] [--width 1600] [--turns 60] [--folder DIR]

Passes are made of the sample's, at the width asked for, further lights by mirroring them; the look
is the sample recipe's: glare, plate, grain, vignette, a region. The desk and the browser are held
to two processors where the system can. Nothing else should run on the machine.
"""

from __future__ import annotations

import argparse
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
import urllib.request
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import numpy as np

import evenfall
from evenfall.desk.journal import journal_path

SAMPLE = Path(__file__).parents[2] / "sample_passes"
BETWEEN_MS = 110  # key presses of a hand that holds a key down
WHOLE = 30  # pictures that are waited for
UP, UP_CODE = "ArrowUp", 38
SHIFT = 8  # of the protocol: by tenths, so that no picture has been made before


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


def measure(recipe: Path, turns: int, *, once: bool) -> None:
    """Serve the desk twice, the second time with passes that are reduced, and turn a figure."""
    with (
        tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as profile,
        Browser(Path(profile)) as page,
    ):
        for warm in (True,) if once else (False, True):
            begun = time.time()
            process = serve(recipe)
            try:
                where = address(process)
                served = time.time() - begun
                page.go(where)
                page.until("front.dataset.size")
                first = time.time() - begun
                page.until("front.dataset.size === 'whole'")
                whole = time.time() - begun
                how = "reduced" if warm else "as files"
                print(
                    f"passes {how}: first picture {first:.2f} s after the command, whole "
                    f"{whole:.2f} s; served after {served:.2f} s"
                )
                if warm:
                    turn(page, turns)
                    print(f"memory of the desk: {memory(process.pid):.0f} MB")
            finally:
                process.terminate()
                process.wait()


class Browser:
    """A page of a Chromium of its own, which is only told keys and asked for marks.

    Whatever watches the network of a page as well, as a driver of browsers does, is sent every
    picture once more as text, on the thread that is measured.
    """

    def __init__(self, profile: Path) -> None:
        from websockets.sync.client import connect

        program = next(filter(None, map(shutil.which, ("chromium", "chromium-browser"))))
        options = ["--headless=new", "--no-sandbox", "--no-first-run", "--disable-gpu"]
        options += [f"--user-data-dir={profile}", "--remote-debugging-port=0"]
        self._process = subprocess.Popen(
            [program, *options, "--window-size=1280,720", "about:blank"], stderr=subprocess.DEVNULL
        )
        port = profile / "DevToolsActivePort"
        while not port.exists() or not port.read_text().strip():
            time.sleep(0.05)
        local = f"http://127.0.0.1:{port.read_text().split()[0]}/json/list"
        pages: list[dict[str, str]] = []
        while not pages:
            with urllib.request.urlopen(local) as answer:
                pages = [one for one in json.load(answer) if one["type"] == "page"]
        self._opened = ExitStack()
        link = connect(pages[0]["webSocketDebuggerUrl"], max_size=None)
        self._socket = self._opened.enter_context(link)
        self._number = 0
        size = {"width": 1280, "height": 720, "deviceScaleFactor": 1, "mobile": False}
        self._do("Emulation.setDeviceMetricsOverride", **size)

    def __enter__(self) -> Browser:
        return self

    def __exit__(self, *error: object) -> None:
        self._opened.close()
        self._process.terminate()
        self._process.wait()

    def _do(self, method: str, **params: Any) -> dict[str, Any]:
        self._number += 1
        self._socket.send(json.dumps({"id": self._number, "method": method, "params": params}))
        while True:
            answer = json.loads(self._socket.recv())
            if answer.get("id") == self._number:
                return answer["result"]

    def go(self, address: str) -> None:
        """Open an address."""
        self._do("Page.navigate", url=address)

    def value(self, expression: str) -> Any:
        """Give what an expression of the page comes to."""
        answer = self._do("Runtime.evaluate", expression=expression, returnByValue=True)
        return answer["result"].get("value")

    def until(self, expression: str) -> None:
        """Wait until an expression of the page holds."""
        begun = time.monotonic()
        while not self.value(f"window.front && ({expression})"):
            assert time.monotonic() - begun < 120, expression
            time.sleep(0.02)

    def turn_up(self) -> None:
        """Press a key that turns a figure up by a tenth, and let it go."""
        named = {"key": UP, "code": UP, "windowsVirtualKeyCode": UP_CODE, "modifiers": SHIFT}
        self._do("Input.dispatchKeyEvent", type="rawKeyDown", **named)
        self._do("Input.dispatchKeyEvent", type="keyUp", **named)

    def marks(self) -> list[tuple[str, float, Any]]:
        """Give what the page has noted: name, when, and more."""
        said = "performance.getEntriesByType('mark').map(m => [m.name, m.startTime, m.detail])"
        return self.value(said)


def serve(recipe: Path) -> subprocess.Popen[str]:
    command = [sys.executable, "-m", "evenfall", "desk", str(recipe), "--no-open"]
    environment = dict(os.environ, PYTHONUNBUFFERED="1")
    environment.pop("PYTHONDONTWRITEBYTECODE", None)  # what is installed is compiled
    return subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=environment)


def address(process: subprocess.Popen[str]) -> str:
    assert process.stdout is not None
    return re.search(r"http\S+", process.stdout.readline())[0]


def turn(page: Browser, turns: int) -> None:
    page.value("document.querySelector(\".moods button[data-mood='dusk']\").click()")
    time.sleep(2)
    page.value("document.querySelector(\".figure[data-key='gain:sky']\").focus()")
    for _ in range(5):  # what is kept is made
        page.turn_up()
        time.sleep(0.7)
    page.value("performance.clearMarks()")
    version = page.value("Number(front.dataset.version)")
    for _ in range(turns):
        page.turn_up()
        time.sleep(BETWEEN_MS / 1000)
    time.sleep(2)
    marks = page.marks()
    sent = [detail for name, _, detail in marks if name == "sent"]
    painted = [(at, one["version"], one["size"]) for name, at, one in marks if name == "painted"]
    found = [
        next((at for at, of, _ in painted if of >= version + number and at > since), np.inf) - since
        for number, since in enumerate(sent, 1)
    ]
    told = ", ".join(f"{share} %: {np.percentile(found, share):.0f} ms" for share in (50, 90, 95))
    print(f"{len(found)} turns, key press to painted picture: {told}; worst {max(found):.0f} ms")
    whole = []
    for _ in range(WHOLE):
        page.value("performance.clearMarks()")
        page.turn_up()
        time.sleep(0.7)
        marks = page.marks()
        since = next(detail for name, _, detail in marks if name == "sent")
        ends = [at for name, at, one in marks if name == "painted" and one["size"] == "whole"]
        whole.append(max(ends, default=np.inf) - since)
    told = ", ".join(f"{share} %: {np.percentile(whole, share):.0f} ms" for share in (50, 90, 95))
    print(
        f"the whole picture behind one key press, {WHOLE} times: {told}; worst {max(whole):.0f} ms"
    )


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
    parser.add_argument("--once", action="store_true", help="passes in the folder are reduced")
    asked = parser.parse_args()
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, sorted(os.sched_getaffinity(0))[:2])
    folder = asked.folder or Path(tempfile.mkdtemp(prefix="evenfall-desk-"))
    folder.mkdir(parents=True, exist_ok=True)
    os.environ.setdefault("EVENFALL_CACHE", str(folder / "cache"))
    recipe = folder / "view.toml"
    if not recipe.exists():
        make_view(folder, asked.width, asked.lights)
    # Gains would go on from the last time, until they can go no further.
    journal_path(recipe).unlink(missing_ok=True)
    print(f"{asked.lights} lights, {asked.width} pixels wide, load {os.getloadavg()[0]:.1f}")
    measure(recipe, asked.turns, once=asked.once)


if __name__ == "__main__":
    main()
