"""The recipe at the desk: what is done to it here, and what others do to its file meanwhile."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from evenfall.change.changing import Planned
from evenfall.change.owning import let_go, own_dial, own_gain, own_tint
from evenfall.desk.aims import turned_aim, without_aim
from evenfall.desk.brief import Brief, brief_of
from evenfall.desk.figures import Figure, Size, turned
from evenfall.desk.journal import Edit, Journal, journal_path, text_hash
from evenfall.desk.outside import Conflict, differences, stamp_of
from evenfall.errors import EvenfallError, Fault, OutputError, UsageError
from evenfall.recipe import Recipe
from evenfall.recipe.choosing import choose_written_moods
from evenfall.recipe.reading import read_text
from evenfall.recipe.recipe import load_text
from evenfall.recipe.saving import replace_text

__all__ = ["Session"]

_AIMING = "aiming "
"""What gestures begin with that turn an aim."""


class Session:
    """A recipe that is being worked on; safe to use from threads.

    Parameters
    ----------
    path : Path
        The recipe.
    passes : Path, optional
        Folder of the passes instead of the recipe's own.

    Attributes
    ----------
    recipe : Recipe
        As it stands, saved or not; the last sound one.
    version : int
        Grows with every change of it.
    on_turn : callable
        Told what the recipe comes to, and its version, before its text is written.
    fault : str
        Why the file cannot be used at the moment; empty when it can.
    """

    def __init__(self, path: Path, passes: Path | None = None) -> None:
        self.path, self.passes = path.resolve(), passes
        self._lock = threading.RLock()
        self._disk = read_text(self.path)  # as it was last seen
        self._common = self._disk  # as it stood when file and desk were last the same
        self.recipe = self._load(self._disk)  # the file is sound, or there is no desk
        self.version, self.fault, self._gesture = 1, "", ""
        self._journal = Journal(journal_path(self.path), self._disk)
        self.conflict: Conflict | None = None
        self.on_turn: Callable[[Recipe, int], None] = lambda recipe, version: None
        self._base_stamps: dict[str, int] = {}
        self._said: tuple[Recipe, dict[str, Brief]] = self.recipe, {}
        self._come_back()

    def _come_back(self) -> None:
        """Take up what an earlier desk left unsaved, or the file as it was changed since."""
        if self._journal.text != self._disk:
            recipe = self._try(self._journal.text)
            if self._journal.saved == text_hash(self._journal.text):
                self._adopt("changed in the file")
            elif recipe is None:  # a file that it builds on has changed
                self._adopt("taken from the file, as the desk's cannot be used")
            else:
                self.recipe = recipe
                if text_hash(self._disk) != self._journal.saved:
                    self._common = ""
                    self._see_conflict()
        self._journal.note_saved(self._disk)

    def _load(self, text: str) -> Recipe:
        return load_text(text, self.path, passes=self.passes)

    @property
    def text(self) -> str:
        """The recipe's text, saved or not."""
        return self._journal.text

    @property
    def saved_text(self) -> str:
        """What the file was last seen to hold."""
        return self._disk

    @property
    def is_unsaved(self) -> bool:
        """Whether the file holds something else."""
        return self._journal.text != self._disk

    @property
    def undoes(self) -> str:
        """What would be undone, in words; empty when nothing."""
        return getattr(self._journal.undoes, "said", "")

    @property
    def redoes(self) -> str:
        """What would be made again, in words; empty when nothing."""
        return getattr(self._journal.redoes, "said", "")

    def briefs(self) -> list[Brief]:
        """Say all moods in sentences."""
        return [self.brief(mood) for mood in choose_written_moods(self.recipe, ())]

    def brief(self, mood: str) -> Brief:
        """Say a mood in sentences; what was said is kept as long as the recipe stands."""
        recipe, said = self._said
        if recipe is not self.recipe:
            recipe, said = self._said = self.recipe, {}
        if mood not in said:
            said[mood] = brief_of(recipe, mood)
        return said[mood]

    def turn(self, mood: str, key: str, size: Size, count: int, gesture: str = "") -> None:
        """Turn a figure.

        Parameters
        ----------
        mood, key : str
            Which figure.
        size, count
            How far; see `turned`.
        gesture : str
            Turns of one gesture are undone at once.

        Raises
        ------
        UsageError, RecipeError
            When there is no such figure, or it cannot go so far.
        """
        with self._lock:
            figure = self._figure(mood, key)
            if figure.kind == "aim":
                text = turned_aim(self.recipe, mood, figure.subjects[0], size, count)
                self._put(text, f"{figure.label} turned", mood, f"{_AIMING}{gesture or key}")
            elif phrases := turned(figure, size, count):
                self._change(mood, phrases, gesture)

    def say(self, mood: str, text: str, key: str = "") -> None:
        """Do what a person says of a mood, or of one figure of it, in the words of `change`.

        Raises
        ------
        UsageError, RecipeError
            When it is not understood, or cannot be.
        """
        with self._lock:
            self._known(mood)
            if not key:
                self._change(mood, [text], "")
                return
            figure = self._figure(mood, key)
            self._change(mood, [f"{subject} {text}" for subject in figure.subjects], "")

    def own(self, mood: str, key: str) -> None:
        """Make a figure the mood's own.

        Raises
        ------
        UsageError, RecipeError
            When there is no such figure, or it cannot be.
        """
        with self._lock:
            figure = self._figure(mood, key)
            if figure.dial is not None:
                text = own_dial(self.text, self.path, mood, figure.dial)
            else:
                own = own_tint if key.startswith("tint:") else own_gain
                text = own(self.text, self.path, mood, figure.lights)
            self._put(text, f"{figure.label} of its own", mood)

    def let_go(self, mood: str, key: str) -> None:
        """Let a figure be what the mood inherits; an aim goes.

        Raises
        ------
        UsageError, RecipeError
            When there is no such figure, or it cannot be.
        """
        with self._lock:
            figure = self._figure(mood, key)
            if figure.kind == "aim":
                text = without_aim(self.recipe, mood, figure.subjects[0])
            else:
                tint = key.startswith("tint:")
                text = let_go(self.text, self.path, mood, figure.lights, figure.dial, tint=tint)
            self._put(text, f"{figure.label} let go", mood)

    def take(self, before: str, text: str, said: str, mood: str) -> None:
        """Take a text that was worked out from how the recipe stood.

        What is solved behind an aim that was turned is undone with it.

        Raises
        ------
        UsageError
            When the recipe has changed meanwhile.
        RecipeError
            When it is not sound.
        """
        with self._lock:
            if before != self.text:
                found = "the recipe has changed meanwhile"
                raise UsageError(Fault("", "", found, hint="say the same again"))
            is_behind = self._gesture.startswith(_AIMING)
            said = self.undoes if is_behind else said
            self._put(text, said, mood, self._gesture if is_behind else "")

    def undo(self) -> None:
        """Undo the last edit; refused where what was before it cannot be used any more."""
        with self._lock:
            self._go(self._journal.undoes, Edit.back, self._journal.undo)

    def redo(self) -> None:
        """Make again what was undone last; as `undo`."""
        with self._lock:
            self._go(self._journal.redoes, Edit.forth, self._journal.redo)

    def save(self) -> None:
        """Write the recipe's file.

        Raises
        ------
        UsageError
            When somebody else has changed it: both are then shown, and nothing is written.
        OutputError
            When the system refuses.
        """
        with self._lock:
            self.look_outside()
            if self.conflict is not None:
                found = "the file was changed by another hand, too"
                raise UsageError(Fault("", "", found, hint="choose which of the two is to stand"))
            replace_text(self.path, self._disk, self.text)
            self._disk = self._common = self.text
            self._journal.note_saved(self._disk)
            self._journal.sync()
            self.version += 1

    def settle(self, choice: str) -> None:
        """End a conflict: "theirs" takes the file as it is, "ours" lets the desk's stand over it.

        Nothing is lost: what gives way can be had again by undoing.

        Raises
        ------
        UsageError
            When the file's recipe cannot be used.
        OutputError
            When the system refuses.
        """
        with self._lock:
            if self.conflict is None:
                return
            if choice == "theirs":
                if self.conflict.fault:
                    raise UsageError(Fault("", "", self.conflict.fault))
                self._adopt("taken from the file")
            else:
                self._journal.add_both(
                    (self._disk, "the file, by another hand"),
                    (self.text, "the desk's, over the file"),
                )
                self._common, self._gesture = self._disk, ""
            self.conflict = None
            self._journal.note_saved(self._disk)
            self.version += 1

    def look_outside(self) -> bool:
        """See whether the file was changed by another hand; whether something is new."""
        with self._lock:
            try:
                disk = read_text(self.path)
            except EvenfallError as error:
                return self._faulty(str(error))
            if disk == self._disk and not self.fault:
                return self._look_at_bases()
            if disk == self._disk == self.text:
                return self._faulty("")
            was_unsaved = self.text != self._common
            self._disk = disk
            try:
                self._load(disk)
            except EvenfallError as error:
                if was_unsaved:
                    self._see_conflict(str(error))
                return self._faulty(str(error))
            self._faulty("")
            if disk in (self.text, self._common):  # as it stands here, or as it was
                self._common, self.conflict = disk, None
            elif was_unsaved:
                self._see_conflict()
            else:
                try:
                    self._adopt("changed in the file")
                except OutputError:  # no room to note it: both stand until a person chooses
                    self._see_conflict()
            self._journal.note_saved(self._disk)
            self.version += 1
            return True

    def _look_at_bases(self) -> bool:
        """See whether a file that the recipe builds on was changed."""
        stamps = {base: stamp_of(self.path.parent / base) for base in self.recipe.other_texts}
        if stamps == self._base_stamps:
            return False
        self._base_stamps = stamps
        try:
            recipe = self._load(self.text)
        except EvenfallError as error:
            return self._faulty(str(error))
        if recipe.other_texts == self.recipe.other_texts:
            return False
        self.recipe = recipe
        self.version += 1
        return True

    def close(self) -> None:
        """End it; what is unsaved, or could be undone, is kept for the next desk."""
        with self._lock:
            keep = self.is_unsaved or self._journal.undoes is not None
            self._journal.close(keep=keep)

    def _faulty(self, fault: str) -> bool:
        changed, self.fault = fault != self.fault, fault
        self.version += changed
        return changed

    def _adopt(self, said: str) -> None:
        """Take what the file holds, as an edit that can be undone."""
        recipe = self._load(self._disk)
        self._journal.add(self._disk, said)
        self.recipe, self._common, self._gesture = recipe, self._disk, ""

    def _see_conflict(self, fault: str = "") -> None:
        base = self._try(self._common)
        theirs = () if fault else differences(base, self._try(self._disk))
        self.conflict = Conflict(theirs, differences(base, self.recipe), fault)

    def _try(self, text: str) -> Recipe | None:
        try:
            return self._load(text)
        except EvenfallError:
            return None

    def _known(self, mood: str) -> None:
        if mood not in choose_written_moods(self.recipe, ()):
            raise UsageError(Fault("", "", f'there is no mood "{mood}" any more'))

    def _figure(self, mood: str, key: str) -> Figure:
        self._known(mood)
        figure = self.brief(mood).figures.get(key)
        if figure is None:
            raise UsageError(Fault("", "", "that figure is gone: the recipe has changed"))
        return figure

    def _change(self, mood: str, phrases: list[str], gesture: str) -> None:
        planned = Planned(self.text, self.path, [mood], phrases, before=self.recipe)
        # What it comes to is seen while its text is being written.
        seen = replace(planned.recipe, passes_folder=self.recipe.passes_folder)
        self.on_turn(seen, self.version + 1)
        try:
            self._put(planned.finished().text, "; ".join(phrases), mood, gesture)
        except EvenfallError:
            self.on_turn(self.recipe, self.version)
            raise

    def _put(self, text: str, said: str, mood: str, gesture: str = "") -> None:
        recipe = self._load(text)
        if gesture and gesture == self._gesture and self._journal.redoes is None:
            self._journal.replace(text, said, mood)
        elif text != self.text:
            self._journal.add(text, said, mood)
        else:
            gesture = ""  # there is no edit that a further turn could stand in place of
        self.recipe, self._gesture = recipe, gesture
        self._after()

    def _go(self, edit: Edit | None, way: Callable[..., str], step: Callable[..., object]) -> None:
        if edit is not None:
            recipe = self._load(way(edit, self.text))
            step()
            self.recipe, self._gesture = recipe, ""
            self._after()

    def _after(self) -> None:
        self.version += 1
        if self.conflict is not None:
            self._see_conflict(self.conflict.fault)
            if self.text == self._disk:
                self.conflict = None
