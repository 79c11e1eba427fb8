"""The proof that passes add up: each seeded fault is named, and a sound set is left in peace.

Light is additive, so the beauty of a set is the sum of its lights whoever renders it; the faults
seeded here are those of the trade, made with the sRGB curve of IEC 61966-2-1 where one is needed.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from evenfall.prove.diagnosis import CODES, REMARKS, Rectangle
from evenfall.prove.prove import prove
from evenfall.prove.remarks import place_remarks

FACTOR_TOLERANCE = 0.03  # what noise leaves open in the weakest light tested for its factor
WINDOW = (slice(20, 82), slice(144, 224))


def picture(rgb: np.ndarray, alpha: np.ndarray | None = None) -> Any:
    planes = tuple(np.ascontiguousarray(rgb[..., channel]) for channel in range(3))
    return SimpleNamespace(planes=planes, alpha=alpha)


def proof_of(passes: dict[str, np.ndarray], beauty: np.ndarray | None, **kwargs: Any) -> Any:
    seen = None if beauty is None else picture(beauty)
    return prove(seen, lambda: [(k, picture(v)) for k, v in passes.items()], **kwargs)


def codes(proof: Any) -> list[tuple[str, tuple[str, ...]]]:
    return [(diagnosis.code, diagnosis.lights) for diagnosis in proof.diagnoses]


def remarked(proof: Any) -> list[tuple[str, tuple[str, ...]]]:
    return [(remark.code, remark.lights) for remark in proof.remarks]


def stops_after(word: str, text: str) -> float:
    """The number of stops that a text gives after a word."""
    return float(text.partition(word)[2].partition(" stops")[0])


def srgb(linear: np.ndarray) -> np.ndarray:
    """IEC 61966-2-1, going on above 1."""
    power = 1.055 * np.maximum(linear, 1e-9) ** (1 / 2.4) - 0.055
    return np.where(linear <= 0.0031308, 12.92 * linear, power).astype(np.float32)


@dataclass(frozen=True)
class Filtered:
    """A wider pixel filter, which correlates the noise of neighbours."""

    sigma: float

    def __call__(self, rgb: np.ndarray) -> np.ndarray:
        from scipy.ndimage import gaussian_filter

        return gaussian_filter(rgb, (self.sigma, self.sigma, 0)) if self.sigma else rgb


@pytest.mark.parametrize(("samples", "seed"), [(4, 1), (4, 2), (64, 3), (1024, 1)])
def test_sound_set_gives_no_diagnosis(studio: Any, samples: int, seed: int) -> None:
    noisy = type(studio)(studio.clean, samples, fireflies=1e-4)
    proof = proof_of(noisy.passes(seed), noisy.beauty(seed))
    assert proof.verdict == "adds up"
    assert codes(proof) == []
    # What noise lets expect is measured from the difference itself, so the two must agree.
    assert proof.difference_share == pytest.approx(proof.noise_share, rel=0.1)


@pytest.mark.parametrize("sigma", [0.5, 1.1])
def test_correlated_noise_gives_no_diagnosis(studio: Any, sigma: float) -> None:
    wide = Filtered(sigma)
    passes = {name: wide(rgb) for name, rgb in studio.passes(4).items()}
    assert codes(proof_of(passes, wide(studio.beauty(4)))) == []


def test_clean_light_adds_up_to_rounding(studio: Any) -> None:
    proof = proof_of(studio.clean, sum(studio.clean.values()))
    assert codes(proof) == []
    assert proof.difference_share < 1e-6  # float32


def test_shares_of_light(studio: Any) -> None:
    proof = proof_of(studio.clean, sum(studio.clean.values()))
    weights = np.array([0.2126390, 0.7151687, 0.0721923])  # BT.709, SMPTE RP 177
    light = {name: float((rgb.astype(float) @ weights).sum()) for name, rgb in studio.clean.items()}
    expected = {name: value / sum(light.values()) for name, value in light.items()}
    assert {each.name: each.share for each in proof.lights} == pytest.approx(expected, rel=1e-4)


@pytest.fixture(scope="module")
def finer(studio: Any) -> tuple[dict[str, np.ndarray], np.ndarray]:
    """Passes and beauty of many samples; copy before changing."""
    fine = type(studio)(studio.clean, 1024)
    return fine.passes(), fine.beauty()


@pytest.mark.parametrize("light", ["sun", "fill", "garden", "screen_glow"])
def test_dropped_pass(
    studio: Any, finer: tuple[dict[str, np.ndarray], np.ndarray], light: str
) -> None:
    passes = {name: rgb for name, rgb in finer[0].items() if name != light}
    proof = proof_of(passes, finer[1])
    assert codes(proof) == [("pass-missing", ())]
    where = proof.diagnoses[0].region
    there = studio.clean[light][where.top : where.bottom, where.left : where.right].mean()
    assert there > 2 * studio.clean[light].mean() or light == "fill"  # fill is everywhere


def test_missing_light_is_described(finer: tuple[dict[str, np.ndarray], np.ndarray]) -> None:
    passes, beauty = finer
    without = {name: rgb for name, rgb in passes.items() if name != "cove"}
    share = passes["cove"].sum() / beauty.sum()
    message = proof_of(without, beauty).diagnoses[0].message
    assert "warmer than the rest" in message
    assert float(message.split(" %")[0]) == pytest.approx(100 * share, rel=0.15)


@pytest.mark.parametrize(
    ("light", "stops"),
    [("sun", 0.5), ("sky", -1.0), ("fill", 0.5), ("pendants", 1.0), ("screen_glow", -1.0)],
)
def test_pass_at_another_exposure(
    studio_passes: dict[str, np.ndarray], studio_beauty: np.ndarray, light: str, stops: float
) -> None:
    passes = dict(studio_passes)
    passes[light] = passes[light] * np.float32(2**stops)
    proof = proof_of(passes, studio_beauty)
    assert codes(proof) == [("pass-exposure", (light,))]
    message, remedy = proof.diagnoses[0].message, proof.diagnoses[0].remedy
    assert stops_after("exported ", message) == pytest.approx(stops, abs=0.05)
    assert stops_after("until then ", remedy) == pytest.approx(-stops, abs=0.05)
    found = next(each for each in proof.lights if each.name == light)
    assert found.factor == pytest.approx(2**-stops, rel=FACTOR_TOLERANCE)
    assert found.exported_stops == pytest.approx(stops, abs=0.05)
    assert all(each.as_rendered for each in proof.lights if each.name != light)


def test_two_passes_at_other_exposures(
    studio_passes: dict[str, np.ndarray], studio_beauty: np.ndarray
) -> None:
    passes = {**studio_passes, "sky": studio_passes["sky"] * 2, "cove": studio_passes["cove"] / 2}
    found = codes(proof_of(passes, studio_beauty))
    assert sorted(found) == [("pass-exposure", ("cove",)), ("pass-exposure", ("sky",))]


def test_pass_missing_and_another_exposed(studio: Any) -> None:
    finer = type(studio)(studio.clean, 256)
    passes = {name: rgb for name, rgb in finer.passes().items() if name != "cove"}
    passes["pendants"] = passes["pendants"] * 2
    found = codes(proof_of(passes, finer.beauty()))
    assert found == [("pass-exposure", ("pendants",)), ("pass-missing", ())]


def test_doubled_pass(studio_passes: dict[str, np.ndarray], studio_beauty: np.ndarray) -> None:
    passes = {**studio_passes, "cove_copy": studio_passes["cove"]}
    assert codes(proof_of(passes, studio_beauty)) == [("pass-counted-twice", ("cove_copy",))]


def test_doubled_pass_rendered_again(studio: Any, studio_beauty: np.ndarray) -> None:
    passes = {**studio.passes(), "sky_again": studio.render(studio.clean["sky"], 999)}
    assert codes(proof_of(passes, studio_beauty)) == [("pass-counted-twice", ("sky_again",))]


def test_light_inside_another_pass(
    studio_passes: dict[str, np.ndarray], studio_beauty: np.ndarray
) -> None:
    passes = {**studio_passes, "fill": studio_passes["fill"] + studio_passes["cove"]}
    proof = proof_of(passes, studio_beauty)
    assert codes(proof) == [("pass-counted-twice", ("cove",))]
    assert "fill is nowhere darker" in proof.diagnoses[0].message


@pytest.mark.parametrize(
    ("light", "cut"),
    [("sun", True), ("sky", False), ("pendants", True), ("cove", False), ("screen_glow", True)],
)
def test_display_encoded_pass(
    studio_passes: dict[str, np.ndarray], studio_beauty: np.ndarray, light: str, cut: bool
) -> None:
    encoded = srgb(studio_passes[light])
    passes = {**studio_passes, light: np.minimum(encoded, 1) if cut else encoded}
    proof = proof_of(passes, studio_beauty)
    assert codes(proof) == [("pass-display-encoded", (light,))]
    assert "undoing the sRGB curve" in proof.diagnoses[0].message


def test_pass_of_a_pure_power(
    studio_passes: dict[str, np.ndarray], studio_beauty: np.ndarray
) -> None:
    passes = {**studio_passes, "sky": studio_passes["sky"] ** np.float32(1 / 2.2)}
    proof = proof_of(passes, studio_beauty)
    assert codes(proof) == [("pass-display-encoded", ("sky",))]
    assert "undoing the power of 1/2.2" in proof.diagnoses[0].message


@pytest.mark.parametrize("cut", [False, True])
def test_display_encoded_beauty(
    studio_passes: dict[str, np.ndarray], studio_beauty: np.ndarray, cut: bool
) -> None:
    beauty = np.minimum(srgb(studio_beauty), 1) if cut else srgb(studio_beauty)
    proof = proof_of(studio_passes, beauty)
    assert codes(proof) == [("beauty-display-encoded", ())]
    assert ("cut off at 1" in proof.diagnoses[0].message) == cut


def test_tone_mapped_beauty(
    studio_passes: dict[str, np.ndarray], studio_beauty: np.ndarray
) -> None:
    beauty = studio_beauty / (1 + studio_beauty)  # Reinhard et al. 2002, equation 3
    assert codes(proof_of(studio_passes, beauty)) == [("beauty-tone-mapped", ())]


@pytest.mark.parametrize("ceiling", [1.0, 2.5])
def test_clamped_beauty(
    studio_passes: dict[str, np.ndarray], studio_beauty: np.ndarray, ceiling: float
) -> None:
    proof = proof_of(studio_passes, np.minimum(studio_beauty, np.float32(ceiling)))
    assert codes(proof) == [("beauty-clipped", ())]
    assert f"cut off at {ceiling:g}" in proof.diagnoses[0].message


def test_clamped_pass(studio_passes: dict[str, np.ndarray], studio_beauty: np.ndarray) -> None:
    passes = {**studio_passes, "sky": np.minimum(studio_passes["sky"], 1)}
    proof = proof_of(passes, studio_beauty)
    assert codes(proof) == [("pass-clipped", ("sky",))]
    assert remarked(proof) == [("flat-top", ("sky",))]


def test_a_place_that_stands_out_by_itself_is_remarked_on() -> None:
    """A lamp of a few pixels without a pass: no group of blocks shows it."""
    place = Rectangle(544, 304, 560, 320)
    (remark,) = place_remarks(place, 0.57, 13.8)
    assert remark.code == "place-stands-out"
    assert remark.message.startswith(
        "57 % of the beauty's light in 16 x 16 pixels at 544, 304 is in no pass, 13.8 times"
    )
    assert place_remarks(place, 0.57, 5.8) == place_remarks(place, 0.05, 13.8) == ()
    assert place_remarks(place, -0.57, -13.8) == place_remarks(None, 0.0, 0.0) == ()


def test_lamp_of_one_radiance_is_not_clipped(studio: Any) -> None:
    """A lamp seen directly has one value over its whole face, and is no fault."""
    clean = {name: rgb.copy() for name, rgb in studio.clean.items()}
    passes, beauty = studio.passes(), studio.beauty()
    passes["pendants"][30:40, 50:65] = 40
    others = sum(clean[name] for name in clean if name != "pendants")
    beauty[30:40, 50:65] = 40 + others[30:40, 50:65]
    assert codes(proof_of(passes, beauty)) == []


def test_beauty_at_another_exposure(
    studio_passes: dict[str, np.ndarray], studio_beauty: np.ndarray
) -> None:
    proof = proof_of(studio_passes, studio_beauty * np.float32(0.25))
    assert codes(proof) == [("beauty-exposure", ())]
    assert stops_after("exported ", proof.diagnoses[0].message) == pytest.approx(-2, abs=0.02)
    assert not any(each.as_rendered for each in proof.lights)
    assert [each.factor for each in proof.lights] == pytest.approx([0.25] * 7, rel=0.1)


def test_white_balance_of_beauty_and_pass(
    studio_passes: dict[str, np.ndarray], studio_beauty: np.ndarray
) -> None:
    warmer = np.array([1.3, 1.0, 0.7], np.float32)
    assert codes(proof_of(studio_passes, studio_beauty * warmer)) == [("colour-differs", ())]
    passes = {**studio_passes, "cove": studio_passes["cove"] * warmer}
    assert codes(proof_of(passes, studio_beauty)) == [("colour-differs", ("cove",))]


def test_passes_denoised_apart(studio: Any) -> None:
    oidn = pytest.importorskip("pyoidn", reason="Open Image Denoise is an optional extra")
    passes, beauty = studio.passes(), studio.beauty()

    def denoised(rgb: np.ndarray) -> np.ndarray:
        return oidn.denoise(np.ascontiguousarray(rgb), hdr=True)

    one = proof_of({**passes, "sky": denoised(passes["sky"])}, beauty)
    assert (codes(one), remarked(one)) == ([], [("denoised-apart", ("sky",))])
    whole = proof_of(passes, denoised(beauty))
    assert (codes(whole), remarked(whole)) == ([], [("denoised-apart", ())])
    everything = {name: denoised(rgb) for name, rgb in passes.items()}
    assert remarked(proof_of(everything, denoised(beauty))) == [("denoised-apart", tuple(passes))]


def test_a_beauty_of_few_samples_is_remarked(
    studio: Any, studio_passes: dict[str, np.ndarray]
) -> None:
    """With a sixteenth of the samples noise is four times as strong."""
    proof = proof_of(studio_passes, type(studio)(studio.clean, 4).beauty())
    assert (codes(proof), remarked(proof)) == ([], [("beauty-grainy", ())])
    told = float(proof.remarks[0].message.split(" times as grainy")[0].split()[-1])
    assert told == pytest.approx(4, rel=0.2)


def test_nothing_is_said_of_grain_where_passes_and_beauty_differ(
    studio: Any, studio_passes: dict[str, np.ndarray], studio_beauty: np.ndarray
) -> None:
    """The sky's has none; that is told of a sound set, and not where a light is missing."""
    passes = {**studio_passes, "sky": studio.clean["sky"]}
    assert remarked(proof_of(passes, studio_beauty)) == [("denoised-apart", ("sky",))]
    del passes["sun"]
    proof = proof_of(passes, studio_beauty)
    assert (codes(proof), remarked(proof)) == ([("pass-missing", ())], [])


