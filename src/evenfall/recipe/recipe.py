"""The recipe as read, checked and resolved: what the rest of the program works from."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import Any

from evenfall.errors import Fault, RecipeError
from evenfall.recipe.changes import apply_changes, parse_changes
from evenfall.recipe.exposed import ExposedAs, Views, views_of, without_itself
from evenfall.recipe.file_names import asks_for
from evenfall.recipe.files import check_files as missing_files
from evenfall.recipe.files import pass_file_name
from evenfall.recipe.hour import at_its_frame
from evenfall.recipe.inheriting import Base, Gathered, gather
from evenfall.recipe.light_names import Names, check_references
from evenfall.recipe.locating import located
from evenfall.recipe.model import RecipeModel
from evenfall.recipe.places import Place, parse_place
from evenfall.recipe.reading import parse_toml, read_text
from evenfall.recipe.resolve import ResolvedMood, members, resolve_moods
from evenfall.recipe.shorthand import fill_curves
from evenfall.recipe.words.checking import check_tree
from evenfall.recipe.words.findings import Finding
from evenfall.system.arguments import given_path, given_texts

__all__ = ["Recipe", "load", "load_text", "load_tree"]

_MOST_FAULTS = 200  # that are told at once


@dataclass(frozen=True)
class Recipe:
    """A sound recipe.

    Parameters
    ----------
    path : Path
        The recipe file.
    text : str
        The file as it was read, without one-off changes.
    model : RecipeModel
        What it says, one-off changes included.
    moods : mapping of str to ResolvedMood
        Its moods in order, with inheritance applied.
    passes_folder : Path
        Where the passes lie; absolute.
    changes : tuple of str
        One-off changes that the model includes.
    bases : tuple of Base
        Files that it builds on, as they were read, the nearest first.
    number : int or None
        The frame of many whose recipe it is; names of its pictures end in it.
    called : str
        Stands in the names of these pictures for their mood, if it is said.
    exposed_as : mapping of str to ExposedAs
        By mood: the other view whose exposure it takes.
    views : tuple of Base
        These other views and what they build on, as they were read.
    """

    path: Path
    text: str
    model: RecipeModel
    moods: Mapping[str, ResolvedMood]
    passes_folder: Path
    changes: tuple[str, ...] = ()
    bases: tuple[Base, ...] = ()
    number: int | None = None
    called: str = ""
    exposed_as: Mapping[str, ExposedAs] = field(default_factory=dict)
    views: tuple[Base, ...] = ()

    @property
    def base_texts(self) -> dict[str, str]:
        """Texts of the files that it builds on, by their path from the recipe's folder."""
        return {base.name: base.text for base in self.bases}

    @property
    def other_texts(self) -> dict[str, str]:
        """The same, with those of views that its exposure is taken from."""
        return {base.name: base.text for base in (*self.bases, *self.views)}

    @cached_property
    def gathered(self) -> Gathered:
        """Its values as they are written, what it builds on included; not to be changed."""
        tree = parse_toml(self.text, str(self.path))
        gathered = gather(tree, self.text, self.path, known=self.base_texts)
        without_itself(gathered, self.path)
        return gathered

    @property
    def has_frames(self) -> bool:
        """Whether a pass has #### in the name of its file."""
        lights = self.model.lights.values()
        return any(asks_for(source.file, "frame") for light in lights for source in light.sources)

    @property
    def frame(self) -> int | None:
        """Number of the frame that it is of, if of one."""
        return self.number if self.number is not None else self.model.passes.frame

    @property
    def output_stem(self) -> str:
        """What the names of files begin with: the recipe's own, and the frame where one is set."""
        frame = self.frame
        return self.path.stem if frame is None else f"{self.path.stem}_{frame:04d}"

    def beside(self, relative: str) -> Path:
        """Path of a file that the recipe names relative to itself."""
        return self.path.parent / relative

    def pass_path(self, file: str) -> Path:
        """Path of a file in the passes' folder, frame number and camera filled in."""
        return self.passes_folder / pass_file_name(file, self.model.passes)

    def fault(self, place: str | Place, found: str, allowed: str = "", hint: str = "") -> Fault:
        """Make a fault at a place of this recipe, with its line.

        Parameters
        ----------
        place : str or Place
            Dotted, or as a tuple of keys and indices when a name may hold dots or quotes.
        found, allowed, hint : str
            As in a Fault.

        Examples
        --------
        A light whose pass turns out to be unusable::

            raise PassError(recipe.fault(("lights", name, "file"), "holds no picture"))
        """
        if isinstance(place, str):
            try:
                place = parse_place(place)
            except ValueError:
                return Fault(str(self.path), str(place), found, allowed, hint)
        finding = Finding(place, found, allowed, hint)
        changes, _ = parse_changes(self.changes)
        return located([finding], self.gathered.origins, changes)[0]

    def members(self, name: str) -> tuple[str, ...]:
        """Lights of a light's or group's name; KeyError when there is none."""
        return members(self.model, name)

    def with_changes(self, *changes: str, check_files: bool = True) -> Recipe:
        """Give the same recipe with further one-off changes; its file is not read again.

        Parameters
        ----------
        *changes : str
            'PLACE=VALUE': ``moods.dusk.lights.sun.stops=-1``.
        check_files : bool
            Whether files that the recipe names must exist.

        Raises
        ------
        RecipeError
            With every fault found.

        Examples
        --------
        >>> from evenfall.develop.example import example_recipe
        >>> warmer = example_recipe().with_changes("moods.dusk.lights.lamp.kelvin=2400")
        >>> warmer.moods["dusk"].lights["lamp"].kelvin
        2400.0
        """
        own = (self.path.parent / self.model.passes.folder).absolute()
        return load_text(
            self.text,
            self.path,
            changes=(*self.changes, *changes),
            passes=None if self.passes_folder == own else self.passes_folder,
            check_files=check_files,
            bases=self.other_texts,
        )


