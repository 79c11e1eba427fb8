"""A first recipe for a folder of passes: day, dusk and night, commented, to be edited by hand."""

from __future__ import annotations

from collections.abc import Sequence

from evenfall.recipe.lights import Role
from evenfall.recipe.model import Beauty
from evenfall.recipe.places import dotted
from evenfall.recipe.starter_scene import DUSK_SKY_STOPS, Scene, StarterLight
from evenfall.recipe.toml_values import toml_text
from evenfall.recipe.words.wording import stops_words

__all__ = ["StarterLight", "starter_recipe"]

_NIGHT_SKY_STOPS = -5.0
_DUSK_SKY_KELVIN = 12000.0
_BLUER_MIRED = -40
_LAMP_KELVIN = 2700
_DUSK_UNDER_DAY_STOPS = 0.7  # a dusk that is as bright as the day does not read as dusk
_NIGHT_UNDER_DAY_STOPS = 1.3


def starter_recipe(
    lights: Sequence[StarterLight],
    *,
    title: str = "Untitled",
    passes_folder: str = ".",
    beauty: str | Beauty | None = None,
    colour_space: str | None = None,
    frame: int | None = None,
) -> str:
    """Write a first recipe with day, dusk and night.

    Exposure is set to the key, less what sky and fill add to it. By day the lamps are off; at dusk
    the sun is, the sky is down and blue, and lamps stand level with the sky; at night the sky is
    nearly gone. Where the passes' mean luminances are known, the stops for lamps and exposure are
    reckoned from them, in thirds; otherwise lamps are as rendered.

    Parameters
    ----------
    lights : sequence of StarterLight
        In the order in which they are to be listed; at least one.
    title : str
        Name of the project.
    passes_folder : str
        Folder of the passes, relative to where the recipe will lie.
    beauty : str, Beauty or None
        File of the beauty, relative to the passes' folder; a Beauty where it is a layer or part.
    colour_space : str or None
        Primaries of passes whose files do not say; None leaves it to the files.
    frame : int or None
        Of a sequence: the frame that stands for ``#`` in names of files; None if there is none.

    Returns
    -------
    str
        TOML that loads without faults when the files are there.

    Raises
    ------
    ValueError
        When there are no lights or two of one name.

    Examples
    --------
    >>> text = starter_recipe([StarterLight("sun", "sun.exr", role="key", reason="brightest")])
    >>> print(text.splitlines()[4])
    format = 1
    """
    names = [light.name for light in lights]
    if not names or len(set(names)) != len(names):
        raise ValueError("a starter recipe needs lights, each with a name of its own")
    scene = Scene(lights)
    sections = [
        _head(
            title,
            passes_folder,
            Beauty(file=beauty) if isinstance(beauty, str) else beauty,
            colour_space,
            frame,
        ),
        _lights(lights, frame),
        _groups(scene),
        _exposure(scene),
        _LOOK,
        _day(scene),
        _dusk(scene),
        _night(scene),
        _DELIVERABLES,
    ]
    return "\n".join(section for section in sections if section)


def _stops_text(stops: float) -> str:
    """Write stops as TOML: plain where they are whole, as text with thirds otherwise."""
    return f"{stops:g}" if stops == round(stops) else toml_text(stops_words(stops))


def _beauty_keys(beauty: Beauty) -> str:
    said = beauty.model_dump(exclude_none=True)
    return ", ".join(f"{key} = {toml_text(value)}" for key, value in said.items())


def _head(
    title: str, folder: str, beauty: Beauty | None, colour_space: str | None, frame: int | None
) -> str:
    another = "#   evenfall run RECIPE --set passes.frame=N    another frame of the sequence"
    lines = [
        "# Day, dusk and night of one view, from one scene-linear pass a light.",
        "#   evenfall check RECIPE          faults and advice",
        "#   evenfall run RECIPE --draft    quick small pictures",
        *([] if frame is None else [another]),
        "",
        "format = 1",
        "",
        "[project]",
        f"title = {toml_text(title)}",
        "",
        "[passes]",
        f"folder = {toml_text(folder)}  # relative to this file",
    ]
    if frame is not None:
        lines.append(f"frame = {frame}  # stands for # in names of files")
    if beauty is not None:
        of_one = " Of one frame only." if _stays(beauty.file, frame) else ""
        lines += [
            f"# All lights at once; proves that the passes add up.{of_one}",
            f"beauty = {{ {_beauty_keys(beauty)} }}",
        ]
    if colour_space is not None:
        lines.append(f"colour_space = {toml_text(colour_space)}  # the files do not say")
    return "\n".join([*lines, ""])


def _stays(file: str, frame: int | None) -> bool:
    """Whether a file is the same in every frame of a sequence."""
    return frame is not None and "#" not in file


def _lights(lights: Sequence[StarterLight], frame: int | None) -> str:
    lines = [
        "# The lights as rendered. Roles: key, fill, sky, fixture, outdoor fixture, glow.",
        "# How a lamp was rendered, if you know it, lets moods speak in kelvin and lumens:",
        "#   rendered = { kelvin = 4000, lumens = 800 }",
        "",
    ]
    same = "  # the same in every frame"
    for light in lights:
        comment = f"  # {_one_line(light.reason)}" if light.reason else ""
        lines += [
            f"[{dotted(('lights', light.name))}]",
            f"file = {toml_text(light.file)}{same if _stays(light.file, frame) else ''}",
            *(f"{key} = {toml_text(said)}" for key, said in _inside_file(light)),
            f"role = {toml_text(light.role)}{comment}",
        ]
        if light.rendered is not None and light.rendered.model_fields_set:
            known = {
                key: int(said) if isinstance(said, float) and said.is_integer() else said
                for key, said in light.rendered.model_dump(exclude_none=True).items()
            }
            lines.append(f"rendered = {toml_text(known)}")
        lines.append("")
    return "\n".join(lines)