@pytest.mark.parametrize(("light", "down", "across"), [("sun", 0, 1), ("sky", 1, 0)])
def test_camera_moved_for_one_pass(
    studio_passes: dict[str, np.ndarray],
    studio_beauty: np.ndarray,
    light: str,
    down: int,
    across: int,
) -> None:
    moved = np.roll(studio_passes[light], (down, across), (0, 1))
    proof = proof_of({**studio_passes, light: moved}, studio_beauty)
    assert codes(proof) == [("camera-moved", (light,))]
    assert ("pixels down" if down else "pixels right") in proof.diagnoses[0].message


def test_camera_moved_for_the_beauty(
    studio_passes: dict[str, np.ndarray], studio_beauty: np.ndarray
) -> None:
    proof = proof_of(studio_passes, np.roll(studio_beauty, 1, axis=1))
    assert codes(proof) == [("camera-moved", ())]
    assert "all passes stand" in proof.diagnoses[0].message
    assert "pixels left" in proof.diagnoses[0].message


def test_background_missing(
    studio_passes: dict[str, np.ndarray], studio_beauty: np.ndarray
) -> None:
    passes = {name: rgb.copy() for name, rgb in studio_passes.items()}
    for rgb in passes.values():
        rgb[WINDOW] = 0
    proof = proof_of(passes, studio_beauty)
    assert codes(proof) == [("background-missing", ())]
    region = proof.diagnoses[0].region
    block = proof.maps.grid.size
    assert abs(region.left - 144) <= block
    assert abs(region.bottom - 82) <= block


