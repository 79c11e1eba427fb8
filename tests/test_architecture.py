"""The shape of the house: who may import whom, what starts quickly, what is public."""

from __future__ import annotations

import ast
import functools
import importlib
import json
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

import evenfall

ROOT = Path(evenfall.__file__).parent
MODULES = sorted(ROOT.rglob("*.py"))

ORDER = (
    "late",
    "errors",
    "system",
    "recipe",
    "light",
    "passes",
    "prove",
    "survey",
    "mix",
    "camera",
    "look",
    "deliver",
    "drawings",
    "comments",
    "page",
    "develop",
    "compare",
    "change",
    "handback",
    "advice",
    "meter",
    "solve",
    "record",
    "produce",
    "rounds",
    "farm",
    "view",
    "desk",
    "cli",
)
"""Each package imports only from those before it."""

HEAVY = {
    "OpenEXR",
    "PIL",
    "PyOpenColorIO",
    "defusedxml",
    "fpdf",
    "imagecodecs",
    "imageio",
    "oidn",
    "pxr",
    "pyoidn",
    "pypdfium2",
    "rich",
    "scipy",
    "simplejpeg",
    "tifffile",
}
"""Imported inside the functions that need them, so that a command starts quickly."""

MODEL_LIBRARIES = {
    "annotated_types",
    "pydantic",
    "pydantic_core",
    "typing_extensions",
    "typing_inspection",
}

LONGEST_MODULE_LINES = 400


