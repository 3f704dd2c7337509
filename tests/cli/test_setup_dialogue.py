"""`setup` with a person who makes mistakes: each costs one answer."""

import re
from collections.abc import Sequence
from pathlib import Path

import pytest

from slackwater.outside.settings import read_machine, read_plan
from tests.cli.run_program import Outcome, run
from tests.cli.stage import Stage
from tests.cli.terminal import COLUMNS, at_a_terminal
from tests.cli.test_setup import (
    ANSWERS,
    CALCIUM,
    CARBONATE,
    FIGURES,
    HEAD,
    NODE,
    WATER,
    dialogue,
    nothing_is_there,
    setup,
)

AGAIN = "Once more, please."
SODA = "Na2CO3, anhydrous, 100 g/L, 99 %"
# Each answer that is refused, before the one that is taken.
SLIPS = {
    "site": (0, "my place", "home"),
    "tank": (1, "Reef Tank!", "reef"),
    "water": (2, "200", "200 L"),
    "zone": (3, "Berlin", "Europe/Berlin"),
    "level": (4, "8", "8.0 dKH"),
    "node": (5, "shelf/+", "shelf"),
    "limit": (6, "80", "80 mL"),
    "run": (7, "30", "30 s"),
    "port": (8, "localhost:xyz", "localhost:1883"),
    "broker": (8, "x", "localhost:1883"),
    "pump": (10, "So da", "carbonate"),
    "recipe": (12, "Na2CO3", SODA),
    "bottle": (13, "2", "2 L"),
    "flow": (14, "30 mL", "30 mL/min"),
    "smallest": (15, "0,5 mL", "0.5 mL"),
    "largest": (16, "0.1 mL", "4 mL"),
    "day": (17, "50 ML", "50 mL"),
    "plan": (18, "a lot", "36 mL"),
    "dosed": (19, "nothing", "0 mL"),
    "more dosed than a bottle": (19, "5 L", "0 mL"),
}
RIGHT = [*HEAD, *NODE, *CARBONATE, "n", "1.0 dKH/day", "0.8 dKH/day", "", ""]


@pytest.mark.parametrize("slip", SLIPS)
def test_a_slip_costs_one_answer(tmp_path: Path, slip: str) -> None:
    """What is wrong is told at once, and only that is asked for again."""
    place, wrong, right = SLIPS[slip]
    told = dialogue(tmp_path, *RIGHT[:place], wrong, right, *RIGHT[place + 1 :])
    assert 0 == told.code, told.err
    assert (1, 1) == (told.err.count(AGAIN), told.err.count("  expected  "))
    assert wrong in told.err


@pytest.mark.parametrize(
    ("wrong", "what"),
    [
        ("Na2CO3, anhydrous, 100,5 g/L, 99 %", '"100,5" has a decimal comma'),
        ("Na2CO3, anhydrous, 100 g/L, 99,5 %", '"99,5" has a decimal comma'),
        ("Na2CO3, anhydrous, 100,5 g/L", '"100,5" has a decimal comma'),
        ("CaCl2,2H2O, 139,5 g/L, 99 %", '"139,5" has a decimal comma'),
        ("alkalinity 0,05 dKH per mL in 100 L", '"0,05" has a decimal comma'),
        ("Na2CO3, anhydrous, 100 g/L", "has not four parts"),
        ("Na2CO3, 100 g/L, 99 %", "has not four parts"),
        ("MgCl2 6H2O, 100 g/L, 99 %", "has not four parts"),
        ("NaCl anhydrous, 100 g/L, 99 %", "has not four parts"),
        ("Na2CO3, anhydrous, 100 g/L, 99 %, new", "has not four parts"),
    ],
)
def test_one_mistake_in_a_recipe_is_one_finding(
    tmp_path: Path, wrong: str, what: str
) -> None:
    """A comma too many or a part too few is told as what it is, typed or in a file."""
    told = dialogue(tmp_path, *RIGHT[:12], wrong, *RIGHT[12:])
    assert 0 == told.code, told.err
    assert (1, 1) == (told.err.count(AGAIN), told.err.count("  expected  "))
    assert what in told.err
    way = "label = { alkalinity =" if " per " in wrong else "recipe ="
    figure = wrong.partition(" ")[2] + '" }' if " per " in wrong else wrong + '"'
    text = ANSWERS.replace(f'recipe = "{SODA}"', f'{way} "{figure}')
    (tmp_path / "filed").mkdir()
    filed = setup(tmp_path / "filed", text, "--json")
    assert (2, 1) == (filed.code, len(filed.errors))


