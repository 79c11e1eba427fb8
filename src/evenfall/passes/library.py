"""The passes of one recipe: found, held against each other, and read when they are needed."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from evenfall.errors import Fault, PassError
from evenfall.light.primaries import RGB_SPACES, space_from_chromaticities
from evenfall.passes.banding import bands_of
from evenfall.passes.encoding import refuse_encoded
from evenfall.passes.faults import refused
from evenfall.passes.files import check_inside, stamp
from evenfall.passes.header import PassHeader, Selector
from evenfall.passes.image import PassImage, added_up
from evenfall.passes.on_the_way import place_now, sources_now
from evenfall.passes.reading import inspect, read
from evenfall.passes.selection import select
from evenfall.passes.standing import PassPlace, Standing
from evenfall.recipe import Recipe
from evenfall.recipe.file_names import asks_for
from evenfall.recipe.lights import Source
from evenfall.recipe.places import Place
from evenfall.system.opened import Once, Opened, listening
from evenfall.system.processors import default_workers

if TYPE_CHECKING:
    from evenfall.passes.mending.denoise import Guides

__all__ = ["PassLibrary"]

_CHROMATICITY_TOLERANCE = 2e-5  # float32 storage, and documents that round to 4 or 5 digits
_ASPECT_TOLERANCE = 1e-4
_WHITE_LUMINANCE_TOLERANCE = 1e-4


class PassLibrary:
    """The passes of one recipe.

    Opening it reads and checks all headers; pixels are read by `read`, from any thread.

    Parameters
    ----------
    recipe : Recipe
    keep_going : bool
        True: a pass that cannot be opened is noted in `failures`, and raised where it is read.
        Passes that do not fit each other are raised in any case.
    standing : Standing, optional
        Where passes without #### in their names are kept, for libraries of other frames. Files are
        then fingerprinted as they are read.

    Attributes
    ----------
    sources : mapping of str to tuple of PassHeader
        By light, in the recipe's order, the pictures that add up to its pass; without those in
        `failures`.
    headers : mapping of str to PassHeader
        The same, but the first picture only.
    failures : mapping of str to PassError
        By light; empty unless `keep_going`.
    size : tuple of int
        Width and height in pixels, the same for all passes.
    pixel_aspect : float
        Width over height of a pixel, the same for all passes.
    space : RgbSpace
        Primaries and white of the passes: the files', else those of the recipe's
        ``passes.colour_space``; BT.709 where neither says.
    luminance_scale : float or None
        cd/m2 of a pixel of luminance 1: the files' whiteLuminance, else the recipe's.
    decoder_threads : int
        Threads that one file is decoded with: one, unless there is only one.

    Raises
    ------
    PassError
        With every fault: passes missing, unreadable, or of different size, colour space, pixel
        aspect or scale.
    """

    def __init__(
        self, recipe: Recipe, *, keep_going: bool = False, standing: Standing | None = None
    ) -> None:
        self._recipe, self._is_of_many = recipe, standing is not None
        self._standing = standing or Standing(0)
        self._guides = Once(self._read_guides)
        self._places: dict[str, tuple[PassPlace, ...]] = {}
        failures: dict[str, PassError] = {}
        opened: dict[Path, list[PassHeader] | PassError] = {}
        for name, light in recipe.model.lights.items():
            try:
                self._places[name] = tuple(
                    self._find(("lights", name), each.source, opened, each.weight)
                    for each in sources_now(light, place_now(recipe, light))
                )
            except PassError as error:
                failures[name] = error
        if failures and not (keep_going and self._places):
            raise _together(failures.values())
        self.failures: Mapping[str, PassError] = failures
        self.sources: Mapping[str, tuple[PassHeader, ...]] = {
            name: tuple(place.header for place in places) for name, places in self._places.items()
        }
        self.headers: Mapping[str, PassHeader] = {
            name: headers[0] for name, headers in self.sources.items()
        }
        self._check_alike()
        first = next(iter(self.headers.values()))
        self.size = (first.width, first.height)
        self.pixel_aspect = first.pixel_aspect
        self.space = space_from_chromaticities(self._effective_chromaticities(first))
        self.luminance_scale = self._luminance_scale()
        files = {(header.path, header.part) for header in self._all_headers(self.headers)}
        self.decoder_threads = default_workers() if len(files) == 1 else 1

    def _all_headers(self, lights: Iterable[str]) -> list[PassHeader]:
        return [header for light in lights for header in self.sources.get(light, ())]

    def batches(self, lights: Iterable[str]) -> list[tuple[str, ...]]:
        """Group lights that are decoded together: those in the same parts of the same files.

        Raises
        ------
        KeyError
            When a light is not in the recipe.
        """
        together: dict[object, list[str]] = {}
        for light in dict.fromkeys(lights):
            if light in self.failures:
                together[light] = [light]
            else:
                files = frozenset((header.path, header.part) for header in self.sources[light])
                together.setdefault(files, []).append(light)
        return [tuple(batch) for batch in together.values()]

    def bands(self, lights: Iterable[str], *, multiple: int = 1) -> list[slice]:
        """Cut the view into bands of rows that a part of many layers can be read in.

        As `bands_of` says; there is one band of all rows, too, when mending has to see neighbours,
        and when all is kept for other frames, so that it is decoded once.

        Parameters
        ----------
        lights : iterable of str
            Lights that are to be read.
        multiple : int
            Of which bands begin at multiples.
        """
        places = [place for light in lights for place in self._places.get(light, ())]
        repair, whole = self._recipe.model.passes.repair, [slice(0, self.size[1])]
        if repair.non_finite != "black" or repair.goes_further or self._standing.keeps(places):
            return whole
        return bands_of([place.header for place in places], self.size, multiple)

    def read(self, batch: tuple[str, ...], rows: slice | None = None) -> dict[str, PassImage]:
        """Read the passes of a batch, mended as the recipe's ``passes.repair`` says; thread-safe.

        Parameters
        ----------
        batch : tuple of str
            One of `batches`.
        rows : slice, optional
            One of `bands`; all rows otherwise.

        Raises
        ------
        PassError
            When a pass cannot be read, or its file changed since the library was opened.
        """
        failed = [self.failures[light] for light in batch if light in self.failures]
        if failed:
            raise _together(failed)
        places = tuple(place for light in batch for place in self._places[light])
        with listening() as openings:
            if rows is None and all(place.stands and not place.is_blended for place in places):
                size_bytes = sum(place.decoded_bytes for place in places)
                mended = self._standing.get(
                    (batch, places), lambda: self._put_together(batch, places), size_bytes
                )
            else:
                mended = self._put_together(batch, places, rows)
        return {
            light: replace(image, opened=self._opened_for(light, openings))
            for light, image in mended.items()
        }

    def _put_together(
        self, batch: tuple[str, ...], places: Sequence[PassPlace], rows: slice | None = None
    ) -> dict[str, PassImage]:
        read = iter(self._read(places, rows))
        images = {
            light: added_up(
                [next(read) for _ in self._places[light]],
                [place.header.weight for place in self._places[light]],
            )
            for light in batch
        }
        return {light: self._mended(image) for light, image in images.items()}

    def _opened_for(self, light: str, openings: Iterable[Opened]) -> tuple[Opened, ...]:
        """Say of what was opened which are the light's own files."""
        own = {header.path for header in self.sources[light]}
        return tuple(
            replace(opened, light=light) if opened.path in own else opened for opened in openings
        )

    def beauty(self) -> PassImage | None:
        """Read the beauty, or return None if the recipe names none.

        Raises
        ------
        PassError
            When it cannot be read, or does not fit the passes.
        """
        beauty = self._recipe.model.passes.beauty
        if beauty is None:
            return None
        place = self._find(("passes", "beauty"), beauty.source, {})
        first = next(iter(self.headers.values()))
        faults = self._differences({"the beauty": place.header, "the passes": first}, "the passes")
        if faults:
            raise PassError(faults)
        return self._mended(self._read([place])[0])

    def _find(
        self,
        place: Place,
        source: Source,
        opened: dict[Path, list[PassHeader] | PassError],
        weight: float = 1.0,
    ) -> PassPlace:
        passes = self._recipe.model.passes
        path = self._recipe.pass_path(source.file)
        if not passes.allow_links_outside:
            check_inside(path, self._recipe.passes_folder)
        selector = Selector(source.layer, source.part, passes.view)
        if path not in opened:
            try:
                opened[path] = inspect(path)
            except PassError as error:
                opened[path] = error
        headers = opened[path]
        if isinstance(headers, PassError):
            raise headers
        try:
            header = headers[select(path, headers, selector)]
        except PassError as error:  # what the recipe asks for is not in the file
            said = [key for key in ("layer", "part") if getattr(source, key)]
            raise PassError(
                self._recipe.fault(
                    (*place, *said[:1]), f"{each.file} {each.found}", each.allowed, each.hint
                )
                for each in error.faults
            ) from None
        refuse_encoded(header)
        exact = Selector(header.layer, header.part, header.view or None)
        stands = not asks_for(source.file, "frame")
        return PassPlace(replace(header, weight=weight), exact, stamp(path), stands)

    def _read(self, places: Sequence[PassPlace], rows: slice | None = None) -> list[PassImage]:
        """Read pictures, each file once; they are not mended but for NaN and Inf."""
        by_file: dict[Path, list[int]] = {}
        for number, place in enumerate(places):
            by_file.setdefault(place.header.path, []).append(number)
        images: dict[int, PassImage] = {}
        for path, numbers in by_file.items():
            if stamp(path) != places[numbers[0]].stamp:
                raise refused(
                    path,
                    "the file changed since its header was checked",
                    hint="wait until the renderer has finished, then run again",
                )
            read_here = self._read_file(path, [places[number] for number in numbers], rows)
            images |= dict(zip(numbers, read_here, strict=True))
        return [images[number] for number in range(len(places))]

    def _read_file(
        self, path: Path, places: Sequence[PassPlace], rows: slice | None
    ) -> list[PassImage]:
        def read_it() -> list[PassImage]:
            return read(
                path,
                [place.selector for place in places],
                non_finite=self._recipe.model.passes.repair.non_finite,
                threads=self.decoder_threads if rows is None else 1,
                rows=rows,
                fingerprint=self._is_of_many,
            )

        if rows is not None or not all(place.stands and place.is_blended for place in places):
            return read_it()
        key = tuple(place.unweighted for place in places)
        return self._standing.get(key, read_it, sum(place.decoded_bytes for place in places))

    def _mended(self, image: PassImage) -> PassImage:
        """Mend a pass as the recipe's ``passes.repair`` says."""
        settings = self._recipe.model.passes.repair
        if not settings.goes_further:
            return image
        from evenfall.passes.mending.clean import repair

        return repair(image, settings, self._guides.get() if settings.denoise else None)

    def _read_guides(self) -> Guides:
        from evenfall.passes.side.denoiser_guides import read_guides

        return read_guides(self._recipe, self.size)

    def _check_alike(self) -> None:
        """Hold all passes against the most usual kind, so that the odd ones are blamed."""
        headers = {header.label: header for header in self._all_headers(self.sources)}
        kinds = {
            name: (
                header.width,
                header.height,
                header.pixel_aspect,
                space_from_chromaticities(self._effective_chromaticities(header)).chromaticities,
            )
            for name, header in headers.items()
        }
        ((usual, _),) = Counter(kinds.values()).most_common(1)
        faults = self._differences(
            headers, next(name for name, kind in kinds.items() if kind == usual)
        )
        if faults:
            raise PassError(faults)

    def _differences(self, headers: Mapping[str, PassHeader], usual: str) -> list[Fault]:
        reference = headers[usual]
        faults = []
        for header in headers.values():
            for word, own, other in self._unlike(header, reference):
                faults.append(
                    Fault(
                        header.label,
                        "",
                        f"{word} {own}, but {reference.label} has {other}",
                        f"expected the same {word} in all passes",
                        "render the pass again like the others",
                    )
                )
        return faults

    def _unlike(self, header: PassHeader, reference: PassHeader) -> Iterable[tuple[str, str, str]]:
        if (header.width, header.height) != (reference.width, reference.height):
            yield (
                "size",
                f"{header.width} x {header.height}",
                f"{reference.width} x {reference.height}",
            )
        own, other = (self._effective_chromaticities(each) for each in (header, reference))
        spaces = [space_from_chromaticities(each) for each in (own, other)]
        if not np.allclose(
            spaces[0].chromaticities,
            spaces[1].chromaticities,
            rtol=0,
            atol=_CHROMATICITY_TOLERANCE,
        ):
            yield ("colour space", _described(own), _described(other))
        if abs(header.pixel_aspect / reference.pixel_aspect - 1) > _ASPECT_TOLERANCE:
            yield ("pixel aspect", f"{header.pixel_aspect:g}", f"{reference.pixel_aspect:g}")
        white, usual = header.white_luminance, reference.white_luminance
        if white and usual and abs(white / usual - 1) > _WHITE_LUMINANCE_TOLERANCE:
            yield ("whiteLuminance", f"{white:g} cd/m2", f"{usual:g} cd/m2")

    def _effective_chromaticities(self, header: PassHeader) -> tuple[float, ...] | None:
        if header.chromaticities is not None:
            return header.chromaticities
        named = self._recipe.model.passes.colour_space
        return None if named is None else RGB_SPACES[named].chromaticities

    def _luminance_scale(self) -> float | None:
        said = [header.white_luminance for header in self._all_headers(self.sources)]
        return next((white for white in said if white), self._recipe.model.passes.luminance_scale)


def _described(chromaticities: tuple[float, ...] | None) -> str:
    space = space_from_chromaticities(chromaticities)
    if chromaticities is None:
        return f"{space.name} (the file says none)"
    if space.name != "custom":
        return space.name
    return "(" + " ".join(f"{number:.4f}" for number in chromaticities) + ")"


def _together(errors: Iterable[PassError]) -> PassError:
    return PassError(dict.fromkeys(fault for error in errors for fault in error.faults))
