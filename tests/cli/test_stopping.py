"""A command that is stopped ends with the code that shells give to the signal, without traceback.

128 + the signal's number is how a POSIX shell reports a command ended by a signal (POSIX.1-2017,
Shell Command Language, 2.8.2, asks for more than 128; 128 + n is common practice).
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from evenfall.develop.example import example_recipe

pytestmark = pytest.mark.skipif(os.name != "posix", reason="POSIX signals")

STOPPED_IN_THE_MIDST_OF = """
import os, sys

class Dying:
    def __del__(self):  # an exception that is raised in here is swallowed by Python
        os.kill(os.getpid(), {number})
        for _ in range(10_000):
            pass

class Finder:
    def find_spec(self, name, path, target=None):
        if name == {module!r}:
            Dying()

sys.meta_path.insert(0, Finder())
from evenfall.cli.process import program
program()
"""


STOPPED_WHERE_A_LIBRARY_WRAPS = """
import os, sys
from evenfall.cli import stopping
from evenfall.cli.process import program
import evenfall.cli.check_command as command

def wrapping(*arguments, **named):
    try:
        os.kill(os.getpid(), {number})
    except BaseException as error:  # as a library in another language does, that builds on ours
        raise ValueError("an error of its own") from error

def asked():
    really()
    command.command.callback = wrapping

really, stopping.stop_in_order = stopping.stop_in_order, asked
import evenfall.cli.main as main
main.stop_in_order = asked
program()
"""


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_a_library_that_makes_an_error_of_a_stop(number: signal.Signals, recipe: str) -> None:
    script = STOPPED_WHERE_A_LIBRARY_WRAPS.format(number=int(number))
    heard = "default_int_handler" if number == signal.SIGINT else "SIG_DFL"
    # A shell in the background has SIGINT ignored, nohup SIGHUP; whoever they start inherits it.
    script = f"import signal; signal.signal({int(number)}, signal.{heard})\n{script}"
    done = subprocess.run(
        [sys.executable, "-c", script, "check", recipe], capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stderr) == (128 + number, "")


def stopped(
    number: int, module: str, *arguments: str, ignored: bool = False
) -> subprocess.CompletedProcess[str]:
    """Run a command that gets a signal when it imports a module."""
    script = STOPPED_IN_THE_MIDST_OF.format(number=int(number), module=module)
    if ignored:
        script = f"import signal; signal.signal({int(number)}, signal.SIG_IGN)\n{script}"
    return subprocess.run(
        [sys.executable, "-c", script, *arguments], capture_output=True, text=True, check=False
    )


@pytest.fixture
def recipe(tmp_path: Path) -> str:
    return str(example_recipe(tmp_path).path)


@pytest.mark.parametrize(
    "module", ["evenfall.cli.run_command", "evenfall.recipe.model", "evenfall.produce.plan"]
)
@pytest.mark.parametrize(
    ("number", "code", "said"), [(signal.SIGINT, 130, "Stopped.\n"), (signal.SIGTERM, 143, "")]
)
def test_a_run_that_is_stopped_while_modules_are_imported(
    number: int, code: int, said: str, module: str, recipe: str, tmp_path: Path
) -> None:
    done = stopped(number, module, "run", recipe)
    assert (done.returncode, done.stdout, done.stderr) == (code, "", said)
    assert not (tmp_path / "pictures").exists()


def test_an_interruption_that_whoever_started_us_wants_ignored_is_ignored(recipe: str) -> None:
    done = stopped(signal.SIGINT, "evenfall.produce.plan", "run", recipe, ignored=True)
    assert (done.returncode, "Stopped" in done.stderr) == (0, False)


@pytest.mark.parametrize(
    ("number", "code", "said"), [(signal.SIGINT, 130, "Stopped.\n"), (signal.SIGTERM, 143, "")]
)
def test_other_commands(number: int, code: int, said: str, recipe: str) -> None:
    script = (
        "import os, evenfall.recipe\n"
        f"evenfall.recipe.load = lambda *_, **__: os.kill(os.getpid(), {int(number)})\n"
        "from evenfall.cli.process import program; program()"
    )
    done = subprocess.run(
        [sys.executable, "-c", script, "meter", recipe],
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode, done.stdout, done.stderr) == (code, "", said)
