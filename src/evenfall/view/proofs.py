"""The proof of the sum, from files to a picture of what is left over."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from pathlib import Path

from evenfall.errors import UsageError
from evenfall.passes.image import PassImage, PixelCensus
from evenfall.passes.library import PassLibrary
from evenfall.prove.diagnosis import Remark
from evenfall.prove.measure import Pixels
from evenfall.prove.proof import Proof
from evenfall.prove.prove import prove
from evenfall.recipe import Recipe
from evenfall.system.atomic import write_atomically

__all__ = ["prove_recipe"]


def prove_recipe(
    recipe: Recipe,
    *,
    picture: Path | None,
    overwrite: bool,
    on_pass: Callable[[str], None] | None,
) -> Proof:
    """Prove that the passes of a recipe add up to its beauty; as `View.prove`."""
    if picture is not None:
        _refuse_picture(recipe, picture, overwrite=overwrite)
    library = PassLibrary(recipe)
    censuses: dict[str, PixelCensus] = {}

    def noted(name: str, image: PassImage) -> Pixels:
        censuses[name] = image.census
        return image.without_huge()

    def read() -> Iterator[tuple[str, Pixels]]:
        for batch in library.batches(recipe.model.lights):
            images = dict(library.read(batch))
            for name in batch:
                yield name, noted(name, images.pop(name))

    beauty = library.beauty()
    proof = prove(
        None if beauty is None else noted("", beauty),
        read,
        space=library.space,
        on_pass=on_pass,
    )
    proof = replace(proof, remarks=(*_huge_pixels(censuses), *proof.remarks))
    if picture is not None:
        from evenfall.deliver.png import encode_png
        from evenfall.drawings.residual_picture import draw_residual

        project = recipe.model.project
        title = project.view or project.title or recipe.path.stem
        data = encode_png(draw_residual(proof, title=title))
        write_atomically(picture, data, overwrite=overwrite)
    return proof


def _huge_pixels(censuses: Mapping[str, PixelCensus]) -> Iterator[Remark]:
    """Tell of pixels that no light makes, by light; the beauty has no name."""
    for name, census in censuses.items():
        if (at := census.brightest) is not None:
            others = f", and {census.huge - 1:,} more are" if census.huge > 1 else ""
            yield Remark(
                "huge-pixel",
                (name,) if name else (),
                f"{'its' if name else 'the beauty: its'} pixel at {at.column}, {at.row} is "
                f"{at.value:.3g}, brighter than any light{others}; such pixels count as black here",
                "render the picture again, or take that pixel out of the file",
            )


def _refuse_picture(recipe: Recipe, picture: Path, *, overwrite: bool) -> None:
    """Refuse what cannot be written before hours of reading."""
    from evenfall.system.free_names import refuse_existing

    if picture.suffix.lower() != ".png":
        raise UsageError(f"{picture}: the picture is written as PNG; give a name ending in .png")
    if recipe.model.passes.beauty is None:
        raise UsageError("no picture without a beauty: say passes.beauty in the recipe first")
    refuse_existing([picture], allowed=overwrite, option="--picture")