def test_background_in_every_pass(
    studio_passes: dict[str, np.ndarray], studio_beauty: np.ndarray
) -> None:
    passes = {name: rgb.copy() for name, rgb in studio_passes.items()}
    for rgb in passes.values():
        rgb[WINDOW] = studio_beauty[WINDOW]
    assert codes(proof_of(passes, studio_beauty)) == [("background-repeated", ())]


def test_alpha_missing_or_differing(
    studio_passes: dict[str, np.ndarray], studio_beauty: np.ndarray
) -> None:
    alpha = np.ones(studio_beauty.shape[:2], np.float32)
    alpha[WINDOW] = 0
    other = np.roll(alpha, 30, axis=1)

    def with_alpha(of: dict[str, np.ndarray | None]) -> Any:
        pictures = [(name, picture(rgb, of[name])) for name, rgb in studio_passes.items()]
        return prove(picture(studio_beauty, alpha), lambda: pictures)

    sound = dict.fromkeys(studio_passes, alpha)
    assert codes(with_alpha(sound)) == []
    for changed, said in (
        ({**sound, "sky": None}, ("alpha-missing", ("sky",))),
        ({**sound, "sun": other}, ("alpha-differs", ("sun",))),
    ):
        proof = with_alpha(changed)
        assert proof.verdict == "adds up"
        assert remarked(proof) == [said]


