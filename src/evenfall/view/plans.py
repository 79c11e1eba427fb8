"""Which passes to render, from a recipe or from names of lights, and as a page to print."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from evenfall.drawings.plan_page import plan_page
from evenfall.errors import UsageError
from evenfall.recipe import load
from evenfall.survey.plan import PassPlan, plan_from_recipe, plan_passes
from evenfall.survey.plan_text import sheet_text
from evenfall.system.arguments import given_path
from evenfall.system.atomic import write_atomically

__all__ = ["plan_view", "write_plan"]


def plan_view(lights: str | Path | Sequence[str], *, title: str = "", prefix: str = "") -> PassPlan:
    """Plan the passes of a view: what is on and off in each, names, format and cautions.

    Parameters
    ----------
    lights : str, Path or sequence of str
        A recipe, whose files need not exist yet; or names of lights, each as NAME or NAME:ROLE.
    title : str
        Project and view, for a list of lights.
    prefix : str
        What file names begin with, for a list of lights.

    Raises
    ------
    RecipeError, UsageError
        When the recipe or a light cannot be.

    Examples
    --------
    >>> [light.name for light in plan_view(["sun", "sky", "pendants"]).lights]
    ['sun', 'sky', 'pendants']
    """
    names = [str(lights)] if isinstance(lights, str | Path) else list(lights)
    path = Path(names[0])
    if len(names) == 1 and (path.suffix.lower() == ".toml" or path.is_file()):
        return plan_from_recipe(load(path, check_files=False))
    return plan_passes(names, title=title, prefix=prefix)


def write_plan(plan: PassPlan, path: str | Path, *, overwrite: bool = False) -> None:
    """Write a plan as a page to print (.html), or as plain text (.txt).

    Parameters
    ----------
    plan : PassPlan
        From `plan_view`.
    path : str or Path
        The file; its ending says which.
    overwrite : bool
        Whether a file that exists may be replaced.

    Raises
    ------
    UsageError
        When the ending is another.
    OutputError
        When the file exists and may not be replaced, or cannot be written.
    """
    path = given_path(path, "a plan")
    kind = path.suffix.lower()
    if kind in (".html", ".htm"):
        text = plan_page(plan)
    elif kind == ".txt":
        text = f"{sheet_text(plan)}\n"
    else:
        raise UsageError(f"{path}: a pass plan is written as .html (to print) or .txt")
    write_atomically(path, text.encode(), overwrite=overwrite)
