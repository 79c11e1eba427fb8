"""A first recipe for a folder of passes: day, dusk and night, commented, to be edited by hand."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from textwrap import wrap

from evenfall.recipe.lights import Rendered, Source
from evenfall.recipe.model import Beauty
from evenfall.recipe.places import dotted
from evenfall.recipe.starter_moods import plain_moods
from evenfall.recipe.starter_scene import (
    FirstMood,
    FirstMoods,
    FirstSetting,
    LeftOut,
    Scene,
    StarterLight,
)
from evenfall.recipe.toml_values import toml_text
from evenfall.recipe.words.wording import stops_words

__all__ = ["starter_recipe"]

_COLUMNS = 92


def starter_recipe(
    lights: Sequence[StarterLight],
    *,
    moods: FirstMoods | None = None,
    title: str = "Untitled",
    passes_folder: str = ".",
    beauty: Beauty | None = None,
    frame: int | None = None,
    view: str | None = None,
    left_out: Sequence[LeftOut] = (),
    repairs: Sequence[str] = (),
) -> str:
    """Write a first recipe with day, dusk and night; without what would be black.

    Parameters
    ----------
    lights : sequence of StarterLight
        At least one; they are listed by role, the key first.
    moods : FirstMoods or None
        Gains and exposures as worked out from the pixels; lamps as rendered and the sky down by
        usual stops otherwise.
    title : str
        Name of the project.
    passes_folder : str
        Folder of the passes, relative to where the recipe will lie.
    beauty : Beauty or None
        All lights at once.
    frame : int or None
        Of a sequence: the frame that stands for ``#`` in names of files; None if there is none.
    view : str or None
        The camera that stands for ``{view}`` in names of files; None if there is none.
    left_out : sequence of LeftOut
        Pictures that may be lights after all; they are listed as comments.
    repairs : sequence of str
        Lines on mending, each with why, as comments that can be made lines.

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
    >>> sun = StarterLight.of_file("sun", "sun.exr", "key", "brightest")
    >>> print(starter_recipe([sun]).splitlines()[4])
    format = 1
    """
    names = [light.name for light in lights]
    if not names or len(set(names)) != len(names):
        raise ValueError("a starter recipe needs lights, each with a name of its own")
    scene = Scene(lights)
    moods = moods or plain_moods(scene)
    sections = [
        _head(title, frame, view, scene, proves=beauty is not None),
        _passes(passes_folder, beauty, frame, view, repairs),
        _lights(scene.lights, frame),
        _left_out(left_out),
        _groups(scene),
        _camera(scene, moods),
        _look(moods.highlight_stops),
        _first_mood(moods),
        *_evenings(scene, moods),
        _DELIVERABLES,
    ]
    return "\n".join(section for section in sections if section)


def _look(highlight_stops: float | None) -> str:
    lines = ["[look]"]
    if highlight_stops is not None:
        tone = f'{{ curve = "evenfall", highlight_stops = {highlight_stops:g} }}'
        lines.append(f"tone = {tone}  # far enough for what is seen through the window by day")
    lines.append("glare.strength = 0.02  # a little light spills around lamps, as in a lens")
    return "\n".join([*lines, ""])


_DELIVERABLES = """\
# What is written for every mood.
[[deliverables]]
format = "png"

