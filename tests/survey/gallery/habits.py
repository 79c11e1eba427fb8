"""The habits of exporting, each a function that writes a folder and returns what it planted."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterable
from pathlib import Path

import numpy as np
import OpenEXR

from gallery.planted import (
    Planted,
    Truth,
    channels_of,
    write_exr,
    write_parts,
    write_picture,
)
from gallery.room import (
    HEIGHT,
    LIGHTS,
    WIDTH,
    Array,
    Room,
    coordinates,
    depth,
    mattes,
    motion,
    normals,
    positions,
    ranked_ids,
    samples,
)

Habit = Callable[[Path], Planted]
HABITS: list[Habit] = []

ROLES = {
    "sun": "key",
    "sky": "sky",
    "fill": "fill",
    "pendants": "fixture",
    "strip": "fixture",
    "lantern": "fixture",
    "fire": "glow",
}


def habit(function: Habit) -> Habit:
    """Note a habit."""
    HABITS.append(function)
    return function


def truths(room: Room, names: Iterable[str] | None = None) -> dict[str, Truth]:
    """Truth of the lights of a room, by their own names."""
    chosen = room.lights if names is None else tuple(names)
    return {name: Truth(ROLES[name], room.light(name)) for name in chosen}


def with_alpha(picture: Array) -> Array:
    """Picture with alpha 1."""
    return np.concatenate([picture, np.ones((*picture.shape[:2], 1), np.float32)], -1)


def data_layers() -> dict[str, Array]:
    """Channels of the usual data, as layers of a file."""
    return {
        **channels_of("albedo", Room().albedo),
        **channels_of("N", normals(), "XYZ"),
        **channels_of("cryptomatte00", ranked_ids(0)),
        **channels_of("cryptomatte01", ranked_ids(1)),
        "Z": depth(),
    }


# A file for each light -----------------------------------------------------------------------


@habit
def file_per_light_and_a_beauty_rendered_apart(folder: Path) -> Planted:
    """Names with project, view and version; the beauty has grain of its own."""
    room = Room()
    for name in room.lights:
        write_picture(folder / f"villa_cam01_{name}_v003.exr", room.light(name))
    write_picture(folder / "villa_cam01_beauty_v003.exr", room.again().all())
    return Planted(truths(room), "villa_cam01_beauty_v003.exr")


@habit
def file_per_light_with_data_and_parts_in_each(folder: Path) -> Planted:
    """Every file holds the light, its parts, and the data of the view."""
    room = Room(("sun", "sky", "pendants"))
    for name in room.lights:
        channels = {
            **channels_of("", with_alpha(room.light(name))),
            **channels_of("diffuse", room.sum_of(name, "diffuse")),
            **channels_of("specular", room.sum_of(name, "specular")),
            **data_layers(),
        }
        write_exr(folder / f"view01_{name}.exr", channels, half=False)
    channels = {**channels_of("", with_alpha(room.all())), **data_layers()}
    write_exr(folder / "view01_beauty.exr", channels, half=False)
    return Planted(truths(room), "view01_beauty.exr", data=4 * 5)


@habit
def folder_per_light(folder: Path) -> Planted:
    """The light is the name of the folder."""
    room = Room(("sun", "sky", "strip", "fire"))
    for name in room.lights:
        write_picture(folder / name / "living_v2.exr", room.light(name))
    write_picture(folder / "beauty" / "living_v2.exr", room.all())
    return Planted(truths(room), "beauty/living_v2.exr")


@habit
def beauty_named_like_the_view(folder: Path) -> Planted:
    """No word says beauty: its name is what the others begin with."""
    room = Room()
    write_picture(folder / "living.exr", room.again().all())
    for name in room.lights:
        write_picture(folder / f"living_{name}.exr", room.light(name))
    return Planted(truths(room), "living.exr")


@habit
def names_that_say_nothing(folder: Path) -> Planted:
    """Lights by number; the beauty is told by its pixels, though one light has no pass."""
    room = Room(("sun", "sky", "pendants", "strip", "fire"))
    for number, name in enumerate(room.lights[:4], 1):
        write_picture(folder / f"img_{number:02d}.exr", room.light(name))
    write_picture(folder / "img_09.exr", room.again().all())
    named = {f"img_{n:02d}": name for n, name in enumerate(room.lights[:4], 1)}
    planted = {key: Truth(None, room.light(name)) for key, name in named.items()}
    return Planted(planted, "img_09.exr")


@habit
def radiance_float_tiff_and_pfm(folder: Path) -> Planted:
    """Files of other kinds than OpenEXR."""
    import imageio.v3 as iio
    import tifffile

    room = Room(("sun", "sky", "strip"))
    tifffile.imwrite(folder / "hall_sun.tif", room.light("sun"), photometric="rgb")
    sky = room.light("sky")
    header = f"PF\n{WIDTH} {HEIGHT}\n-1.0\n".encode()
    (folder / "hall_sky.pfm").write_bytes(header + sky[::-1].astype("<f4").tobytes())
    write_picture(folder / "hall_strip.exr", room.light("strip"))
    iio.imwrite(folder / "hall_preview.png", np.zeros((4, 4, 3), np.uint8))
    return Planted(truths(room))


# Parts and layers ----------------------------------------------------------------------------


@habit
def parts_with_the_beauty_first(folder: Path) -> Planted:
    """One file, one part for each light, the beauty in a part called rgba."""
    room = Room()
    parts = {"rgba": channels_of("", with_alpha(room.all()))}
    parts |= {name: channels_of("", room.light(name)) for name in room.lights}
    write_parts(folder / "living.exr", parts)
    return Planted(truths(room), "living.exr / rgba")


@habit
def parts_and_layers_with_the_same_name(folder: Path) -> Planted:
    """Part sun holds the layer sun; the beauty is a part of the main view."""
    room = Room(("sun", "sky", "fill"))
    parts = {"rgba.main": channels_of("", room.again().all())}
    parts |= {name: channels_of(name, room.light(name)) for name in room.lights}
    parts["depth"] = {"Z": depth()}
    write_parts(folder / "living.exr", parts)
    return Planted(truths(room), "living.exr / rgba.main", data=1)


@habit
def layers_with_a_prefix(folder: Path) -> Planted:
    """Light groups inside a beauty: unnamed layer, and layers that begin alike."""
    room = Room(("sun", "sky", "pendants", "lantern"))
    channels = channels_of("", with_alpha(room.all()))
    for name in room.lights:
        channels |= channels_of(f"rgba_{name}", room.light(name))
    write_exr(folder / "shot_0815.exr", {**channels, **data_layers()}, half=False)
    return Planted(truths(room), "shot_0815.exr", data=5)


@habit
def layers_with_a_suffix(folder: Path) -> Planted:
    """Layers that end alike, in a file with an unnamed beauty."""
    room = Room(("sun", "sky", "strip"))
    channels = channels_of("", room.all())
    for name in room.lights:
        channels |= channels_of(f"{name}_lightgroup", room.light(name))
    write_exr(folder / "terrace.exr", channels)
    return Planted(truths(room), "terrace.exr")


@habit
def layers_without_a_beauty(folder: Path) -> Planted:
    """Only lights, in layers that begin with the letter of a light."""
    room = Room(("sky", "pendants", "strip"))
    channels: dict[str, Array] = {}
    for name in room.lights:
        channels |= channels_of(f"c_{name}", room.light(name))
    write_exr(folder / "lights.exr", channels)
    return Planted(truths(room))


@habit
def view_layers_with_combined_pictures(folder: Path) -> Planted:
    """Two view layers, each with a combined picture; the lights lie in the first."""
    room = Room(("sun", "sky", "pendants"))
    channels = channels_of("ViewLayer.Combined", with_alpha(room.all()))
    for name in room.lights:
        channels |= channels_of(f"ViewLayer.Combined_{name}", room.light(name))
    channels |= channels_of("ViewLayer.CryptoObject00", ranked_ids(0))
    channels |= channels_of("ViewLayer.Normal", normals(), "XYZ")
    channels |= {"ViewLayer.Depth.Z": depth()}
    channels |= channels_of("Evening.Combined", with_alpha(room.again().all() * 0.4))
    channels |= {"Evening.Depth.Z": depth()}
    write_exr(folder / "living.exr", channels, half=False)
    return Planted(
        truths(room),
        "living.exr / ViewLayer.Combined",
        left_out=("living.exr / Evening.Combined",),
        data=4,
    )


@habit
def view_layer_per_light(folder: Path) -> Planted:
    """Every light is a view layer of its own, with a combined picture and data."""
    room = Room(("sun", "sky", "fire"))
    channels: dict[str, Array] = {}
    for name in room.lights:
        channels |= channels_of(f"{name}.Combined", room.light(name))
        channels |= {f"{name}.Depth.Z": depth()}
    write_exr(folder / "room.exr", channels)
    return Planted(truths(room), data=3)


@habit
def layers_beside_a_file_of_its_own(folder: Path) -> Planted:
    """A layered file with an unnamed beauty, and one light that was rendered later."""
    room = Room(("sun", "sky", "pendants"))
    channels = channels_of("", room.all())
    for name in room.lights:
        channels |= channels_of(name, room.light(name))
    write_exr(folder / "living.exr", channels)
    later = Room(("fire",), seed=5)
    write_picture(folder / "fireplace.exr", later.light("fire"))
    planted = {f"living_{name}": truth for name, truth in truths(room).items()}
    planted["fireplace"] = Truth("glow", later.light("fire"))
    return Planted(planted, "living.exr")


@habit
def two_layered_files(folder: Path) -> Planted:
    """Daylight in one file, lamps in another, both with an unnamed sum of their own."""
    room = Room(("sun", "sky", "pendants", "strip"))
    for file, names in (("daylight", room.lights[:2]), ("lamps", room.lights[2:])):
        channels = channels_of("", sum(room.light(name) for name in names))
        for name in names:
            channels |= channels_of(name, room.light(name))
        write_exr(folder / f"{file}.exr", channels)
    planted = truths(room)
    keys = ("daylight_sun", "daylight_sky", "lamps_pendants", "lamps_strip")
    lights = dict(zip(keys, planted.values(), strict=True))
    return Planted(lights, left_out=("daylight.exr", "lamps.exr"))


# Parts of light ------------------------------------------------------------------------------


@habit
def direct_and_indirect_files(folder: Path) -> Planted:
    """Every light in two files; the beauty proves that they are all of it."""
    room = Room()
    for name in room.lights:
        for came in ("direct", "indirect"):
            write_picture(folder / f"{name}_{came}.exr", room.sum_of(name, came))
    write_picture(folder / "beauty.exr", room.again().all())
    return Planted(truths(room), "beauty.exr")


@habit
def diffuse_and_specular_layers(folder: Path) -> Planted:
    """One file for each light, with its parts in layers and no whole."""
    room = Room(("sun", "sky", "strip"))
    for name in room.lights:
        channels = {
            **channels_of("diffuse_direct", room.part(name, "direct diffuse")),
            **channels_of("diffuse_indirect", room.part(name, "indirect diffuse")),
            **channels_of("specular", room.sum_of(name, "specular")),
            **channels_of("albedo", room.albedo),
        }
        write_exr(folder / f"{name}.exr", channels)
    write_picture(folder / "master.exr", room.all())
    return Planted(truths(room), "master.exr", data=3)


@habit
def parts_in_two_ways_without_a_beauty(folder: Path) -> Planted:
    """Direct and indirect, diffuse and specular: that both add up to the same proves them."""
    room = Room(("sun", "sky"))
    for name in room.lights:
        channels: dict[str, Array] = {}
        for word in ("direct", "indirect", "diffuse", "specular"):
            channels |= channels_of(f"{name}.{word}", room.sum_of(name, word))
        write_exr(folder / f"{name}_light.exr", channels)
    return Planted(truths(room))


@habit
def parts_that_nothing_proves(folder: Path) -> Planted:
    """Direct and indirect light, without a beauty: put together, and asked about."""
    room = Room(("sun", "sky", "pendants"))
    for name in room.lights:
        for came in ("direct", "indirect"):
            write_picture(folder / f"{name}_{came}.exr", room.sum_of(name, came))
    return Planted(truths(room), unsure=frozenset(room.lights))


@habit
def everything_that_a_renderer_saves(folder: Path) -> Planted:
    """Lights, and some forty files of data and parts of the whole view beside them."""
    room = Room(("sun", "sky", "pendants", "strip"))
    for name in room.lights:
        write_picture(folder / f"living_{name}.exr", room.light(name))
    write_picture(folder / "living_rgba.exr", room.all())
    halves = {word: room.all(word) for word in ("direct", "indirect", "diffuse", "specular")}
    whole_view = {
        "diffuse": halves["diffuse"],
        "specular": halves["specular"],
        "reflection": room.all("indirect", "specular"),
        "refraction": halves["specular"] * 0.1,
        "GI": halves["indirect"],
        "raw_GI": halves["indirect"] / room.albedo,
        "raw_lighting": halves["direct"] / room.albedo,
        "total_lighting": halves["direct"],
        "sss": halves["diffuse"] * 0.05,
        "self_illumination": halves["direct"] * 0.01,
        "shadow": 1 / (1 + halves["direct"]),
        "background": halves["direct"] * 0.02,
        "caustics_reflection": halves["specular"] * 0.2,
        "atmosphere": halves["indirect"] * 0.01,
    }
    grey = np.repeat(np.clip(depth() / 10, 0, 1)[..., None], 3, -1)
    data = {
        **dict.fromkeys(("cryptomatte", "CryptoObject00", "crypto_material", "uCryptoObject"),
                        ranked_ids(3)[..., :3]),
        **dict.fromkeys(("multimatte", "object_id", "mask_01", "material_select"), mattes()),
        "wirecolor": np.clip(positions() * 0.1 + 0.5, 0, 1),
        **dict.fromkeys(("zdepth", "Z"), grey),
        **dict.fromkeys(("N", "normals", "bump_normals"), normals()),
        **dict.fromkeys(("P", "pworld", "pref", "worldposition"), positions()),
        "ST": coordinates(),
        "uv": coordinates(),
        "motion_vectors": motion(),
        **dict.fromkeys(("noise_level", "denoiser", "sample_rate"), samples() / 100),
        **dict.fromkeys(("albedo", "diffuse_filter", "reflection_filter"), room.albedo),
        "ambient_occlusion": np.clip(room.albedo * 1.1, 0, 1),
        "roughness": room.albedo * 0.5,
        "alpha": np.ones_like(room.albedo),
    }  # fmt: skip
    for name, picture in {**whole_view, **data}.items():
        write_exr(folder / f"living_{name}.exr", channels_of("", picture), half=False)
    return Planted(truths(room), "living_rgba.exr", data=len(data))


@habit
def parts_in_other_languages(folder: Path) -> Planted:
    """A studio that names its files in its own words."""
    room = Room(("sun", "sky", "pendants"))
    names = {"sun": "Sonne", "sky": "Himmel", "pendants": "Pendelleuchten"}
    for light, name in names.items():
        write_picture(folder / f"Küche_{name}.exr", room.light(light))
    write_picture(folder / "Küche_Gesamtbild.exr", room.all())
    for name, picture in {
        "Tiefe": np.repeat(np.clip(depth() / 10, 0, 1)[..., None], 3, -1),
        "Normalen": normals(),
        "Maske": mattes(),
        "Spiegelung": room.all("specular"),
        "Schatten": 1 / (1 + room.all("direct")),
    }.items():
        write_exr(folder / f"Küche_{name}.exr", channels_of("", picture), half=False)
    planted = {names[name].lower(): Truth(ROLES[name], room.light(name)) for name in room.lights}
    return Planted(planted, "Küche_Gesamtbild.exr", data=3)


@habit
def data_without_names(folder: Path) -> Planted:
    """Data in layers by number: only pixels tell."""
    room = Room(("sun", "sky", "strip"))
    channels: dict[str, Array] = {}
    for name in room.lights:
        channels |= channels_of(name, room.light(name))
    for number, picture in enumerate(
        (normals(), positions(), mattes(), samples(), ranked_ids(2)[..., :3], motion())
    ):
        channels |= channels_of(f"aux{number}", picture)
    channels |= channels_of("aux9", np.repeat(depth()[..., None], 3, -1))
    write_exr(folder / "room.exr", channels, half=False)
    return Planted(truths(room), data=7)


@habit
def emission_that_is_a_light(folder: Path) -> Planted:
    """The beauty holds the fire on top of the other lights: emission is no part of them."""
    room = Room(("sun", "sky", "strip", "fire"))
    for name in room.lights[:3]:
        write_picture(folder / f"hall_{name}.exr", room.light(name))
    write_picture(folder / "hall_emission.exr", room.light("fire"))
    write_picture(folder / "hall_diffuse.exr", room.all("diffuse"))
    write_picture(folder / "hall_beauty.exr", room.all())
    planted = truths(room, room.lights[:3])
    planted["emission"] = Truth("glow", room.light("fire"))
    return Planted(planted, "hall_beauty.exr")


@habit
def lamps_that_are_named_like_data(folder: Path) -> Planted:
    """A strip in a shadow gap, and a lamp above a pool that reflects: words of parts of light."""
    room = Room(("sun", "strip", "lantern"))
    names = {"sun": "sun", "strip": "shadow_gap_strip", "lantern": "reflection_pool_light"}
    for light, name in names.items():
        write_picture(folder / f"{name}.exr", room.light(light))
    write_picture(folder / "sun_shadow.exr", 1 / (1 + room.light("sun")))
    write_picture(folder / "ground_shadow.exr", 1 / (1 + room.all("direct")))
    write_picture(folder / "beauty.exr", room.again().all())
    planted = {name: Truth(ROLES[light], room.light(light)) for light, name in names.items()}
    planted["reflection_pool"] = Truth(None, planted.pop("reflection_pool_light").picture)
    return Planted(planted, "beauty.exr")


@habit
def numbers_in_whole_and_deep_parts(folder: Path) -> Planted:
    """Object numbers as unsigned integers, in the file of the lights and in one of their own."""
    room = Room(("sun", "sky"))
    numbers = (np.floor(depth().clip(0, 9)) + 1).astype(np.uint32)
    parts = {name: channels_of("", room.light(name)) for name in room.lights}
    parts["objects"] = {"id": numbers}
    write_parts(folder / "hall.exr", parts)
    write_exr(folder / "hall_ids.exr", {"Y": numbers})
    return Planted(truths(room), data=2)


# Sums and copies -----------------------------------------------------------------------------


@habit
def a_group_beside_its_lights(folder: Path) -> Planted:
    """All lamps in one picture too, and the beauty twice."""
    room = Room()
    for name in room.lights:
        write_picture(folder / f"{name}.exr", room.light(name))
    write_picture(folder / "lamps_together.exr", room.light("pendants") + room.light("strip"))
    for name in ("beauty", "rgba"):
        write_picture(folder / f"{name}.exr", room.all())
    left_out = ("lamps_together.exr", "rgba.exr")
    return Planted(truths(room), "beauty.exr", left_out=left_out)


@habit
def a_light_under_two_names(folder: Path) -> Planted:
    """A copy that somebody left, and no beauty."""
    room = Room()
    for name in room.lights:
        write_picture(folder / f"bath_{name}.exr", room.light(name))
    write_picture(folder / "bath_sun_old.exr", room.light("sun"))
    return Planted(truths(room), left_out=("bath_sun_old.exr",))


# Cameras, frames, windows --------------------------------------------------------------------


@habit
def several_cameras(folder: Path) -> Planted:
    """Two rooms in a folder, told apart by names."""
    room, other = Room(("sun", "sky", "pendants")), Room(("sun", "sky", "strip"), seed=9)
    for camera, lit in (("hall", room), ("kitchen", other)):
        for name in lit.lights:
            write_picture(folder / f"{camera}_{name}.exr", lit.light(name))
        write_picture(folder / f"{camera}_beauty.exr", lit.all())
    return Planted(truths(room), "hall_beauty.exr")


@habit
def the_second_of_several_cameras(folder: Path) -> Planted:
    """The same, and the other one is asked for."""
    several_cameras(folder)
    other = Room(("sun", "sky", "strip"), seed=9)
    return Planted(truths(other), "kitchen_beauty.exr", options={"view": "kitchen"})


@habit
def cameras_and_frames(folder: Path) -> Planted:
    """Two cameras, three frames of each light, in folders."""
    room = Room(("sun", "sky", "strip"))
    for camera, seed in (("cam_a", 1), ("cam_b", 40)):
        for frame in (101, 102, 103):
            lit = Room(room.lights, seed=seed if frame == 101 else seed + frame)
            for name in room.lights:
                picture = lit.light(name)
                write_picture(folder / camera / f"{name}.{frame:04d}.exr", picture)
    return Planted(truths(room))


@habit
def versions(folder: Path) -> Planted:
    """An older version lies beside the newer one."""
    new = Room(seed=3)
    for version, lit in (("v01", Room(seed=2)), ("v02", new)):
        for name in lit.lights:
            write_picture(folder / f"loft_{name}_{version}.exr", lit.light(name))
    return Planted(truths(new))


@habit
def two_eyes_in_one_file(folder: Path) -> Planted:
    """A multi-view file: the first view is surveyed."""
    room = Room(("sun", "sky"))
    channels: dict[str, Array] = {}
    for name in room.lights:
        channels |= channels_of(f"{name}", room.light(name))
        channels |= channels_of(f"{name}.right", room.again().light(name))
    write_exr(folder / "stereo.exr", channels, multiView=["left", "right"])
    return Planted(truths(room))


@habit
def overscan_and_crops(folder: Path) -> Planted:
    """Some pictures go beyond the frame, some were rendered in a part of it only."""
    room = Room(("sun", "sky", "pendants"))
    window = ((0, 0), (WIDTH - 1, HEIGHT - 1))
    wide = np.pad(room.light("sun"), ((8, 8), (8, 8), (0, 0)), mode="edge")
    data = ((-8, -8), (WIDTH + 7, HEIGHT + 7))
    write_exr(folder / "sun.exr", channels_of("", wide), displayWindow=_box(window),
              dataWindow=_box(data))  # fmt: skip
    write_picture(folder / "sky.exr", room.light("sky"))
    lamps = room.light("pendants")
    cut = np.zeros_like(lamps)
    cut[16:80, 24:120] = lamps[16:80, 24:120]
    write_exr(folder / "pendants.exr", channels_of("", lamps[16:80, 24:120]),
              displayWindow=_box(window), dataWindow=_box(((24, 16), (119, 79))))  # fmt: skip
    planted = truths(room)
    planted["pendants"] = Truth("fixture", cut)
    return Planted(planted)


def _box(corners: tuple[tuple[int, int], tuple[int, int]]) -> tuple[np.ndarray, np.ndarray]:
    low, high = corners
    return np.array(low, np.int32), np.array(high, np.int32)


@habit
def sizes_and_spaces_that_differ(folder: Path) -> Planted:
    """A test render among the finals, and one that was saved by another route."""
    room = Room()
    for name in room.lights:
        write_picture(folder / f"group_{LIGHTS.index(name)}.exr", room.light(name))
    write_picture(folder / "group_7.exr", room.light("strip")[::2, ::2])
    acescg = (0.713, 0.293, 0.165, 0.830, 0.128, 0.044, 0.32168, 0.33767)
    write_picture(folder / "group_8.exr", room.light("sky"), chromaticities=acescg)
    write_picture(folder / "group_9.exr", room.light("sun"), pixelAspectRatio=2.0)
    planted = {f"group_{LIGHTS.index(name)}": Truth(None, room.light(name)) for name in room.lights}
    return Planted(planted, left_out=("group_7.exr", "group_8.exr", "group_9.exr"))


# Names ---------------------------------------------------------------------------------------


@habit
def letters_of_other_languages(folder: Path) -> Planted:
    """Names that no keyboard of the other office has."""
    room = Room(("sun", "sky", "pendants", "strip"))
    names = {"sun": "太陽", "sky": "ciel été", "pendants": "Küchenlicht", "strip": "люстра"}
    for light, name in names.items():
        write_picture(folder / f"{name}.exr", room.light(light))
    keys = {"太陽": "sun", "ciel_ete": "sky", "kuchenlicht": "pendants", "люстра": "strip"}
    return Planted({key: Truth(ROLES[name], room.light(name)) for key, name in keys.items()})


@habit
def signs_in_names(folder: Path) -> Planted:
    """Spaces, hashes, braces, brackets, quotes, and a name of 200 letters."""
    room = Room(("sun", "sky", "pendants", "strip", "fire"))
    names = {
        "sun": "sun {view}",
        "sky": " sky [#1]",
        "pendants": "lamp #2",
        "strip": "under-cabinet " + 26 * "strips " + "left",
        "fire": "fire 'n' \"glow\"" if os.name != "nt" else "fire 'n' glow",
    }
    for light, name in names.items():
        write_picture(folder / f"{name}.exr", room.light(light))
    assert len(names["strip"]) > 198
    keys = (
        "sun_view",
        "sky_1",
        "lamp_2",
        "under_cabinet_strips_strips_strips_strips",
        "fire_n_glow",
    )
    planted = zip(keys, room.lights, strict=True)
    return Planted({key: Truth(ROLES[name], room.light(name)) for key, name in planted})


@habit
def hostile_names(folder: Path) -> Planted:
    """Control characters in names of files and layers, and bytes that are no text."""
    room = Room(("sun", "sky", "strip"))
    channels = channels_of("sun", room.light("sun"))
    channels |= channels_of("sky \x1b[31m red\x07", room.light("sky"))
    write_exr(folder / "room.exr", channels)
    if sys.platform == "linux":
        write_picture(folder / "strip.exr", room.light("strip"))
        file = os.fsencode(folder / "strip.exr")
        os.rename(file, file.replace(b"strip", b"Leisten\xfc\x1b[2J"))  # noqa: PTH104
    planted = truths(room, ("sun",)) | {"sky_31m_red": Truth("sky", room.light("sky"))}
    return Planted({f"room_{name}": truth for name, truth in planted.items()})


@habit
def broken_and_missing(folder: Path) -> Planted:
    """A cut file, a link that leads nowhere, a folder and a pipe that are named like passes."""
    room = Room(("sun", "sky", "pendants"))
    for name in room.lights:
        write_picture(folder / f"{name}.exr", room.light(name))
    whole = write_picture(folder / "strip.exr", room.light("sun")).read_bytes()
    (folder / "strip.exr").write_bytes(whole[: len(whole) // 2])
    (folder / "lantern.exr").symlink_to(folder / "gone.exr")
    (folder / "fill.exr").mkdir()
    if hasattr(os, "mkfifo"):
        os.mkfifo(folder / "fire.exr")
    (folder / "notes.exr").write_bytes(b"not a picture")
    return Planted(truths(room))


def write_deep(path: Path) -> None:
    """Write a deep file, whose pixels are not read."""
    deep = np.empty((4, 4), object)
    for index in np.ndindex(4, 4):
        deep[index] = np.array([1.0, 2.0], np.float32)
    header = {"type": OpenEXR.deepscanline, "compression": OpenEXR.ZIPS_COMPRESSION}
    OpenEXR.File(header, {"Z": deep}).write(str(path))
