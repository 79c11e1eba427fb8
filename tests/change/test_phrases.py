"""The grammar of changes, form by form; what is none of them is quoted, and nothing is guessed."""

from __future__ import annotations

import re

import pytest

from evenfall.change.phrases import KNOWN, folded, parse_commands, split_subject
from evenfall.change.subjects import read_phrases
from evenfall.develop.example import example_recipe
from evenfall.recipe.recipe import load_text


@pytest.mark.parametrize(
    ("text", "kind", "size"),
    [
        ("+1/3", "add", 1 / 3),
        ("up 1 1/2 stops", "add", 1.5),
        ("-2", "add", -2),
        ("\u22121/3", "add", -1 / 3),
        ("down 2", "add", -2),
        ("Down 0.5", "add", -0.5),
        ("x1.5", "times", 1.5),
        ("\u00d7 0.5", "times", 0.5),
        ("= -1", "set", -1),
        ("= +1 1/3", "set", 4 / 3),
        ("=2", "set", 2),
        ("1200 lm", "lumens", 1200),
        ("1200lm", "lumens", 1200),
        ("900 cd", "candela", 900),
        ("9 W at 90 lm/W", "watts", 9),
        ("on", "on", 0),
        ("OFF", "off", 0),
        ("2700 K", "kelvin", 2700),
        ("2700k", "kelvin", 2700),
        ("warmer 20", "mired", 20),
        ("cooler 20 mired", "mired", -20),
    ],
)
def test_every_form(text: str, kind: str, size: float) -> None:
    name, rest = split_subject(f"sky {text}", ["sky"])
    [command], faults = parse_commands(rest)
    assert (name, faults) == ("sky", [])
    assert command.kind == kind
    assert command.size == pytest.approx(size)


def test_a_ratio_keeps_its_numbers_and_the_other_light() -> None:
    [command], _ = parse_commands("4:1 to garden lamp")
    assert (command.kind, command.ratio, command.name) == ("ratio", "4:1", "garden lamp")


@pytest.mark.parametrize("text", KNOWN)
def test_every_example_that_messages_give_is_understood(text: str) -> None:
    assert parse_commands(text)[1] == []


@pytest.mark.parametrize(
    ("text", "hint"),
    [
        ("brighter", 'the nearest that is known is "up 1/3"'),
        ("a bit darker", 'the nearest that is known is "down 1/3"'),
        ("redder", 'the nearest that is known is "warmer 20"'),
        ("brighter by 2/3", 'the nearest that is known is "up 2/3"'),
        ("1/3 up", 'the nearest that is known is "up 1/3"'),
        ("30 mired warmer", 'the nearest that is known is "warmer 30"'),
        ("to 2700 K please", 'the nearest that is known is "2700 K"'),
        ("half", 'the nearest that is known is "x0.5"'),
        ("+1/3 2700 K", 'commands have commas between them: "+1/3, 2700 K"'),
        ("+20 %", 'a share is said as a factor: "x1.2"'),
        ("-20%", 'a share is said as a factor: "x0.8"'),
        ("50%", 'a share is said as a factor: "x0.5"'),
        ("10% brighter", 'the nearest that is known is "x1.1"'),
        ("down by 20 per cent", 'the nearest that is known is "x0.8"'),
        ("10% off", 'the nearest that is known is "x0.9"'),
        ("100% darker", 'the nearest that is known is "off"'),
        ("150% darker", f"known are {', '.join(KNOWN)}"),
        ("+1 EV", 'stops are written "+1"'),
        ("2 EV", 'stops are written "up 2"'),
        ("1200 lumens", 'the nearest that is known is "1200 lm"'),
        ("300 lux", 'a light is told lumens, as in "1200 lm", or stops'),
        ("60 W", 'say how many lumens a watt gives: "60 W at 90 lm/W"'),
        ("2700", 'the nearest that is known is "2700 K"'),
        ("2700 kelvin", 'the nearest that is known is "2700 K"'),
        ("20 mired", 'the nearest that is known is "warmer 20"'),
        ("= 1200 lm", 'the nearest that is known is "1200 lm"'),
        ("+1200 lm", 'the nearest that is known is "1200 lm"'),
        ("= 2700 K", 'the nearest that is known is "2700 K"'),
        ("warmer -20", 'the nearest that is known is "cooler 20"'),
        ("down -1/2", 'the nearest that is known is "up 1/2"'),
        ("300 cd/m2", 'a light is told lumens, as in "1200 lm", or stops'),
        ("2", 'say "up 2" from where it stands, or "= 2"'),
        ("warmr 20", 'the nearest that is known is "warmer 20"'),
        ("upp", 'the nearest that is known is "up 1/3"'),
        ("+0,5", 'numbers have a decimal point: "+0.5"'),
        ("x0", "say off"),
        ("+1/0", "write them as in +1 1/3"),
        ("4:0 to sun", "both numbers are above 0, as in 4:1 to sun"),
        ("purple", f"known are {', '.join(KNOWN)}"),
        ("", f"known are {', '.join(KNOWN)}"),
    ],
)
def test_what_is_not_understood_is_quoted_with_the_nearest(text: str, hint: str) -> None:
    commands, [fault] = parse_commands(text)
    assert commands == []
    assert fault.hint == hint
    assert not text or f'"{text}"' in fault.found or "0,5" in fault.found