def test_four_figures_of_a_label_are_no_recipe(tmp_path: Path) -> None:
    """Nor is the crystal water behind a comma a decimal place."""
    label = "calcium 1 mg/mL, magnesium 2 mg/mL, potassium 1 mg/mL, bromide 1 mg/mL"
    for typed in (label, "CaCl2,2H2O, 139 g/L, 99 %"):
        told = dialogue(tmp_path, *RIGHT[:12], typed, *RIGHT[13:14])
        assert AGAIN not in told.err


def test_a_broker_is_a_host_and_a_port(tmp_path: Path) -> None:
    """What was typed is quoted, and what is expected has one form."""
    told = dialogue(tmp_path, *RIGHT[:8], "x", *RIGHT[8:])
    assert 0 == told.code, told.err
    assert 'found     "x"' in told.err
    assert "expected  HOST:PORT, like localhost:1883" in told.err


def test_nothing_typed_is_told_that_an_answer_is_wanted(tmp_path: Path) -> None:
    """Where nothing stands in brackets; the same question comes again."""
    told = dialogue(tmp_path, *RIGHT[:2], "", " ", *RIGHT[2:])
    assert 0 == told.code, told.err
    assert 2 == told.err.count("An answer is wanted: type one as the question shows.")
    assert 3 == told.err.count("Its water, rock and sand taken off")


def test_a_plan_beyond_the_day_just_typed_names_both(tmp_path: Path) -> None:
    """Told where it is asked, not by a check afterwards."""
    told = dialogue(tmp_path, *RIGHT[:18], "60 mL", *RIGHT[18:])
    assert 0 == told.code, told.err
    assert "found     60 mL a day" in told.err
    assert "expected  at most 50 mL, the most it may give in a day" in told.err


def test_a_second_pump_of_one_name_is_asked_again(tmp_path: Path) -> None:
    """Before anything else is asked about it."""
    words = [*HEAD, *NODE, *CARBONATE, "y", "carbonate", *CALCIUM, "n", *WATER]
    told = dialogue(tmp_path, *words)
    assert 0 == told.code, told.err
    assert "there is a pump carbonate already" in told.err
    assert 1 == told.err.count(AGAIN)


def test_uptake_is_asked_for_in_its_unit(tmp_path: Path) -> None:
    """An example says that it is a rate; a level is asked about once more."""
    words = [*HEAD, *NODE, *CARBONATE, "y", *CALCIUM, "n", "1.0 dKH", "", *WATER]
    told = dialogue(tmp_path, *words)
    assert 0 == told.code, told.err
    assert "What the tank uses of alkalinity, best estimate like 1.0 dKH/day" in (
        told.err
    )
    assert 1 == told.err.count(AGAIN)


@pytest.mark.parametrize("first", ["calcium", "carbonate"])
def test_alkalinity_is_dosed_by_night(tmp_path: Path, first: str) -> None:
    """Whichever pump was told of first, and whatever their names are."""
    pumps = {"carbonate": CARBONATE, "calcium": CALCIUM}
    one, other = pumps.pop(first), *pumps.values()
    told = dialogue(tmp_path, *HEAD, *NODE, *one, "y", *other, "n", *WATER)
    assert 0 == told.code, told.err
    config = tmp_path / "config"
    lines = read_plan(config, read_machine(config)).lines
    begins = {
        line.solution: max(window.start_minute for window in line.windows)
        for line in lines
    }
    assert {"carbonate": 20 * 60, "calcium": 8 * 60} == begins


def test_pumps_stand_in_the_order_in_which_they_were_told(tmp_path: Path) -> None:
    """Where none moves alkalinity nothing is put before another."""
    none = ["", "none", *FIGURES, "0 mL"]
    words = [*HEAD, *NODE, "zinc", *none, "y", "boron", *none, "n"]
    told = dialogue(tmp_path, *words)
    assert 0 == told.code, told.err
    plan = (tmp_path / "config" / "plan.toml").read_text("utf-8")
    assert plan.index('id = "zinc"') < plan.index('id = "boron"')


def test_what_comes_next_can_be_typed_as_it_stands(tmp_path: Path) -> None:
    """Each step names the directories where they are not the usual ones."""
    steps = setup(tmp_path, ANSWERS, "--json").document["next"]
    assert isinstance(steps, list)
    places = f"--config {tmp_path / 'config'} --state {tmp_path / 'state'}"
    assert [f"slackwater {places} check"] == [s for s in steps if s.endswith("check")]
    assert all(places in step for step in steps if step.startswith("slackwater"))