def name_of(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


def package_of(module: str) -> str:
    return module.split(".")[1] if "." in module else ""


def imports_of(tree: ast.AST, own: str = "evenfall.x") -> Iterator[tuple[str, int]]:
    """Modules that a piece of code imports, with the line; `own` is the package it stands in."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from ((alias.name, node.lineno) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            module = _absolute(node, own)
            if module == "evenfall":
                yield from ((f"evenfall.{alias.name}", node.lineno) for alias in node.names)
            else:
                yield module, node.lineno
        elif isinstance(node, ast.Call) and _name(node.func) in ("import_module", "__import__"):
            said = node.args[0] if node.args else None
            known = isinstance(said, ast.Constant) and isinstance(said.value, str)
            yield (said.value if known else "a module that is told as it runs"), node.lineno


def _absolute(node: ast.ImportFrom, own: str) -> str:
    if not node.level:
        return node.module or ""
    above = own.split(".")[: len(own.split(".")) - node.level + 1]
    return ".".join([*above, *([node.module] if node.module else [])])


def _name(called: ast.expr) -> str:
    return called.attr if isinstance(called, ast.Attribute) else getattr(called, "id", "")


def imports_at_the_top(tree: ast.Module) -> Iterator[tuple[str, int]]:
    """Modules that are imported with the module itself, types aside."""
    return imports_of(ast.Module(list(_run_at_once(tree.body)), []))


def _run_at_once(body: list[ast.stmt]) -> Iterator[ast.stmt]:
    """Statements that run when a module is imported, however deep: no bodies of functions."""
    for node in body:
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            continue
        if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test):
            yield from _run_at_once(node.orelse)
            continue
        blocks = [
            block
            for name in ("body", "orelse", "finalbody")
            if isinstance(block := getattr(node, name, None), list)
        ]
        handlers = [*getattr(node, "handlers", []), *getattr(node, "cases", [])]
        blocks += [handler.body for handler in handlers]
        for block in blocks:
            yield from _run_at_once(block)
        if not blocks:
            yield node


SEEN_IMPORTS = {
    "from evenfall.view import View": {"evenfall.view"},
    "from evenfall import view": {"evenfall.view"},
    "from ..view.opening import open": {"evenfall.view.opening"},
    "from .. import view": {"evenfall.view"},
    "from . import units": {"evenfall.light"},
    "import importlib\nimportlib.import_module('evenfall.view')": {"importlib", "evenfall.view"},
    "def f():\n    __import__('evenfall.view')": {"evenfall.view"},
    "f(import_module(name))": {"a module that is told as it runs"},
}


@pytest.mark.parametrize("code", SEEN_IMPORTS)
def test_no_way_to_import_is_overlooked(code: str) -> None:
    found = {module for module, _ in imports_of(ast.parse(code), "evenfall.light")}
    assert found == SEEN_IMPORTS[code]


@pytest.mark.parametrize(
    ("code", "is_seen"),
    [
        ("import scipy", True),
        ("with quiet():\n    import scipy", True),
        ("class A:\n    import scipy", True),
        ("if TYPE_CHECKING:\n    pass\nelse:\n    import scipy", True),
        ("try:\n    pass\nexcept ValueError:\n    import scipy", True),
        ("try:\n    pass\nfinally:\n    from scipy import fft", True),
        ("for _ in ():\n    if one:\n        import scipy", True),
        ("fft = importlib.import_module('scipy.fft')", True),
        ("if TYPE_CHECKING:\n    import scipy", False),
        ("def f():\n    import scipy", False),
        ("class A:\n    def f(self):\n        import scipy", False),
    ],
)
def test_imports_that_run_at_once_are_told_from_late_ones(code: str, *, is_seen: bool) -> None:
    found = [module for module, _ in imports_at_the_top(ast.parse(code))]
    assert any(module.split(".")[0] == "scipy" for module in found) == is_seen


@functools.cache
def parsed(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"), str(path))


@functools.cache
def imported(path: Path) -> tuple[tuple[str, int], ...]:
    """Modules that a file of the house imports, with the lines."""
    package = ".".join(("evenfall", *path.relative_to(ROOT).parent.parts))
    return tuple(imports_of(parsed(path), package))


def test_every_package_has_its_place_in_the_order() -> None:
    packages = {path.name for path in ROOT.iterdir() if (path / "__init__.py").is_file()}
    assert packages | {"late", "errors"} == set(ORDER)


def test_the_page_for_developers_draws_the_house_as_it_stands() -> None:
    """A row a package, in the order in which they may import each other."""
    page = (Path(__file__).parents[1] / "DEVELOPERS.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| `([a-z]+)(?:/|\.py)` \|", page, re.MULTILINE)
    assert rows == list(ORDER)


def test_imports_go_one_way() -> None:
    wrong = []
    for path in MODULES:
        own = path.relative_to(ROOT).parts[0].removesuffix(".py")
        if own in ("__init__", "__main__"):  # what is public comes from everywhere
            continue
        allowed = ORDER[: ORDER.index(own) + 1]
        wrong += [
            f"{name_of(path)}:{line} imports {module}"
            for module, line in imported(path)
            if (module == "evenfall" and own != "cli")
            or (module.startswith("evenfall.") and package_of(module) not in allowed)
        ]
    assert not wrong


def test_modules_are_imported_by_names_that_can_be_read() -> None:
    """But for late names, which stay in their package, and commands, which are files of `cli`."""
    told_late = {
        name_of(path)
        for path in MODULES
        if "a module that is told as it runs" in dict(imported(path))
    }
    assert told_late == {"late.py", "cli/main.py"}


def test_colour_spaces_stand_on_nothing_else() -> None:
    path = ROOT / "light" / "primaries.py"
    assert not [
        name
        for name, _ in imports_of(parsed(path), "evenfall.light")
        if name.startswith("evenfall")
    ]


def test_heavy_libraries_are_imported_where_they_are_needed() -> None:
    heavy = [
        f"{name_of(path)}:{line} imports {module}"
        for path in MODULES
        for module, line in imports_at_the_top(parsed(path))
        if module.split(".")[0] in HEAVY
    ]
    assert not heavy


def test_colour_science_is_for_the_tests_alone() -> None:
    """It takes a second to import; what is computed here is held against it."""
    assert not [
        f"{name_of(path)}:{line}"
        for path in MODULES
        for module, line in imported(path)
        if module.split(".")[0] == "colour"
    ]


def test_modules_stay_short() -> None:
    lines = {name_of(path): len(path.read_text(encoding="utf-8").splitlines()) for path in MODULES}
    long = {name: count for name, count in lines.items() if count > LONGEST_MODULE_LINES}
    assert not long, "split at 'and then'"


def loaded_by(code: str) -> set[str]:
    """Libraries beyond the standard one that a fresh interpreter has loaded after some code."""
    before = "import sys; before = set(sys.modules)\n"
    after = (
        "\nimport json, sys\n"
        "new = {name.split('.')[0] for name in set(sys.modules) - before}\n"
        "print('\\n' + json.dumps(sorted(new - set(sys.stdlib_module_names))))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", before + code + after],
        capture_output=True,
        text=True,
        check=True,
    )
    return {name for name in json.loads(done.stdout.splitlines()[-1]) if name[0] != "_"}


def command(*arguments: str) -> str:
    return (
        "from evenfall.cli.main import main\n"
        f"try:\n    main({list(arguments)!r})\nexcept SystemExit:\n    pass\n"
    )


def test_importing_the_package_loads_no_library() -> None:
    assert loaded_by("import evenfall") == {"evenfall"}


@pytest.mark.parametrize("arguments", [["--help"], ["--version"], ["no-such-command"]])
def test_help_loads_nothing_but_the_command_line(arguments: list[str]) -> None:
    assert loaded_by(command(*arguments)) <= {"evenfall", "click"}


@pytest.mark.parametrize("name", ["check", "run", "meter"])
def test_a_faulty_recipe_is_refused_before_anything_heavy_loads(name: str, tmp_path: Path) -> None:
    recipe = tmp_path / "faulty.toml"
    recipe.write_text("format = 1\n", encoding="utf-8")
    loaded = loaded_by(command(name, str(recipe)))
    assert loaded <= {"evenfall", "click", *MODEL_LIBRARIES}


def test_loading_a_recipe_needs_no_arrays() -> None:
    assert loaded_by("from evenfall import load") <= {"evenfall", *MODEL_LIBRARIES}


def test_the_commands_are_those_that_are_listed() -> None:
    from evenfall.cli.main import main

    files = {path.name for path in (ROOT / "cli").glob("*_command.py")}
    assert {f"{name}_command.py" for name in main.list_commands(None)} == files


PUBLIC = {
    "evenfall": [
        "Recipe",
        "View",
        "__version__",
        "load",
        "open",
        "plan_view",
        "read_provenance",
        "survey_folder",
    ],
    "evenfall.errors": [
        "Advice",
        "EvenfallError",
        "Fault",
        "OutputError",
        "PassError",
        "PixelSourceError",
        "RecipeError",
        "UsageError",
        "printable",
        "refusal",
    ],
    "evenfall.recipe": [
        "Area",
        "Beauty",
        "Camera",
        "CameraSettings",
        "Daylight",
        "Deliverable",
        "Draft",
        "Gradient",
        "Light",
        "LightSetting",
        "Look",
        "Match",
        "Meter",
        "Mood",
        "Overlay",
        "Passes",
        "Plate",
        "Print",
        "Project",
        "Recipe",
        "RecipeModel",
        "Region",
        "Rendered",
        "Repair",
        "ResolvedMood",
        "Role",
        "Sheet",
        "WhiteBalance",
        "load",
    ],
}


@pytest.mark.parametrize("module", PUBLIC)
def test_the_public_surface(module: str) -> None:
    from importlib import import_module

    imported = import_module(module)
    assert sorted(imported.__all__) == sorted(PUBLIC[module])
    for name in imported.__all__:
        assert getattr(imported, name) is not None


def test_the_package_says_what_it_has() -> None:
    assert dir(evenfall) == PUBLIC["evenfall"]
    with pytest.raises(AttributeError, match="has no attribute 'render'"):
        _ = evenfall.render


def test_exit_codes_of_the_errors() -> None:
    from evenfall import errors

    codes = {
        name: getattr(errors, name).exit_code for name in errors.__all__ if name.endswith("Error")
    }
    assert codes == {
        "EvenfallError": 1,
        "OutputError": 1,
        "PassError": 1,
        "PixelSourceError": 1,
        "RecipeError": 2,
        "UsageError": 2,
    }


@pytest.mark.parametrize("package", ["evenfall.passes", "evenfall.produce", "evenfall.view"])
def test_what_is_imported_late_is_listed(package: str) -> None:
    module = importlib.import_module(package)
    assert sorted(module.__all__) == dir(module)
    assert all(getattr(module, name) is not None for name in module.__all__)