# [[deliverables]]
# format = "tiff"
# bits = 16
# suffix = "_print"
"""


def _head(title: str, frame: int | None, view: str | None, scene: Scene, *, proves: bool) -> str:
    lines = [
        "# Moods of one view, from one scene-linear pass per light.",
        *(["#   evenfall prove RECIPE          do the passes add up to the beauty?"] * proves),
        "#   evenfall check RECIPE          faults and advice",
        "#   evenfall run RECIPE --draft    quick small pictures",
    ]
    if frame is not None:
        lines.append("#   evenfall run RECIPE --set passes.frame=N    another frame")
    if view is not None:
        lines.append("#   evenfall run RECIPE --set passes.view=NAME  another camera")
    start = ["format = 1", *_silence(scene)]
    return "\n".join([*lines, "", *start, "", "[project]", f"title = {toml_text(title)}", ""])


def _silence(scene: Scene) -> list[str]:
    """Silence advice that speaks of what is so by the nature of the set."""
    if scene.has("key"):
        return []
    if scene.has("sky"):
        return ['silence = ["no-key"]  # the sky lights this view alone']
    return ['silence = ["no-key", "fixtures-metered"]  # lamps light this view alone']


def _passes(
    folder: str, beauty: Beauty | None, frame: int | None, view: str | None, repairs: Sequence[str]
) -> str:
    lines = ["[passes]", f"folder = {toml_text(folder)}  # relative to this file"]
    if frame is not None:
        lines.append(f"frame = {frame}  # stands for # in names of files")
    if view is not None:
        lines.append(f"view = {toml_text(view)}  # stands for {{view}} in names of files")
    if beauty is not None:
        of_one = " Of one frame only." if _stays(beauty.file, frame) else ""
        said = beauty.model_dump(exclude_none=True)
        keys = ", ".join(f"{key} = {toml_text(value)}" for key, value in said.items())
        lines += [
            f"# All lights at once; proves that the passes add up.{of_one}",
            f"beauty = {{ {keys} }}",
        ]
    return "\n".join([*lines, *(f"# {_one_line(line)}" for line in repairs), ""])


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
    for light in lights:
        lines += [*_comment(light.notes), *_light(light, frame), ""]
    return "\n".join(lines)


def _comment(notes: Sequence[str]) -> Iterator[str]:
    for note in notes:
        yield from (f"# {line}" for line in wrap(_one_line(note), _COLUMNS - 2))


def _light(light: StarterLight, frame: int | None) -> Iterator[str]:
    yield f"[{dotted(('lights', light.name))}]"
    same = frame is not None and all(_stays(source.file, frame) for source in light.sources)
    for key, said in _source_keys(light.sources).items():
        yield f"{key} = {said}{'  # the same in every frame' if same and key == 'file' else ''}"
    if light.title is not None:
        yield f"title = {toml_text(_one_line(light.title))}"
    comment = f"  # {_one_line(light.reason)}" if light.reason else ""
    yield f"role = {toml_text(light.role)}{comment}"
    if light.rendered is not None and light.rendered.model_fields_set:
        why = f"  # {_one_line(light.rendered_reason)}" if light.rendered_reason else ""
        yield f"rendered = {_rendered(light.rendered)}{why}"
    elif light.proposed is not None:
        yield f"# rendered = {_rendered(light.proposed)}  # {_one_line(light.rendered_reason)}"


def _rendered(rendered: Rendered) -> str:
    return toml_text(
        {
            key: int(said) if isinstance(said, float) and said.is_integer() else said
            for key, said in rendered.model_dump(exclude_none=True).items()
        }
    )


def _source_keys(sources: Sequence[Source]) -> dict[str, str]:
    """Say where pictures are: what all share once, the rest as lists."""
    keys = {}
    for key in ("file", "layer", "part"):
        said = [getattr(source, key) for source in sources]
        if any(said):
            named = [name or "" for name in said]  # "" where it has none
            keys[key] = toml_text(named[0] if len(set(named)) == 1 else named)
    return keys


def _one_line(text: str) -> str:
    return " ".join("".join(sign if sign.isprintable() else " " for sign in text).split())


def _left_out(pictures: Sequence[LeftOut]) -> str:
    if not pictures:
        return ""
    lines = ["# Not among the lights. If one of these is a light after all, take the # away."]
    for each in pictures:
        if each.source is None:
            lines += _comment([each.reason])
            continue
        lines += [
            *_comment([f"{each.source.place}: {each.reason}"]),
            f"# [{dotted(('lights', each.name))}]",
            *(f"# {key} = {said}" for key, said in _source_keys([each.source]).items()),
            f"# role = {toml_text(each.role)}",
        ]
    return "\n".join([*lines, ""])


def _groups(scene: Scene) -> str:
    lines = [
        f"{dotted((str(scene.names[role]),))} = {toml_text([each.name for each in lights])}"
        for role, lights in scene.by_role.items()
        if len(lights) > 1
    ]
    if not lines:
        return ""
    return "\n".join(["# Lights that moods speak of together.", "[groups]", *lines, ""])


def _camera(scene: Scene, moods: FirstMoods) -> str:
    comment = "# Exposure is set to the key alone, then held for every mood."
    meter = f'{{ of = {toml_text(moods.metered)}, method = "average", grey_percent = 18 }}'
    if moods.metered is None:
        comment, meter = "# There is no light that exposure can be set to.", toml_text("off")
    elif not scene.has("key"):
        comment = "# Exposure is set to the key; no light has that role yet, so it is set to this."
    elif moods.metered != "key":
        comment = "# Exposure is set to the key; the key is black here, so it is set to this."
    return "\n".join(
        [
            comment,
            "[camera]",
            f"meter = {meter}",
            f"exposure_stops = {_stops_text(moods.exposure_stops)}  # {moods.exposure_comment}",
            *_white(moods.white_kelvin, "for these lamps, and a little warm"),
            "",
        ]
    )


def _stops_text(stops: float) -> str:
    """Write stops as TOML: plain where they are whole, as text with thirds otherwise."""
    return f"{stops:g}" if stops == round(stops) else toml_text(stops_words(stops))


def _step_text(stops: float) -> str:
    words = stops_words(abs(stops)).lstrip("+")
    return toml_text(f"{'down' if stops < 0 else 'up'} {words}")


def _first_mood(moods: FirstMoods) -> str:
    notes = "\n".join([*_comment(moods.notes), ""]) if moods.notes else ""
    return notes + _mood("day", None, moods.day)


def _evenings(scene: Scene, moods: FirstMoods) -> Iterator[str]:
    """Write dusk, and night after it, while a light is lit."""
    lit = _lit(scene, {light.name for light in scene.lights}, moods.day)
    left = {"dusk": ("day", moods.dusk), "night": ("dusk", moods.night)}
    for name, (base, mood) in tuple(left.items()):
        lit = _lit(scene, lit, mood)
        if not lit:
            break
        yield _mood(name, base, mood)
        del left[name]
    if left:
        said = " or ".join(left)
        told = f"There is no {said}: every light of these passes is off then. A pass of the sky, "
        yield "\n".join([*_comment([told + "or of lamps, makes one."]), ""])


def _lit(scene: Scene, before: set[str], mood: FirstMood) -> set[str]:
    """Name the lights that are on in a mood, from those that are on in the one before."""
    lit = set(before)
    for name, setting in mood.settings.items():
        role = next((role for role, group in scene.names.items() if group == name), None)
        lights = {name} if role is None else {light.name for light in scene.by_role[role]}
        if setting.on is False:
            lit -= lights
        elif setting.on:
            lit |= lights
    return lit


def _mood(name: str, base: str | None, mood: FirstMood) -> str:
    lines = [
        *_comment(mood.heading),
        f"[moods.{name}]",
        f"title = {toml_text(name.capitalize())}",
        *([] if base is None else [f"based_on = {toml_text(base)}"]),
    ]
    settings = list(_settings(mood.settings))
    if settings:
        lines += ["", f"[moods.{name}.lights]", *settings]
    camera = []
    if mood.exposure_stops is not None:
        write = _step_text if mood.exposure_step else _stops_text
        stops = write(mood.exposure_stops)
        camera.append(f"exposure_stops = {stops}  # {mood.exposure_comment}")
    camera += _white(mood.white_kelvin, "between lamps and sky")
    if camera:
        lines += ["", f"[moods.{name}.camera]", *camera]
    return "\n".join([*lines, ""])


def _white(kelvin: float | None, why: str) -> list[str]:
    return [] if kelvin is None else [f"white_balance = {{ kelvin = {kelvin:g} }}  # {why}"]


def _settings(settings: Mapping[str, FirstSetting]) -> Iterator[str]:
    """Lines of settings by name, comments in a column."""
    entries = [
        (f"{dotted((name,))} = {_setting(setting)}", setting.comment)
        for name, setting in settings.items()
    ]
    widest = max((len(line) for line, _ in entries), default=0)
    for line, comment in entries:
        yield f"{line:<{widest}}  # {comment}".rstrip(" #")


def _setting(setting: FirstSetting) -> str:
    if setting.on is False:
        return '"off"'
    stops = None
    if setting.stops is not None:
        stops = _step_text(setting.stops) if setting.step else _stops_text(setting.stops)
    keys = {
        "on": "true" if setting.on and stops is None else None,
        "stops": stops,
        "kelvin": None if setting.kelvin is None else f"{setting.kelvin:g}",
        "mired_shift": None if setting.mired_shift is None else f"{setting.mired_shift:g}",
    }
    said = {key: value for key, value in keys.items() if value is not None}
    if set(said) <= {"on", "stops"}:
        return stops or '"on"'
    return f"{{ {', '.join(f'{key} = {value}' for key, value in said.items())} }}"