def _inside_file(light: StarterLight) -> list[tuple[str, str]]:
    return [(key, said) for key in ("layer", "part") if (said := getattr(light, key)) is not None]


def _one_line(text: str) -> str:
    return " ".join("".join(sign if sign.isprintable() else " " for sign in text).split())


def _groups(scene: Scene) -> str:
    lines = [
        f"{dotted((str(scene.names[role]),))} = {toml_text([each.name for each in lights])}"
        for role, lights in scene.by_role.items()
        if len(lights) > 1
    ]
    if not lines:
        return ""
    return "\n".join(["# Lights that moods speak of together.", "[groups]", *lines, ""])


_LOOK = """\
[look]
tone = "filmic"  # or "neutral", "reinhard", "hable", "aces2", "clip"
"""

_DELIVERABLES = """\
# What is written for every mood.
[[deliverables]]
format = "png"

# [[deliverables]]
# format = "tiff"
# bits = 16
# suffix = "_print"
"""


def _exposure(scene: Scene) -> str:
    metered = "key"
    comment = "# Exposure is set to the key alone, then held for every mood."
    if not scene.by_role["key"]:
        metered = scene.names["sky"] or "mix"
        comment = "# Exposure is set to the key; no light has that role yet, so it is set to this."
    room = "room for what comes on top of the key" if scene.day_stops else "+ is brighter"
    return "\n".join(
        [
            comment,
            "[camera]",
            f'meter = {{ of = {toml_text(metered)}, method = "average", grey_percent = 18 }}',
            f"exposure_stops = {_stops_text(scene.day_stops)}  # {room}",
            "",
        ]
    )


def _entries(entries: Sequence[tuple[str | None, str, str]]) -> list[str]:
    """Lines of settings by name, comments in a column; names that are None are left out."""
    lines = [
        (f"{dotted((name,))} = {setting}", comment)
        for name, setting, comment in entries
        if name is not None
    ]
    widest = max((len(line) for line, _ in lines), default=0)
    return [f"{line:<{widest}}  # {comment}".rstrip(" #") for line, comment in lines]


def _day(scene: Scene) -> str:
    lines = ["# Day: sun and sky as rendered, lamps off.", "[moods.day]", 'title = "Day"']
    if scene.daylit and scene.lamps:
        settings = [(scene.names[role], '"off"', "") for role in ("fixture", "outdoor fixture")]
        lines += ["", "[moods.day.lights]", *_entries(settings)]
    return "\n".join([*lines, ""])


def _dusk(scene: Scene) -> str:
    lines = [
        "# Dusk: the sun is down, the sky lower and bluer, every lamp on and warm.",
        "[moods.dusk]",
        'title = "Dusk"',
        'based_on = "day"',
        "",
        "[moods.dusk.lights]",
        *_entries(
            [
                (scene.names["key"], '"off"', "the sun has set"),
                (scene.names["sky"], _dusk_sky(scene), "down, and blue against the lamps"),
                (scene.names["fill"], f"{{ stops = {DUSK_SKY_STOPS:g} }}", "down with the sky"),
                *((scene.names[role], _lamps(scene, role), "on") for role in _LAMP_ROLES),
            ]
        ),
    ]
    stops = scene.exposure_stops(DUSK_SKY_STOPS, _DUSK_UNDER_DAY_STOPS, 2.0)
    return "\n".join([*lines, "", *_camera("dusk", stops), ""])


_LAMP_ROLES: tuple[Role, ...] = ("fixture", "outdoor fixture")


def _dusk_sky(scene: Scene) -> str:
    kelvins = [each.rendered.kelvin if each.rendered else None for each in scene.by_role["sky"]]
    known = [kelvin for kelvin in kelvins if kelvin is not None]
    tint = f"mired_shift = {_BLUER_MIRED}"
    if known and len(known) == len(kelvins):
        tint = f"kelvin = {max(_DUSK_SKY_KELVIN, *known):g}"
    elif any(each.rendered and each.rendered.xy for each in scene.by_role["sky"]):
        return f"{{ stops = {DUSK_SKY_STOPS:g} }}"
    return f"{{ stops = {DUSK_SKY_STOPS:g}, {tint} }}"


def _lamps(scene: Scene, role: Role) -> str:
    """Lamps on: level with the sky where levels are known, at 2700 K where their colour is."""
    stops = scene.lamp_stops
    gain = "on = true" if stops is None else f"stops = {_stops_text(stops)}"
    lamps = scene.by_role[role]
    if lamps and all(each.rendered and each.rendered.kelvin for each in lamps):
        return f"{{ {gain}, kelvin = {_LAMP_KELVIN} }}"
    return '"on"' if stops is None else _stops_text(stops)


def _night(scene: Scene) -> str:
    lines = [
        "# Night: as dusk, with the last of the sky.",
        "[moods.night]",
        'title = "Night"',
        'based_on = "dusk"',
    ]
    settings = [
        (scene.names["sky"], f"{{ stops = {_NIGHT_SKY_STOPS:g} }}", "a trace, still blue"),
        (scene.names["fill"], '"off"', ""),
    ]
    if any(name is not None for name, _, _ in settings):
        lines += ["", "[moods.night.lights]", *_entries(settings)]
    stops = scene.exposure_stops(_NIGHT_SKY_STOPS, _NIGHT_UNDER_DAY_STOPS, 2.0)
    return "\n".join([*lines, "", *_camera("night", stops), ""])


def _camera(mood: str, stops: float) -> list[str]:
    return [
        f"[moods.{mood}.camera]",
        f"exposure_stops = {_stops_text(stops)}  # instead of the recipe's",
    ]