def test_black_pass_is_named(
    studio_passes: dict[str, np.ndarray], studio_beauty: np.ndarray
) -> None:
    passes = {**studio_passes, "lamp": np.zeros_like(studio_beauty)}
    proof = proof_of(passes, studio_beauty)
    assert (codes(proof), remarked(proof)) == ([], [("pass-empty", ("lamp",))])


def test_without_a_beauty_little_is_proven(studio_passes: dict[str, np.ndarray]) -> None:
    proof = proof_of(studio_passes, None)
    assert proof.verdict == "cannot be proven"
    assert len(proof.unprovable) >= 4
    assert all(each.factor is None for each in proof.lights)


def test_without_a_beauty_copies_and_codes_are_found(studio_passes: dict[str, np.ndarray]) -> None:
    eight_bit = np.round(np.minimum(srgb(studio_passes["cove"]), 1) * 255) / np.float32(255)
    passes = {**studio_passes, "cove": eight_bit, "sky_copy": studio_passes["sky"]}
    proof = proof_of(passes, None)
    assert proof.verdict == "cannot be proven"
    assert remarked(proof) == [("counted-twice", ("sky_copy",)), ("display-encoded", ("cove",))]


def test_worst_place_and_half_float_planes(
    studio_passes: dict[str, np.ndarray], studio_beauty: np.ndarray
) -> None:
    beauty = studio_beauty.copy()
    beauty[48:64, 16:32] *= 1.5
    passes = {name: rgb.astype(np.float16) for name, rgb in studio_passes.items()}
    proof = proof_of(passes, beauty.astype(np.float16))
    assert proof.verdict == "does not add up"
    assert 16 <= proof.worst.left < 32
    assert 48 <= proof.worst.top < 64
    assert proof.worst_share == pytest.approx(1 / 3, abs=0.1)