def load(
    path: str | Path,
    *,
    changes: str | Sequence[str] = (),
    passes: str | Path | None = None,
    check_files: bool = True,
) -> Recipe:
    """Read a recipe and check all of it.

    Parameters
    ----------
    path : str or Path
        The recipe file.
    changes : sequence of str
        One-off changes, 'PLACE=VALUE': ``moods.dusk.lights.sun.stops=-1``.
    passes : str or Path or None
        Folder of the passes instead of the recipe's own.
    check_files : bool
        Whether files that the recipe names must exist.

    Raises
    ------
    RecipeError
        With every fault found.
    UsageError
        When what is given is no path, or no texts.

    Examples
    --------
    >>> import tempfile
    >>> path = Path(tempfile.mkdtemp()) / "view.toml"
    >>> _ = path.write_text('''
    ... format = 1
    ... lights.sun = { file = "sun.exr", role = "key" }
    ... lights.sky = { file = "sky.exr", role = "sky" }
    ... moods.day = {}
    ... moods.dusk = { based_on = "day", lights = { sun = "off", sky = -2 } }
    ... ''')
    >>> recipe = load(path, changes=["moods.dusk.lights.sky=-3"], check_files=False)
    >>> recipe.moods["dusk"].lights["sky"].stops
    -3.0
    """
    path = given_path(path, "a recipe")
    return load_text(read_text(path), path, changes=changes, passes=passes, check_files=check_files)


def load_text(
    text: str,
    path: str | Path,
    *,
    changes: str | Sequence[str] = (),
    passes: str | Path | None = None,
    check_files: bool = True,
    bases: Mapping[str, str] | None = None,
    above: tuple[Path, ...] = (),
) -> Recipe:
    r"""Check a recipe that is at hand as text.

    Parameters
    ----------
    text : str
        What would stand in the file.
    path : str or Path
        The file that it would stand in, which gives the recipe its name; what it names relative to
        itself is looked for beside it.
    changes, passes, check_files
        As for `load`.
    bases : mapping of str to str, optional
        Texts of files that it builds on and of views that its exposure is taken from, by their path
        from the recipe's folder; they are read from the disk otherwise.
    above : tuple of Path
        Views that take their exposure from this one.

    Raises
    ------
    RecipeError
        With every fault found.

    Examples
    --------
    >>> text = 'format = 1\nlights.sun = { file = "sun.exr" }\nmoods.day = {}\n'
    >>> list(load_text(text, "view.toml", check_files=False).moods)
    ['day']
    """
    return load_tree(
        parse_toml(text, str(path)),
        text,
        path,
        changes=changes,
        passes=passes,
        check_files=check_files,
        bases=bases,
        above=above,
    )