def test_several_commands_have_commas_between_them() -> None:
    commands, faults = parse_commands("+1/3,2700 K")
    assert [command.kind for command in commands] == ["add", "kelvin"]
    assert faults == []


@pytest.mark.parametrize(
    ("text", "split"),
    [
        ("lamp 2 +1/3", ("lamp 2", "+1/3")),
        ("LAMP_2 off", ("lamp 2", "off")),
        ("lamp +1", ("lamp", "+1")),
        ("lamps +1", ("", "lamps")),
        ("  lamp   up 1", ("lamp", "up 1")),
        ("lamp", ("lamp", "")),
        ("off", ("", "")),
    ],
)
def test_the_longest_known_name_is_the_subject(text: str, split: tuple[str, str]) -> None:
    assert split_subject(text, ["lamp", "lamp 2"]) == split


def test_names_are_folded() -> None:
    assert folded(" Garden_Lamp ") == "garden lamp"


@pytest.mark.parametrize(
    ("phrase", "meant"),
    [
        ("turn off the sky", "sky off"),
        ("2700 K lamp", "lamp 2700 K"),
        ("make the lamp half a stop brighter", "lamp up 1/2"),
        ("the lmap a third brighter", "lamp up 1/3"),
        ("everything a stop darker", "exposure down 1"),
        ("no sun", "sun off"),
    ],
)
def test_a_phrase_in_another_order_is_offered_as_it_would_be_understood(
    phrase: str, meant: str
) -> None:
    orders, faults = read_phrases(example_recipe(), [phrase])
    assert orders == []
    assert faults[0].hint == f'did you mean "{meant}"?'
    assert read_phrases(example_recipe(), [meant])[1] == []


@pytest.mark.parametrize(
    ("phrase", "hint"),
    [
        ("10% brighter sky", 'did you mean "sky x1.1"?'),
        ("20% down", 'say of what, as in "sun x0.8"'),
        ("everything 10% brighter", 'did you mean "exposure up 0.14"?'),  # log2 1.1 is 0.1375
        ("exposure half", 'the nearest that is known is "down 1"'),
        ("exposure warmer", 'exposure takes "+1/3", "down 1/2" or "= -1"'),
        ("turn off exposure", 'say what happens to "exposure": exposure takes "+1/3"'),
        ("picture warmer", 'say of what, as in "sun warmer 20"'),
        ("white balance brighter", 'white balance takes "4300 K"'),
        ("white balance 2", 'white balance takes "4300 K"'),
        ("exposure 2700", 'exposure takes "+1/3"'),
        ("exposure 1200 lumens", 'exposure takes "+1/3"'),
        ("make lamp 4:1 to nothing", 'say what happens to "lamp": known are'),
        ("lamp -0,5", 'numbers have a decimal point: "-0.5"'),
    ],
)
def test_what_is_offered_is_what_the_subject_takes(phrase: str, hint: str) -> None:
    orders, [fault] = read_phrases(example_recipe(), [phrase])
    assert orders == []
    assert fault.hint.startswith(hint)


