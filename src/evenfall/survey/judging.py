"""What each picture of a folder is: from its names, its pixels, and how pictures add up.

In this order, each step on what the one before has left:

1. Data is told by names, channels and pixels (`name_says`, `signs`).
2. Pictures that do not fit the others (size, primaries) and pictures that are there twice are left
   out.
3. Pictures of one name are gathered: a light, and the parts of it that were saved beside it.
4. What holds the others is no light: the picture of all lights at once becomes the beauty
   (`beauty_choice`). Names propose it, pixels decide where they can (`sums`).
5. A light of which there are only parts is put together (`parts`); the beauty, or two ways to add
   up that agree, say whether it is whole.
6. What remains is a light.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from itertools import islice, product

from evenfall.light.primaries import space_from_chromaticities
from evenfall.passes.header import PassHeader
from evenfall.survey.beauty_choice import choose_beauty
from evenfall.survey.looking import Seen
from evenfall.survey.names import role_from_name
from evenfall.survey.parts import in_words, ways_to_add_up
from evenfall.survey.sums import added_up, compare, same_pictures
from evenfall.survey.verdicts import Folder, Stem, Verdict

__all__ = ["judge"]

_LIGHTS_OF_THEIR_OWN = frozenset(("emission", "background", "volume"))
"""Parts that renderers also save as lights of their own."""

_MOST_TRIES = 200


def judge(seen: Sequence[Seen]) -> list[Verdict]:
    """Say what each picture of a folder is.

    Parameters
    ----------
    seen : sequence of Seen
        All pictures that were read, in the order of files.

    Returns
    -------
    list of Verdict
        In the same order.
    """
    folder = Folder(seen)
    _tell_data(folder)
    _leave_misfits_out(folder)
    _leave_copies_out(folder)
    totals, parts = _families(folder)
    beauty = choose_beauty(folder, totals)
    _judge_parts(folder, totals, parts, beauty)
    for number in folder.open:
        folder.verdicts[number] = Verdict("light", light=number)
    return [folder.verdicts[number] for number in range(len(seen))]


def _tell_data(folder: Folder) -> None:
    for number, each in enumerate(folder.seen):
        says, sign = each.found.says, each.sign
        if each.facts.header.pixel_type == "uint":
            verdict = Verdict("data", says.data or "ids and mattes", "whole numbers (uint)")
        elif says.data and not (says.doubtful and sign is None):
            seen_too = f"; {sign.reason}" if sign else ""
            verdict = Verdict("data", says.data, f"named '{says.word}'{seen_too}")
        elif sign is not None:
            verdict = Verdict("data", sign.what, sign.reason)
        else:
            continue
        folder.verdicts[number] = verdict


def _leave_misfits_out(folder: Folder) -> None:
    """Leave out what cannot be added to the others; the most usual kind stays."""
    kinds = {number: _kind_of(folder.seen[number].facts.header) for number in folder.open}
    if not kinds:
        return
    counts = Counter(kinds.values())
    usual = max(counts, key=lambda kind: (counts[kind], kind.pixels))
    for number, kind in kinds.items():
        if kind != usual:
            folder.verdicts[number] = Verdict("left out", "", kind.unlike(usual))


@dataclass(frozen=True)
class _FileKind:
    """What pictures must have in common to be added up."""

    width: int
    height: int
    pixel_aspect: float
    primaries: tuple[float, ...]
    space: str

    @property
    def pixels(self) -> int:
        return self.width * self.height

    def unlike(self, usual: _FileKind) -> str:
        """Say how it differs."""
        said = []
        if (self.width, self.height) != (usual.width, usual.height):
            said.append(f"{self.width} x {self.height} pixels, the others {usual.width} x "
                        f"{usual.height}")  # fmt: skip
        if self.primaries != usual.primaries:
            said.append(f"colour space {self.space}, the others {usual.space}")
        if self.pixel_aspect != usual.pixel_aspect:
            said.append(f"pixel aspect {self.pixel_aspect:g}, the others {usual.pixel_aspect:g}")
        return "; ".join(said)


def _kind_of(header: PassHeader) -> _FileKind:
    space = space_from_chromaticities(header.chromaticities)
    primaries = tuple(round(each, 4) for each in space.chromaticities)
    aspect = round(header.pixel_aspect, 3)
    return _FileKind(header.width, header.height, aspect, primaries, space.name)


def _leave_copies_out(folder: Folder) -> None:
    """Leave out pictures that are there already under another name."""
    says = {number: folder.seen[number].found.says for number in folder.open}
    whole = [number for number, said in says.items() if not said.components]
    # A beauty keeps its name; then the shortest does: "sun", not "sun (1)" or "copy of sun".
    whole.sort(key=lambda n: (says[n].beauty_word is None, len(folder.seen[n].found.place)))
    of_view = {n: says[n].beauty_word is not None or not says[n].stem for n in whole}
    for first, second in same_pictures(folder.blocks(whole)):
        if of_view[first] == of_view[second]:  # else it is a view of one light
            said = f"the same picture as {folder.seen[first].found.place}"
            folder.verdicts[second] = Verdict("left out", "", said)


def _families(folder: Folder) -> tuple[dict[int, Stem], dict[Stem, list[int]]]:
    """Gather pictures by name: whole ones with the words of their light, and parts of those."""
    totals: dict[int, Stem] = {}
    parts: dict[Stem, list[int]] = {}
    weak: list[int] = []
    for number in folder.open:
        says = folder.seen[number].found.says
        if says.weak:
            weak.append(number)
        elif says.components:
            parts.setdefault(says.stem, []).append(number)
        else:
            totals[number] = says.stem
    for number in weak:
        says = folder.seen[number].found.says
        if says.stem in totals.values() or says.stem in parts:
            parts.setdefault(says.stem, []).append(number)
        else:
            totals[number] = says.own
    return totals, parts


def _judge_parts(
    folder: Folder,
    totals: Mapping[int, Stem],
    parts: Mapping[Stem, Sequence[int]],
    beauty: int | None,
) -> None:
    """Say of parts whose they are; put lights together of which there are only parts."""
    of_view = {() if beauty is None else totals.get(beauty, ()), ()}
    lights = {stem: number for number, stem in totals.items() if number in folder.open}
    loose: dict[Stem, Sequence[int]] = {}
    for stem, numbers in parts.items():
        if stem in of_view:
            continue
        if stem in lights:
            whole = lights[stem]
            reason = f"the whole of {folder.label(whole)} is there"
            for number in numbers:
                folder.verdicts[number] = _part(folder, number, reason, light=whole)
        else:
            loose[stem] = numbers
    if loose and not _complete(folder, lights.values(), beauty):
        _put_together(folder, list(lights.values()), loose, beauty)
    else:
        reason = "the lights add up to the beauty without it"
        for number in (number for numbers in loose.values() for number in numbers):
            folder.verdicts[number] = _part(folder, number, reason)
    for stem in of_view:
        _judge_parts_of_view(folder, parts.get(stem, ()), beauty)


def _complete(folder: Folder, lights: Collection[int], beauty: int | None) -> bool:
    """Whether whole lights make all of the beauty."""
    return beauty is not None and bool(lights) and folder.holds(beauty, lights).equals


def _part(
    folder: Folder, number: int, reason: str, *, light: int | None = None, sure: bool = True
) -> Verdict:
    what = in_words(folder.seen[number].found.says.components)
    return Verdict("part of light", what, reason, sure, light)


def _put_together(
    folder: Folder, lights: Sequence[int], loose: Mapping[Stem, Sequence[int]], beauty: int | None
) -> None:
    """Put lights together, in the way that the beauty confirms, or that two ways agree upon."""
    ways = {
        stem: ways_to_add_up(
            {number: folder.seen[number].found.says.components for number in numbers}
        )
        for stem, numbers in loose.items()
    }
    ways = {stem: some for stem, some in ways.items() if some}
    chosen = {stem: some[0] for stem, some in ways.items()}
    proven = False
    if beauty is not None and ways:
        chosen, proven = _best_way(folder, lights, ways, beauty)
    for stem, numbers in loose.items():
        way = chosen.get(stem, ())
        if len(way) == 1 and not proven and role_from_name(" ".join(stem)) is None:
            way = ()  # no light that anybody has named
        reason, sure = _why_together(folder, way, ways.get(stem, []), proven=proven)
        for number in numbers:
            if number in way:
                folder.verdicts[number] = Verdict("light", "", reason, sure, way[0])
            elif way:
                folder.verdicts[number] = _part(folder, number, "held by its others", light=way[0])
            else:
                reason = "alone it is no light, and the whole of it is not there"
                folder.verdicts[number] = _part(folder, number, reason, sure=False)


def _best_way(
    folder: Folder,
    lights: Sequence[int],
    ways: Mapping[Stem, Sequence[tuple[int, ...]]],
    beauty: int,
) -> tuple[dict[Stem, tuple[int, ...]], bool]:
    """Choose the way under which all lights come nearest to the beauty, and say if it is equal."""
    best: tuple[float, dict[Stem, tuple[int, ...]], bool] | None = None
    for some in islice(product(*ways.values()), _MOST_TRIES):
        numbers = [*lights, *(number for way in some for number in way)]
        found = folder.holds(beauty, numbers)
        off = found.over + found.under
        if best is None or off < best[0]:
            best = (off, dict(zip(ways, some, strict=True)), found.equals)
        if found.equals:
            break
    assert best is not None  # each stem has a way
    return best[1], best[2]


def _why_together(
    folder: Folder, way: Sequence[int], ways: Sequence[tuple[int, ...]], *, proven: bool
) -> tuple[str, bool]:
    if not way:
        return "", False
    parts = [in_words(folder.seen[number].found.says.components) for number in way]
    said = " + ".join(parts)
    if proven:
        return f"{said}; so all lights add up to the beauty", True
    if len(way) == 1:
        return f"only its {said} is there", False
    for other in ways:
        if set(other).isdisjoint(way) and _agree(folder, way, other):
            also = " + ".join(in_words(folder.seen[n].found.says.components) for n in other)
            return f"{said}; {also} add up to the same", True
    return f"{said}, by their names: nothing proves that this is all of it", False


def _agree(folder: Folder, one: Sequence[int], other: Sequence[int]) -> bool:
    pictures = [folder.seen[number].blocks for number in one]
    return compare(added_up(pictures), list(folder.blocks(other).values())).equals


def _judge_parts_of_view(folder: Folder, numbers: Sequence[int], beauty: int | None) -> None:
    """Judge parts of the whole view: of no single light, unless they are all that shows one."""
    own = [number for number in numbers if _may_be_a_light(folder, number)]
    reason = "of the whole view, not of one light"
    lights = [
        number
        for number in range(len(folder.seen))
        if folder.verdicts.get(number, Verdict("light")).kind == "light" and number not in numbers
    ]
    alone = len(own) == len(numbers)
    for number in own:
        found = None if beauty is None else folder.holds(beauty, lights)
        if found is not None:
            better = folder.holds(beauty, [*lights, number]) if beauty is not None else found
            if better.holds and (better.equals or better.over < found.over / 2) > found.equals:
                said = "the beauty holds it on top of the other lights"
                folder.verdicts[number] = Verdict("light", "", said, light=number)
                lights.append(number)
        elif alone and lights:
            said = f"named '{folder.seen[number].found.says.word}', and no other part of light "
            said += "is there"
            folder.verdicts[number] = Verdict("light", "", said, sure=False, light=number)
    for number in numbers:
        if number not in folder.verdicts:
            folder.verdicts[number] = _part(folder, number, reason)


def _may_be_a_light(folder: Folder, number: int) -> bool:
    components = folder.seen[number].found.says.components
    return len(components) == 1 and components <= _LIGHTS_OF_THEIR_OWN
