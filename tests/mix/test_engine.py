"""The engine against plain float64 sums, and against itself on other threads and strips."""

from __future__ import annotations

import threading
import time
from types import SimpleNamespace

import numpy as np
import pytest

from evenfall.errors import Fault, PassError
from evenfall.mix.engine import mix_moods
from evenfall.mix.halves import widen
from evenfall.mix.plan import RegionalGain, plan_mix

SIZE = (37, 23)
ROUNDING = 2.0**-23  # of one float32 product or sum, relative to the sum of magnitudes
MOODS = {
    "day": {"sun": (1.0, 1.0, 1.0), "sky": (0.7, 0.8, 1.3), "lamp": (0.0, 0.0, 0.0)},
    "dusk": {"sun": (0.0, 0.0, 0.0), "sky": (0.11, 0.13, 0.3), "lamp": (2.0, 1.1, 0.4)},
    "night": {"sky": (0.001, 0.001, 0.002), "lamp": (7.7, 4.1, 1.3), "strip": (1.0, 0.0, 0.0)},
    "blackout": {},
}
BATCHES = (("strip", "sun"), ("sky",), ("lamp",), ("never",))


class Library:
    """Passes in memory; counts readings and can fail."""

    def __init__(self, images, size=SIZE, broken=()):
        self.size, self.images, self.broken = size, images, broken
        self.read_lights: list[str] = []
        self.lock = threading.Lock()

    def read(self, batch):
        with self.lock:
            self.read_lights += batch
        for light in batch:
            if light in self.broken:
                raise PassError(Fault(f"{light}.exr", "", "the file is cut short"))
        return {light: self.images[light] for light in batch}


def make_image(seed, dtype=np.float16, alpha=None):
    rng = np.random.default_rng(seed)
    values = rng.lognormal(-1.0, 3.0, (3, SIZE[1], SIZE[0])).clip(0, 60000).astype(dtype)
    values[:, 0, :4] = [0.0, -0.5, 2.0**-24, 6.0e-6]  # black, negative, subnormal halves
    return SimpleNamespace(
        planes=tuple(np.ascontiguousarray(plane) for plane in values), alpha=alpha, opened=()
    )


@pytest.fixture
def images():
    singles = make_image(3, np.float32)
    singles.planes[0][5, 5] = 3.0e30  # far over 65504
    return {"sun": make_image(1), "sky": make_image(2), "lamp": singles, "strip": make_image(4)}


def straightforward(images, factors):
    """Sum in float64, and the sum of magnitudes for the tolerance."""
    total = np.zeros((3, SIZE[1], SIZE[0]))
    magnitude = np.zeros_like(total)
    for light, rgb in factors.items():
        term = np.stack(images[light].planes).astype(np.float64)
        term *= np.asarray(rgb, np.float32).astype(np.float64)[:, None, None]
        total += term
        magnitude += np.abs(term)
    return total, magnitude


@pytest.mark.parametrize("mood", MOODS)
def test_mix_equals_float64_sum(images, mood):
    mixes, failures = mix_moods(plan_mix(MOODS, BATCHES), Library(images))
    expected, magnitude = straightforward(images, MOODS[mood])
    planes = mixes[mood].planes
    assert failures == {}
    assert planes.dtype == np.float32
    assert planes.flags.c_contiguous
    assert (np.abs(planes - expected) <= 2 * len(MOODS[mood]) * ROUNDING * magnitude).all()


def test_mix_as_rendered_is_bit_exact(images):
    """One light with factor 1: every value of the pass, subnormals and negatives too."""
    plan = plan_mix({"day": {"sun": (1.0, 1.0, 1.0)}}, BATCHES)
    mixes, _ = mix_moods(plan, Library(images))
    expected = np.stack(images["sun"].planes).astype(np.float32)
    assert mixes["day"].planes.tobytes() == expected.tobytes()


@pytest.mark.parametrize(("workers", "strip_pixels"), [(1, 65_536), (2, 7), (3, 100), (4, 851)])
def test_bytes_do_not_depend_on_threads_or_strips(images, workers, strip_pixels):
    plan = plan_mix(MOODS, BATCHES)
    reference, _ = mix_moods(plan, Library(images), workers=1, strip_pixels=10_000)
    mixes, _ = mix_moods(plan, Library(images), workers=workers, strip_pixels=strip_pixels)
    for mood in MOODS:
        assert mixes[mood].planes.tobytes() == reference[mood].planes.tobytes()


