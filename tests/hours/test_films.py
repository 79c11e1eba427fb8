"""Films, decoded by FFmpeg's own decoders through PyAV: tags, frames, and colours of the stills."""

from __future__ import annotations

import io
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image
from tests.hours.conftest import HOUR

import evenfall
from evenfall.cli.main import main
from evenfall.deliver.formats import codec
from evenfall.develop.example import example_recipe
from evenfall.errors import UsageError
from evenfall.rounds.remaking import remake_picture
from evenfall.rounds.tracing import trace_picture

av = pytest.importorskip("av")
colour = pytest.importorskip("colour")

Corner = Callable[..., Path]

FRAMES = 5
SHORT = HOUR.replace("frames = 9", f"frames = {FRAMES}").replace("frame = 9", f"frame = {FRAMES}")


def film_of(corner: Corner, deliverable: str) -> Path:
    path = corner(f"{SHORT}\n[[deliverables]]\n{deliverable}\n", width=96, height=64)
    report = evenfall.open(path).frames()
    assert report.is_whole, report.faults
    return Path(report.films[0].path)


def decoded(path: Path) -> tuple[Any, list[Any]]:
    with av.open(str(path)) as container:
        stream = container.streams.video[0]
        frames = list(container.decode(stream))
        return stream, frames


def rgb_of(frame: Any, red: float, blue: float, bits: int, *, full: bool = False) -> np.ndarray:
    """R, G, B in 0 to 1 of a frame, by the definition of the matrix (BT.709-6, BT.2020-2)."""
    planes = frame.to_ndarray().astype(np.float64)
    height, width = frame.height, frame.width
    luma = planes[:height]
    chroma = planes[height:].reshape(2, height // 2, width // 2)
    steps = 2 ** (bits - 8)
    y = luma / (2**bits - 1) if full else (luma / steps - 16) / 219
    scale = (2**bits - 1) if full else 224 * steps
    cb, cr = ((c - 128 * steps) / scale for c in chroma)
    cb, cr = (np.repeat(np.repeat(c, 2, 0), 2, 1) for c in (cb, cr))
    r, b = y + 2 * (1 - red) * cr, y + 2 * (1 - blue) * cb
    return np.stack([r, (y - red * r - blue * b) / (1 - red - blue), b], axis=-1)


@pytest.mark.parametrize(
    ("asked", "name", "bits"),
    [
        ('codec = "h264"', "h264", 8),
        ("bits = 10", "h264", 10),
        ('codec = "hevc"\nbits = 10', "hevc", 10),
        ('codec = "av1"\nbits = 10', "av1", 10),
    ],
)
def test_frames_of_a_film_are_the_stills(corner: Corner, asked: str, name: str, bits: int) -> None:
    film = film_of(corner, f'format = "film"\n{asked}\nquality = 100\ndither = false')
    stream, frames = decoded(film)
    assert len(frames) == FRAMES
    assert (stream.codec_context.name.removeprefix("lib").removesuffix("dav1d") or "av1") in (
        name, "av1", "d", "dav1d",
    )  # fmt: skip
    assert stream.average_rate == 24
    # ITU-T H.273: 1, 1, 1 is BT.709; range 1 is limited.
    tags = stream.codec_context
    assert (tags.color_primaries, tags.color_trc, tags.colorspace, tags.color_range) == (1, 1, 1, 1)
    recipe = evenfall.load(film.parent.parent / "corner.toml")
    for number in (1, 3, FRAMES):
        still = evenfall.open(recipe.with_changes(f"sequence.frame={number}")).develop("hour")
        expected = still.encoded("BT.709")
        found = rgb_of(frames[number - 1], 0.2126, 0.0722, bits)
        # Colour is stored at half the size, so it is compared in its mean over 4 x 4 pixels.
        coarse = [one.reshape(16, 4, 24, 4, 3).mean((1, 3)) for one in (found, expected)]
        assert np.abs(coarse[0] - coarse[1]).mean() < 0.01
        luma = [one @ (0.2126, 0.7152, 0.0722) for one in (found, expected)]
        assert np.abs(luma[0] - luma[1]).mean() < 0.006


@pytest.mark.parametrize(
    ("asked", "transfer"), [("", 16), ('codec = "av1"', 16), ('transfer = "hlg"', 18)]
)
def test_hdr_films_carry_their_tags_and_their_light(
    corner: Corner, asked: str, transfer: int
) -> None:
    film = film_of(corner, f'format = "hdr film"\n{asked}\nquality = 100')
    stream, frames = decoded(film)
    tags = stream.codec_context
    # ITU-T H.273: 9 is BT.2020 (primaries, matrix); transfer 16 is PQ, 18 is HLG.
    assert (tags.color_primaries, tags.color_trc, tags.colorspace) == (9, transfer, 9)
    assert frames[0].format.name == "yuv420p10le"
    recipe = evenfall.load(film.parent.parent / "corner.toml")
    still = evenfall.open(recipe).develop("day")
    signal = rgb_of(frames[0], 0.2627, 0.0593, 10).clip(0, 1)
    if transfer == 16:
        nits = colour.models.eotf_ST2084(signal)
    else:
        nits = colour.models.eotf_BT2100_HLG(signal, L_W=1000)
    chain = still.chain("Display P3", peak=1000 / 203)
    shown = np.moveaxis(still.scene(chain).linear_rows(chain, slice(0, 64)), 0, -1) * 203
    luminance = shown @ (0.2290, 0.6917, 0.0793)  # P3 D65
    found = nits @ (0.2627, 0.6780, 0.0593)
    assert np.median(np.abs(found / luminance - 1)) < 0.03
    if transfer == 16:
        kinds = {str(data.type) for data in frames[0].side_data}
        assert {"Type.MASTERING_DISPLAY_METADATA", "Type.CONTENT_LIGHT_LEVEL"} <= kinds


@pytest.mark.parametrize("format_", ["moving avif", "moving webp"])
def test_moving_pictures_for_a_website(corner: Corner, format_: str) -> None:
    film = film_of(corner, f'format = "{format_}"\nquality = 95')
    with Image.open(io.BytesIO(film.read_bytes())) as image:
        assert image.n_frames == FRAMES
        image.seek(FRAMES - 1)
        last = np.asarray(image.convert("RGB"), np.float64) / 255
    recipe = evenfall.load(film.parent.parent / "corner.toml")
    expected = evenfall.open(recipe).develop("dusk").encoded("sRGB")
    coarse = [one.reshape(16, 4, 24, 4, 3).mean((1, 3)) for one in (last, expected)]
    assert np.abs(coarse[0] - coarse[1]).mean() < 0.012


def test_a_film_is_kept_while_its_frames_stay_the_same(corner: Corner) -> None:
    film = film_of(corner, 'format = "film"')
    path = film.parent.parent / "corner.toml"
    frames = film.parent / "frames"
    assert not list(frames.glob("*.frame"))
    again = evenfall.open(path).frames()
    assert [one.kept for one in again.films] == [True]
    path.write_text(path.read_text().replace("stops = 1,", "stops = 2,"))
    changed = evenfall.open(path).frames(overwrite=True)
    assert changed.is_whole, changed.faults
    assert [one.kept for one in changed.films] == [False]
    _, shown = decoded(film)
    assert len(shown) == FRAMES


def test_a_film_carries_the_record(corner: Corner) -> None:
    film = film_of(corner, 'format = "film"')
    record = codec("film").find_record(film.read_bytes())
    assert record is not None
    assert "[sequence]" in record.recipe_text


def test_a_film_is_not_made_of_a_mood_alone(corner: Corner) -> None:
    path = corner(f'{SHORT}\n[[deliverables]]\n[[deliverables]]\nformat = "film"\n')
    report = evenfall.open(path).run()
    assert all(file.format == "png" for file in report.files)


def test_a_film_that_names_a_still_says_so(corner: Corner) -> None:
    path = corner(HOUR + '[[deliverables]]\nformat = "film"\nmoods = ["day"]\n')
    checked = CliRunner().invoke(main, ["check", str(path)])
    assert "of nothing: day has no frames." in checked.stdout
    result = CliRunner().invoke(main, ["run", str(path)])
    assert result.exit_code == 0
    assert "no deliverable is of hour, so no frames are made" in result.output
    assert "kept" not in result.output
    assert not (path.parent / "pictures" / "frames").exists()


def test_a_film_lies_in_the_folder_that_was_asked_for(corner: Corner) -> None:
    path = corner(f'{SHORT}\n[[deliverables]]\nformat = "film"\n')
    chosen = path.parent / "evening"
    (film,) = evenfall.open(path).frames(out=chosen).films
    assert film.path.parent == chosen
    assert film.path.exists()
    (again,) = evenfall.open(path).frames(out=chosen).films
    assert again.kept


def test_films_of_several_kinds_do_not_take_each_others_frames(corner: Corner) -> None:
    """An MP4 and a WebP may have one name, as their endings differ."""
    asked = ('format = "film"', 'format = "moving webp"', 'format = "film"\nsuffix = "_small"')
    several = "".join(f"\n[[deliverables]]\n{one}\n" for one in asked)
    report = evenfall.open(corner(SHORT + several, width=96, height=64)).frames()
    assert report.is_whole, report.faults
    paths = [film.path for film in report.films]
    assert [len(decoded(path)[1]) for path in paths if path.suffix == ".mp4"] == [FRAMES, FRAMES]
    (webp,) = (path for path in paths if path.suffix == ".webp")
    with Image.open(webp) as image:
        assert image.n_frames == FRAMES


def test_a_film_is_made_again_from_what_it_carries(corner: Corner, tmp_path: Path) -> None:
    film = film_of(corner, 'format = "film"')
    again = remake_picture(trace_picture(film), tmp_path / "again")
    (made,) = again.same
    assert made.read_bytes() == film.read_bytes()


def test_a_film_that_is_exposed_as_another_view_needs_that_view_no_more(
    corner: Corner, tmp_path: Path
) -> None:
    """Its record says by how much, so that it shows the same light wherever it is made again."""
    (tmp_path / "living").mkdir()
    other = example_recipe(tmp_path / "living", width=48, height=32)
    text = f"{other.text}\n[camera]\nexposure_stops = 1.25\n"
    other.path.write_text(text, encoding="utf-8")
    asked = f"camera.as_in = 'living/{other.path.name}'"
    path = corner("")
    path.write_text(f'{asked}\n{path.read_text()}{SHORT}\n[[deliverables]]\nformat = "film"\n')
    (made,) = evenfall.open(path).frames().films
    other.path.unlink()
    again = remake_picture(trace_picture(made.path), tmp_path / "again")
    (film,) = again.same
    assert film.read_bytes() == made.path.read_bytes()


def test_a_walk_may_be_made_in_parts_and_its_film_with_the_last(walk: Path) -> None:
    """As the queue of a render farm does it; the walk has frames 8 to 12."""
    text = walk.read_text() + '\n[[deliverables]]\nformat = "film"\n'
    walk.write_text(text, encoding="utf-8")
    (walk.parent / "walk_13_sun.exr").write_bytes(b"of another name")
    for part in (range(8, 10), range(10, 13)):
        report = evenfall.open(walk).frames("day", frames=part)
        assert (report.made, report.films) == (tuple(part), ())
        assert report.notes == ("walk_day.mp4: made when all frames are asked for, 8-12",)
        assert report.is_whole
    report = evenfall.open(walk).frames("day", frames=range(8, 13))
    assert (len(report.kept), report.is_whole, report.notes) == (5, True, ())
    assert len(decoded(report.films[0].path)[1]) == 5
    assert evenfall.open(walk).frames("day", frames=range(8, 10)).kept == (8, 9)  # in the film


def test_a_film_of_which_some_frames_were_made_anew_is_made_anew(walk: Path) -> None:
    text = walk.read_text() + '\n[[deliverables]]\nformat = "film"\n'
    walk.write_text(text, encoding="utf-8")
    before = evenfall.open(walk).frames("day", frames=range(8, 13)).films[0]
    shutil.copy(walk.parent / "walk_008_lamp.exr", walk.parent / "walk_010_sun.exr")
    assert evenfall.open(walk).frames("day", frames=[10], overwrite=True).made == (10,)
    report = evenfall.open(walk).frames("day", frames=range(8, 13), overwrite=True)
    assert report.is_whole, report.faults
    assert report.films[0].sha256 != before.sha256
    assert len(decoded(report.films[0].path)[1]) == 5


def test_a_film_of_a_walk_is_made_again_from_the_frames_that_it_carries(
    walk: Path, tmp_path: Path
) -> None:
    text = walk.read_text() + '\n[[deliverables]]\nformat = "film"\n'
    walk.write_text(text, encoding="utf-8")
    film = evenfall.open(walk).frames("day", frames=range(8, 13)).films[0]
    traced = trace_picture(film.path)
    assert traced.record.frames == "8-12"
    (again,) = remake_picture(traced, tmp_path / "again").same
    assert again.read_bytes() == film.path.read_bytes()
    for light in ("sun", "sky", "lamp"):  # rendered since
        shutil.copy(walk.parent / f"walk_012_{light}.exr", walk.parent / f"walk_013_{light}.exr")
    with pytest.raises(UsageError, match="shows frames 8-12, and passes are there for 8-13"):
        remake_picture(traced, tmp_path / "longer")
    assert not (tmp_path / "longer").exists()