def test_one_thing_to_mend_is_one(tmp_path: Path) -> None:
    """Not "1 things"."""
    tight = ANSWERS.replace('net_rise = "0.5 dKH/day"', 'net_rise = "0.01 dKH/day"')
    told = setup(tmp_path, tight)
    assert 1 == told.code
    assert "A check finds one thing to mend first:" in told.out


def elsewhere(folder: Path, config: Path, state: Path) -> Outcome:
    """Run `setup` with these places and nobody to answer."""
    del folder
    return run("setup", "--json", "--config", config, "--state", state, typed="")


def test_a_place_that_cannot_be_made_is_refused_before_a_question(
    tmp_path: Path,
) -> None:
    """A dozen answers are not asked for what cannot be written."""
    far = tmp_path / "no" / "where"
    for places in ((far, tmp_path / "s"), (tmp_path / "c", far)):
        told = elsewhere(tmp_path, *places)
        assert 2 == told.code
        assert str(far) == told.errors[0]["where"]
        assert "Name of this place" not in told.err
    assert nothing_is_there(tmp_path)


def test_a_narrow_terminal_breaks_no_word(tmp_path: Path) -> None:
    """60 columns: questions and errors go on below, between their words."""
    places = ("--config", str(tmp_path / "c"), "--state", str(tmp_path / "s"))
    words = [*RIGHT[:2], "200", *RIGHT[2:]]
    screen = at_a_terminal(("setup", *places), "\n".join(words) + "\n")
    lines = screen.split("\n")
    at = next(n for n, line in enumerate(lines) if line.startswith("  expected"))
    told = lines[at : at + 2]
    assert max(map(len, told)) <= COLUMNS
    assert told[1].startswith(" " * 12 + "ml, L, ")


@pytest.mark.parametrize("recipe", [SODA, "alkalinity 0.05 dKH per mL in 100 L"])
def test_answers_like_the_examples_come_to_a_plan_that_is_sound(
    tmp_path: Path, recipe: str
) -> None:
    """Each question's own example, and an uptake nobody knows: nothing to mend."""
    first = tmp_path / "first"
    first.mkdir()
    asked = dialogue(first, *RIGHT).err
    water, zone, level, limit, longest, *pump = re.findall(r"like ([^:,]+)[:,]", asked)
    told = dialogue(
        tmp_path,
        *("", "", water, zone, level, "", limit, longest, "", "n"),
        *("carbonate", "", recipe, *pump[: len(FIGURES) + 1], "n"),
        *("", "", ""),
    )
    assert (0, False) == (told.code, "to mend first" in told.out), told.out
    assert 0 == Stage(tmp_path / "config", tmp_path / "state").run("check").code


def told_again(folder: Path, answers: Sequence[str]) -> Outcome:
    """A dialogue in which answers were refused: it ends well, and a check is clean."""
    told = dialogue(folder, *answers)
    assert (0, False) == (told.code, "to mend first" in told.out), told.err + told.out
    assert 0 == Stage(folder / "config", folder / "state").run("check").code
    return told


# The limits of node and pump, an amount a day beyond one of them, and what is said.
UNFIT = {
    "the node's day": (("120 mL", "60 s", "80 mL", "900 mL"), "900 mL", "36 mL"),
    "the node's 25 hours": (("40 mL", "30 s", "4 mL", "50 mL"), "36 mL", "24 mL"),
    "one run": (("80 mL", "1 s", "4 mL", "50 mL"), "36 mL", "6 mL"),
    "one dose": (("80 mL", "30 s", "2 mL", "50 mL"), "36 mL", "24 mL"),
    "the smallest dose": (("80 mL", "30 s", "4 mL", "50 mL"), "3 mL", "12 mL"),
}
REASONS = {
    "the node's day": "at most 120 mL, the node's own limit a day and channel",
    "the node's 25 hours": "at most 40 mL, what [node.shelf] day_limit allows",
    "one run": "a dose of 3 mL is more than one run can give",
    "one dose": "at most 2 mL, what [pump.carbonate] most_per_dose allows",
    "the smallest dose": "at least 500 µL, what carbonate gives reliably",
}


@pytest.mark.parametrize("why", UNFIT)
def test_an_amount_that_does_not_fit_is_told_when_it_is_given(
    tmp_path: Path, why: str
) -> None:
    """Not at the end: what limits it is named, and only the amount is asked again."""
    (limit, longest, dose, day), wrong, right = UNFIT[why]
    node = ["", limit, longest, "broker.example:8883", "n"]
    figures = ["2 L", "30 mL/min", "0.5 mL", dose, day]
    pump = ["carbonate", "", SODA, *figures, wrong, right, "0 mL"]
    told = told_again(tmp_path, [*HEAD, *node, *pump, "n", *RIGHT[-4:]])
    assert 1 == told.err.count(AGAIN)
    before, _, after = told.err.partition(AGAIN)
    assert " ".join(REASONS[why].split()) in " ".join(before.split())
    assert after.lstrip().startswith("What the first plan doses a day")