def test_more_stops_than_a_recipe_takes_are_refused_with_its_limits() -> None:
    orders, [fault] = read_phrases(example_recipe(), ["lamp -200"])
    assert "a light can be told; expected stops from -30 to 30" in str(fault), orders
    assert not read_phrases(example_recipe(), ["lamp -30", "sky = 30"])[1]


SAID = (
    *("brighter", "10% darker", "half", "off", "2700", "warmer", "3:1 to nobody", "2 stops"),
    *("60 W", "300 lux", "-0,5", "x0", "2700 K", "20 mired", "+1/3 2700 K", "900 candela"),
)


@pytest.mark.parametrize("said", SAID)
@pytest.mark.parametrize("subject", ["sky", "exposure", "white balance", "glare"])
def test_whatever_is_offered_is_understood(subject: str, said: str) -> None:
    """The parser that reads commands reads what it offers, before the name or behind it."""
    recipe = example_recipe()
    for phrase in (f"{subject} {said}", f"please make {subject} {said}", f"{said} {subject}"):
        for fault in read_phrases(recipe, [phrase])[1]:
            commands = fault.hint.removeprefix("say what happens to ").rpartition(": ")[2]
            for offered in re.findall('"([^"]*)"', commands):
                alone = read_phrases(recipe, [offered])[1]
                assert not alone or not read_phrases(recipe, [f"{subject} {offered}"])[1], phrase


def test_a_word_of_several_names_is_asked_back() -> None:
    text = example_recipe().text.replace("lamp", "floor_lamp") + (
        '[lights.table_lamp]\nfile = "lamp.exr"\n'
    )
    recipe = load_text(text, example_recipe().path, check_files=False)
    faults = read_phrases(recipe, ["lamp off"])[1]
    assert faults[0].hint == 'say which: "floor_lamp off" or "table_lamp off"'


@pytest.mark.parametrize(
    ("phrase", "hint"),
    [
        ("warmer inside", 'say of what, as in "lamps warmer 20"; known are sun, sky, lamp, lamps'),
        ("inside: a bit darker", 'say of what, as in "lamps down 1/3"; known are sun, sky'),
        ("the lamp should glow", f'say what happens to "lamp": known are {", ".join(KNOWN)}'),
        ("the fire should glow", "known are sun, sky, lamp, lamps, exposure"),
    ],
)
def test_what_lacks_a_name_or_a_command_is_told_which(phrase: str, hint: str) -> None:
    text = example_recipe().text + '\n[groups]\nlamps = ["lamp"]\n'
    recipe = load_text(text, example_recipe().path, check_files=False)
    orders, [fault] = read_phrases(recipe, [phrase])
    assert orders == []
    assert fault.hint.startswith(hint)
    assert fault.file == f'"{phrase}"'


def test_words_of_several_names_are_offered_with_the_command() -> None:
    text = example_recipe().text.replace("lamp", "floor_lamp") + (
        '[lights.table_lamp]\nfile = "lamp.exr"\n'
    )
    recipe = load_text(text, example_recipe().path, check_files=False)
    faults = read_phrases(recipe, ["lamps a bit brighter"])[1]
    assert faults[0].hint == 'say which: "floor_lamp up 1/3" or "table_lamp up 1/3"'