@pytest.mark.parametrize("mood", MOODS)
def test_mood_made_alone_has_the_same_bytes(images, mood):
    together, _ = mix_moods(plan_mix(MOODS, BATCHES), Library(images))
    alone, _ = mix_moods(plan_mix({mood: MOODS[mood]}, BATCHES), Library(images))
    assert alone[mood].planes.tobytes() == together[mood].planes.tobytes()


def test_every_pass_is_read_once_and_none_that_is_off(images):
    library = Library(images)
    heard = []
    mix_moods(plan_mix(MOODS, BATCHES), library, on_event=heard.append)
    assert sorted(library.read_lights) == ["lamp", "sky", "strip", "sun"]
    assert sorted(event.lights for event in heard) == [("lamp",), ("sky",), ("strip", "sun")]
    library = Library(images)
    mix_moods(plan_mix({"day": MOODS["day"]}, BATCHES), library)
    assert sorted(library.read_lights) == ["sky", "sun"]


def test_held_batches_are_not_read_again(images):
    library = Library(images)
    held = {"sky": images["sky"], "sun": images["sun"]}
    mixes, _ = mix_moods(plan_mix(MOODS, BATCHES), library, held=held)
    fresh, _ = mix_moods(plan_mix(MOODS, BATCHES), Library(images))
    assert sorted(library.read_lights) == ["lamp", "strip", "sun"]  # sun shares strip's file
    assert list(held) == ["sun"]
    assert mixes["dusk"].planes.tobytes() == fresh["dusk"].planes.tobytes()


def test_regional_gain_blends_in_scene_linear_light(images):
    weights = np.linspace(0, 1, SIZE[0] * SIZE[1], dtype=np.float32).reshape(SIZE[::-1])
    gain = RegionalGain(weights, {"lamp": 2.0 ** (1 / 3)})
    plan = plan_mix(MOODS, BATCHES, {"dusk": (gain, gain)})
    mixes, _ = mix_moods(plan, Library(images), strip_pixels=50)
    local = (1 + weights.astype(np.float64) * (2.0 ** (1 / 3) - 1)) ** 2
    sky, sky_size = straightforward(images, {"sky": MOODS["dusk"]["sky"]})
    lamp, lamp_size = straightforward(images, {"lamp": MOODS["dusk"]["lamp"]})
    magnitude = sky_size + lamp_size * local
    assert (np.abs(mixes["dusk"].planes - sky - lamp * local) <= 8 * ROUNDING * magnitude).all()
    plain, _ = mix_moods(plan_mix(MOODS, BATCHES), Library(images))
    assert mixes["night"].planes.tobytes() == plain["night"].planes.tobytes()


def test_damaged_pass_stops_the_mix(images):
    library = Library(images, broken=("sky",))
    with pytest.raises(PassError, match=r"sky\.exr: the file is cut short"):
        mix_moods(plan_mix(MOODS, BATCHES), library, workers=2)


@pytest.mark.parametrize("workers", [1, 2, 4])
def test_damaged_pass_stops_only_its_moods_when_keeping_going(images, workers):
    plan = plan_mix(MOODS, BATCHES)
    library = Library(images, broken=("sun",))  # read together with the strip light
    mixes, failures = mix_moods(plan, library, workers=workers, keep_going=True)
    whole, _ = mix_moods(plan, Library(images))
    assert set(failures) == {"day", "night"}
    assert "cut short" in str(failures["day"])
    assert mixes.keys() == {"dusk", "blackout"}
    assert mixes["dusk"].planes.tobytes() == whole["dusk"].planes.tobytes()


def test_sum_beyond_single_precision_is_an_error(images):
    images["lamp"].planes[1][3, 8] = 3.0e38
    with pytest.raises(PassError, match=r"night.*lamp.*single precision.* at 8, 3 is 3e\+38"):
        mix_moods(plan_mix({"night": MOODS["night"]}, BATCHES), Library(images))
    plan = plan_mix({"night": MOODS["night"], "day": MOODS["day"]}, BATCHES)
    mixes, failures = mix_moods(plan, Library(images), keep_going=True)
    assert mixes.keys() == {"day"}
    assert failures.keys() == {"night"}


def test_every_damaged_pass_of_a_mood_is_told(images):
    plan = plan_mix({"night": MOODS["night"]}, BATCHES)
    library = Library(images, broken=("sky", "lamp"))
    _, failures = mix_moods(plan, library, keep_going=True)
    assert [fault.file for fault in failures["night"].faults] == ["sky.exr", "lamp.exr"]