def test_order_of_passes_does_not_matter(
    studio_passes: dict[str, np.ndarray], studio_beauty: np.ndarray
) -> None:
    passes = {**studio_passes, "cove": studio_passes["cove"] * 2}
    turned = dict(reversed(passes.items()))
    assert codes(proof_of(turned, studio_beauty)) == codes(proof_of(passes, studio_beauty))


def test_passes_are_read_once_when_sound(
    studio_passes: dict[str, np.ndarray], studio_beauty: np.ndarray
) -> None:
    seen: list[str] = []
    proof_of(studio_passes, studio_beauty, on_pass=seen.append)
    assert seen == list(studio_passes)


@pytest.mark.parametrize("shape", [(1, 1), (1, 60), (5, 7), (17, 33), (70, 5), (64, 96)])
@pytest.mark.parametrize("level", [0.0, 1e-7, 1.0, 1e5])
def test_odd_sizes_and_levels_do_no_harm(shape: tuple[int, int], level: float) -> None:
    rng = np.random.default_rng(4)
    across = np.linspace(0.1, 1, shape[1])[None, :, None]
    lamp, sky = (
        (level * ramp * rng.gamma(50, 1 / 50, (*shape, 3))).astype(np.float32)
        for ramp in (across, across[:, ::-1] ** 2)
    )
    sound = proof_of({"lamp": lamp, "sky": sky}, lamp + sky)
    expected = [("beauty-empty", ())] if level == 0 else []
    assert codes(sound) == expected
    if not expected:
        small = shape[0] * shape[1] < 64 * 16
        assert sound.verdict == ("cannot be proven" if small else "adds up")
    assert codes(proof_of({"lamp": lamp, "sky": sky}, 0 * lamp)) == [("beauty-empty", ())]
    proof_of({"lamp": lamp}, lamp - sky)  # negative light is looked at like any other


def test_sizes_that_differ_are_refused(studio_beauty: np.ndarray) -> None:
    with pytest.raises(ValueError, match=r"pass 'sun' is 100 x 50 pixels, the others 240 x 136"):
        proof_of({"sun": np.ones((50, 100, 3), np.float32)}, studio_beauty)


def test_every_code_is_documented() -> None:
    """What is explained is given somewhere in the program."""
    from evenfall.prove import diagnosis

    own = Path(diagnosis.__file__)
    others = [path for path in sorted(own.parents[1].rglob("*.py")) if path != own]
    source = "".join(path.read_text(encoding="utf-8") for path in others)
    assert [code for code in (*CODES, *REMARKS) if f'"{code}"' not in source] == []
