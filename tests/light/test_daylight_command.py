"""The command `daylight`: tables, recipe lines, and what is refused."""

from __future__ import annotations

import pytest
import tomlkit
from click.testing import CliRunner

from evenfall.cli.main import main
from evenfall.recipe import Daylight


def run(*arguments):
    return CliRunner().invoke(main, ["daylight", *arguments])


def row(output, start):
    """Cells of the first line that starts with this text."""
    return next(line.split() for line in output.splitlines() if line.startswith(start))


def test_one_altitude_with_gains_from_the_rendered_one():
    done = run("10", "--rendered", "60")
    assert done.exit_code == 0
    cells = row(done.output, "10.0")
    # Bird and Riordan (1984/86): 41.1 and 6.2 klx against 104.7 and 15.4 klx
    assert float(cells[1].replace(",", "")) == pytest.approx(41_100, rel=0.03)
    assert float(cells[3]) == pytest.approx(12.4, abs=0.1)  # 13.3 klx, C = 250 (ISO 2720:1974)
    assert float(cells[6]) == pytest.approx(-1.35, abs=0.1)
    assert float(cells[7]) == pytest.approx(-1.31, abs=0.1)
    assert "no daylight calculation" in " ".join(done.output.split())


@pytest.mark.parametrize("altitude", ["-6", "-0.5", "-.5"])
def test_altitudes_below_the_horizon_are_no_options(altitude):
    done = run(altitude, "--state", "overcast")
    assert done.exit_code == 0
    assert f"{float(altitude):.1f}" in done.output


def test_the_day_by_altitude():
    done = run()
    assert done.exit_code == 0
    assert row(done.output, "60.0")[-1] == "day"
    assert row(done.output, "-6.0")[2] == "3.41"
    assert "off" in row(done.output, "-6.0")


def test_a_place_shows_the_moment_the_day_and_lines_for_a_recipe():
    done = run("--place", "48.21,16.37", "--time", "2026-03-20T12:02:00+01:00")
    assert done.exit_code == 0
    # at noon 90 degrees less the latitude, four hours before the equinox (declination -0.06)
    assert "Sun at 41.7 degrees" in done.output
    assert "azimuth 180" in done.output
    assert "  sunrise\n" in done.output
    assert "  civil dusk\n" in done.output
    assert "  nautical twilight\n" in done.output
    lines = done.output.split("In a recipe:\n\n")[1].split("\n\n")[0]
    table = tomlkit.parse(lines).unwrap()["moods"]["NAME"]["daylight"]
    assert Daylight(**table).latitude == 48.21


@pytest.mark.parametrize("state", ["clear", "overcast"])
@pytest.mark.parametrize(
    "arguments",
    [(), ("-6",), ("89",), ("--place", "48.21,16.37", "--time", "2026-06-21T21:30:00+02:00"),
     ("--place", "-64.5,-170.25", "--time", "2026-12-21T00:00:00-11:00")],
)  # fmt: skip
def test_no_line_is_wider_than_a_terminal_of_80_columns(arguments, state):
    done = run(*arguments, "--state", state)
    assert done.exit_code == 0
    assert max(map(len, done.output.splitlines())) <= 79


def test_the_lines_for_a_recipe_carry_the_state():
    done = run("20", "--state", "hazy")
    lines = done.output.split("In a recipe:\n\n")[1].split("\n\n")[0]
    table = tomlkit.parse(lines).unwrap()["moods"]["NAME"]["daylight"]
    assert Daylight(**table).state == "hazy"


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("10", "--place", "1,2"), "either an altitude, or --place and --time"),
        (("--place", "48,16"), "--place and --time go together"),
        (("--place", "48;16", "--time", "2026-01-01T10:00:00Z"), "such as 48.21,16.37"),
        (("--place", "48,1600", "--time", "2026-01-01T10:00:00Z"), "such as 48.21,16.37"),
        (("--place", "48,16", "--time", "2026-01-01T10:00:00"), "offset from UTC"),
        (("--place", "48,16", "--time", "noon"), "offset from UTC"),
        (("--rendered", "-5", "20"), "below the horizon gives no light"),
        (("91",), "not in the range"),
        (("--nonsense",), "No such option"),
    ],
)
def test_what_cannot_be_is_refused(arguments, message):
    done = run(*arguments)
    assert done.exit_code == 2
    assert message in done.output