def test_all_that_speaks_against_an_amount_is_told_at_once(tmp_path: Path) -> None:
    """The day just allowed, the node's own limit, one dose and one run."""
    node = ["", "40 mL", "4 s", "broker.example:8883", "n"]
    figures = ["2 L", "30 mL/min", "0.5 mL", "2 mL", "50 mL", "60 mL", "12 mL"]
    words = [*HEAD, *node, "carbonate", "", SODA, *figures, "0 mL", "n", "", "", ""]
    told = told_again(tmp_path, words)
    first = told.err.partition(AGAIN)[0]
    for reason in ("at most 50 mL", "at most 40 mL", "at most 2 mL a run"):
        assert reason in first
    assert 1 == told.err.count(AGAIN)


def test_a_plan_of_no_line_is_told_when_it_is_answered(tmp_path: Path) -> None:
    """Not when all else about the pump was typed."""
    words = [*RIGHT[:18], "none", *RIGHT[18:]]
    told = told_again(tmp_path, words)
    assert "no pump has an amount for the first plan" in told.err
    assert 1 == told.err.count(AGAIN)


def test_a_second_pump_beyond_what_is_left_of_a_node_is_asked_again(
    tmp_path: Path,
) -> None:
    """The plan as it stands by then is judged, none is no amount of it."""
    second = ["calcium", "", "calcium 18 mg/mL", "2 L", "30 mL/min", "0.5 mL", "2 mL"]
    words = [*HEAD, *NODE, *CARBONATE, "y", *second, "50 mL", "36 mL", "none", "0 mL"]
    told = told_again(tmp_path, [*words, "n", *RIGHT[-4:-2], "", "", ""])
    assert "what [pump.calcium] most_per_dose allows" in told.err


@pytest.mark.parametrize(
    ("slip", "word"),
    [
        (("0.5 dKH/day", ""), "what [tank.reef.caps.alkalinity] gross allows"),
        (("", "0.01 dKH/day"), "what [tank.reef.caps.alkalinity] net_rise allows"),
    ],
)
def test_a_ceiling_below_the_plan_is_told_when_it_is_given(
    tmp_path: Path, slip: tuple[str, str], word: str
) -> None:
    """Asked again with the amount, for it may be the amount that is too much."""
    told = told_again(tmp_path, [*RIGHT[:-2], *slip, "", "1.8 dKH/day", "0.5 dKH/day"])
    assert word in " ".join(told.err.split())
    assert 1 == told.err.count(AGAIN)


def test_a_tank_too_small_for_its_plan_can_be_given_less(tmp_path: Path) -> None:
    """The ceilings that are suggested refuse the plan: less of it, and they fit."""
    words = [*RIGHT[:2], "40 L", *RIGHT[3:-2], "", "", "6 mL", "", ""]
    told = told_again(tmp_path, words)
    first = " ".join(told.err.partition(AGAIN)[0].split())
    assert "adds 1.964 dKH in its local day" in first
    assert "or a higher ceiling where you know" in first
    assert 1 == told.err.count(AGAIN)
    config = tmp_path / "config"
    (line,) = read_plan(config, read_machine(config)).lines
    assert 6_000 == line.per_day_ul


def test_a_pump_whose_limits_fit_no_amount_is_answered_anew(tmp_path: Path) -> None:
    """Twelve times the smallest dose is more than the day: no amount would do."""
    first = ["carbonate", "", SODA, "2 L", "30 mL/min", "1 mL", "4 mL", "10 mL"]
    words = [*HEAD, *NODE, *first, "10 mL", "12 mL", "anew", *CARBONATE, "n"]
    told = told_again(tmp_path, [*words, *RIGHT[-4:]])
    assert 2 == told.err.count(AGAIN)
    assert "type anew to answer anew about this pump" in " ".join(told.err.split())


def test_what_no_ceiling_allows_can_be_kept_and_mended_later(tmp_path: Path) -> None:
    """Offered when it was refused twice, and told once more at the end."""
    words = [*RIGHT[:2], "10 L", *RIGHT[3:-2], "", "", "6 mL", "", "", "y"]
    told = dialogue(tmp_path, *words)
    assert 1 == told.code
    assert 1 == told.err.count("Keep it so, and mend it in the files later?")
    assert "to mend first" in told.out