def load_tree(
    tree: dict[str, Any],
    text: str,
    path: str | Path,
    *,
    changes: str | Sequence[str] = (),
    passes: str | Path | None = None,
    check_files: bool = True,
    bases: Mapping[str, str] | None = None,
    above: tuple[Path, ...] = (),
) -> Recipe:
    """Check a recipe that is at hand as a tree of values, which is filled in place.

    Parameters
    ----------
    tree : dict
        The values.
    text : str
        What they were read from, for the lines of faults.
    path, changes, passes, check_files, bases, above
        As for `load_text`.

    Raises
    ------
    RecipeError
        With every fault found.
    """
    path = given_path(path, "a recipe")
    changes = given_texts(changes, "a change")
    gathered = gather(tree, text, path, known=bases)
    without_itself(gathered, path)
    tree = gathered.tree
    parsed, faults = parse_changes(changes)
    faults += gathered.faults
    faults += apply_changes(tree, parsed)
    if path.name.startswith("."):
        faults.append(_hidden(path))
    chosen = None if passes is None else given_path(passes, "the passes' folder")
    if chosen is not None and check_files and not chosen.is_dir():
        faults.append(Fault(f"--passes {passes}", "", "the folder does not exist"))
    sound = _soundness(tree, path.parent, chosen, check_files)
    if sound.findings:
        faults += located(sound.findings, gathered.origins, parsed)
    exposed_as = {}
    if sound.model is not None:
        views = Views(gathered, path, parsed, _load_view, known=bases, above=above)
        exposed_as = views.of(sound.model, sound.moods)
        faults += views.faults
    if faults or sound.model is None:
        raise RecipeError(_not_too_many(faults, str(path)))
    folder = chosen or path.parent / sound.model.passes.folder
    return Recipe(
        path,
        text,
        sound.model,
        sound.moods,
        folder.absolute(),
        changes,
        gathered.bases,
        exposed_as=exposed_as,
        views=views_of(gathered, path, bases) if exposed_as else (),
    )


def _load_view(
    text: str, path: Path, *, known: Mapping[str, str] | None, above: tuple[Path, ...]
) -> Recipe:
    """Load a view whose exposure another one takes; what is metered says which passes it lacks."""
    return load_text(text, path, check_files=False, bases=known, above=above)


def _hidden(path: Path) -> Fault:
    return Fault(
        str(path),
        "",
        "its name begins with a dot",
        "pictures are named after their recipe, and such files are hidden",
        "rename it, such as view.toml",
    )


def _not_too_many(faults: list[Fault], name: str) -> list[Fault]:
    more = len(faults) - _MOST_FAULTS
    if more <= 0:
        return faults
    rest = Fault(name, "", f"and {more:,} more faults", hint="put these right first")
    return [*faults[:_MOST_FAULTS], rest]


@dataclass(frozen=True)
class _Soundness:
    """What a tree of values comes to, and everything that is wrong with it."""

    model: RecipeModel | None
    moods: Mapping[str, ResolvedMood]
    findings: list[Finding]


def _soundness(tree: dict[str, Any], folder: Path, chosen: Path | None, files: bool) -> _Soundness:
    fill_curves(tree)
    checked = check_tree(tree)
    model = checked.model
    if model is None:
        return _Soundness(None, {}, checked.findings)
    moods: Mapping[str, ResolvedMood] = {}
    further = check_references(model, Names.of(tree), checked.is_doubtful)
    if not further and not checked.findings:
        moods, further = resolve_moods(model)
        if not further:
            model, moods = at_its_frame(model, moods)
    if files:
        passes = chosen or folder / model.passes.folder
        further += missing_files(model, folder, passes, chosen is not None)
    placed = [
        replace(each, place=checked.original(each.place))
        for each in further
        if not checked.is_stand_in(each.place)
    ]
    return _Soundness(model, moods, [*checked.findings, *placed])