def test_alpha_is_shared_and_a_difference_is_named(images):
    alpha = np.linspace(0, 1, SIZE[0] * SIZE[1]).astype(np.float16).reshape(SIZE[::-1])
    for light in ("strip", "sun", "sky"):
        images[light].alpha = alpha.copy()
    mixes, _ = mix_moods(plan_mix(MOODS, BATCHES), Library(images), workers=3)
    assert mixes["day"].alpha is mixes["night"].alpha
    assert mixes["day"].alpha.tobytes() == alpha.tobytes()
    assert mixes["blackout"].alpha is None
    assert mixes["day"].notes == ()
    images["sky"].alpha = alpha * np.float16(0.5)
    mixes, _ = mix_moods(plan_mix(MOODS, BATCHES), Library(images), workers=3)
    assert mixes["day"].alpha.tobytes() == alpha.tobytes()
    assert mixes["day"].notes == (
        "alpha of sky differs from that of sun by up to 0.5; the one of sun is used",
    )
    assert mixes["dusk"].alpha.tobytes() == images["sky"].alpha.tobytes()


def test_interrupt_ends_the_threads(images):
    class Interrupting(Library):
        def read(self, batch):
            if "sky" in batch:
                raise KeyboardInterrupt
            return super().read(batch)

    before = threading.active_count()
    with pytest.raises(KeyboardInterrupt):
        mix_moods(plan_mix(MOODS, BATCHES), Interrupting(images), workers=3)
    assert threading.active_count() == before


def test_widening_is_exact_for_every_half():
    """All 63,488 finite halves, against numpy's own conversion (IEEE 754-2019)."""
    halves = np.arange(65536, dtype=np.uint16).view(np.float16)
    halves = np.ascontiguousarray(halves[np.isfinite(halves)])
    widened = widen(halves, np.empty(halves.size, np.float32))
    assert widened.tobytes() == halves.astype(np.float32).tobytes()


def test_worked_recombination():
    """Own arithmetic, kept as a regression: three patches, three moods, exposed."""
    patches = {"sun": (0.40, 0.38, 0.35), "sky": (0.08, 0.10, 0.14), "lamp": (0.12, 0.07, 0.03)}
    images = {
        light: SimpleNamespace(
            planes=tuple(np.full((1, 1), value, np.float32) for value in rgb), alpha=None, opened=()
        )
        for light, rgb in patches.items()
    }
    day = {"sun": (1, 1, 1), "sky": (1, 1, 1), "lamp": (0, 0, 0)}
    mixes, _ = mix_moods(
        plan_mix({"day": day}, [(light,) for light in patches]), Library(images, (1, 1))
    )
    assert mixes["day"].rgb()[0, 0] == pytest.approx([0.48, 0.48, 0.49], abs=1e-7)


def test_no_pass_overtakes_a_damaged_one(images):
    """A batch behind a damaged one waits for the batch before it, as it would for a sound one."""
    third_was_read = threading.Event()

    class Slow(Library):
        def read(self, batch):
            if batch == ("sky",):
                third_was_read.wait(0.5)  # which it is not, in sound code
                time.sleep(0.1)  # long enough for the third to be added, if it may
            if batch == ("lamp",):
                third_was_read.set()
            return super().read(batch)

    moods = {"day": {"sky": (1.0, 1.0, 1.0), "lamp": (1.0, 1.0, 1.0)}, "lost": {"sun": (1, 1, 1)}}
    plan = plan_mix(moods, [("sky",), ("sun",), ("lamp",)])
    mixes, failures = mix_moods(plan, Slow(images, broken=("sun",)), workers=2, keep_going=True)
    whole, _ = mix_moods(plan, Library(images))
    assert failures.keys() == {"lost"}
    assert mixes["day"].planes.tobytes() == whole["day"].planes.tobytes()


def test_a_thread_that_cannot_start_ends_the_mix(images, monkeypatch):
    """The system may refuse a thread: the others, which wait for all, must not wait for ever."""
    start = threading.Thread.start
    refused = []

    def start_one(thread):
        if thread.name.startswith("mix"):
            refused.append(thread)
            if len(refused) == 2:
                raise RuntimeError("can't start new thread")
        start(thread)

    monkeypatch.setattr(threading.Thread, "start", start_one)
    failed = []

    def mix():
        with pytest.raises(RuntimeError, match="can't start new thread"):
            mix_moods(plan_mix(MOODS, BATCHES), Library(images), workers=3)
        failed.append(True)

    mixing = threading.Thread(target=mix, daemon=True)
    mixing.start()
    mixing.join(30)
    assert failed
