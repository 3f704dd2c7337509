"""The swing detector on labelled series that share no code with it.

Goals: held within two hours, or four readings, of crossing half a dKH; no verdict on
clean days; what was told of holds nothing; faults of the probe are named. Series and
noise are invented; the plain rules beside them are what people do by hand.
"""

import ast
import random
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from slackwater.facts.fold import fold
from slackwater.gate.moment import Moment
from slackwater.gate.swings.hand_tests import judge_tests
from tests.gate.scene import machine, moment
from tests.gate.swing_runs import BEGINS, by_hand, said
from tests.gate.swing_series import announced, drifting, labelled, steady, swing
from tests.gate.swing_table import JUDGE, WHOLE, Table, parts_of, scored
from tests.gate.swing_tanks import Told, tank

DAY_MIN = 1440.0
# Goals in percent; the words with which rows of the table begin.
AT_LEAST = {
    "up >= 0.8 dKH within 2 h, 5-min probes": 99.0,
    "up >= 0.8 dKH within 4 readings, hourly titrators": 95.0,
    "frozen probe named": 95.0,
    "dying probe named": 95.0,
}
FALSE, FAST_SHARE = 0.5, 0.02


def rows(table: Table, words: str) -> Iterator[tuple[str, float, int]]:
    """Rows that begin with these words, narrow Vs left out: percent and count."""
    for row, cells in table.rows.items():
        if row.startswith(words) and not row.endswith("narrow V"):
            yield row, cells[JUDGE].percent, cells[JUDGE].of


def falls_short(table: Table) -> list[str]:
    """Rows that miss their goal by more than one case.

    Clean days are counted together, over all tanks and sources.
    """
    found = []
    for words, goal in AT_LEAST.items():
        for row, percent, of in rows(table, words):
            if percent < goal - 100 / max(of, 1):
                found.append(f"{row}: {percent:.2f} % of {of}")
    held = rows(table, "holds after")
    found += [f"{row}: {percent:.2f} % of {of}" for row, percent, of in held if percent]
    days = [(percent * of, of) for _, percent, of in rows(table, "false verdicts")]
    false = sum(share for share, _ in days) / sum(of for _, of in days)
    chance = 100 / sum(of for _, of in days)
    return [*found, f"false: {false:.2f} %"] if false > FALSE + chance else found


@pytest.mark.timeout(1800)
def test_a_part_of_the_labelled_set_reaches_the_goals(
    tell: Callable[[str], None],
) -> None:
    """Some series of each kind, by the judge alone; one case more or less is chance."""
    table = scored(parts_of(FAST_SHARE), {})
    for line in table.lines():
        tell(line)
    assert [] == falls_short(table)


@pytest.mark.long
@pytest.mark.timeout(7200)
def test_the_whole_labelled_set_reaches_the_goals(
    tell: Callable[[str], None],
) -> None:
    """Nearly three thousand series, beside a threshold, a rate and an oracle."""
    table = scored(parts_of(1.0))
    for line in (*table.lines(), *table.missed):
        tell(line)
    assert [] == falls_short(table)


@pytest.mark.parametrize("name", ["swing_tanks", "swing_series", "swing_rivals"])
def test_the_labelled_set_and_the_rivals_share_no_code_with_the_daemon(
    name: str,
) -> None:
    """They import nothing of it, and of the tests only each other."""
    source = (Path(__file__).parent / f"{name}.py").read_text()
    found = [
        node.module or ""
        for node in ast.walk(ast.parse(source))
        if isinstance(node, ast.ImportFrom)
    ]
    assert found
    own = [module for module in found if module.startswith(("slackwater", "tests"))]
    assert [] == [one for one in own if not one.startswith("tests.gate.swing_tanks")]


def test_equal_seeds_give_equal_series() -> None:
    """A series can be looked at again by its name alone."""
    one, same = (labelled(swing, 7, "probe") for _ in range(2))
    assert (one.readings, one.truth) == (same.readings, same.truth)
    assert one.readings != labelled(swing, 8, "probe").readings


@pytest.mark.parametrize("seed", range(3))
def test_h51_a_swing_is_found_while_two_pumps_exchange_water(seed: int) -> None:
    """A portion an hour, of water like the tank's: each probe is still judged."""
    made = swing(random.Random(seed), 60.0)  # noqa: S311 -- invented, no secret
    assert made.truth.size > 0.5
    portions = tuple(
        Told(what="portion", written=at + 1.0, at=float(at), rise=0.0)
        for at in range(0, int(made.readings[-1][0]), 60)
    )
    verdicts = said(replace(made, told=portions), made.truth.begins)
    assert "swing-up" in [one.name for one in verdicts]


def test_the_whole_set_is_as_large_and_as_wide_as_it_should_be() -> None:
    """More than 2 000 series, 500 steady tanks, 100 water changes told of."""
    assert 2000 <= sum(sum(counts) for counts in WHOLE.values())
    assert 500 <= sum(sum(WHOLE[kind][:2]) for kind in (steady, drifting))
    assert 100 <= sum(WHOLE[announced][:2])
    tanks = [tank(random.Random(seed), 5.0) for seed in range(300)]  # noqa: S311 -- invented
    for values, low, high in (
        ([one.uptake for one in tanks], 0.3, 4.0),
        ([one.cycle for one in tanks], 0.0, 0.4),
        ([one.noise for one in tanks], 0.03, 0.3),
    ):
        width = high - low
        assert low <= min(values) <= low + 0.05 * width
        assert high - 0.05 * width <= max(values) <= high


def levels_of(*levels_dkh: float) -> Moment:
    """A tank whose keeper tests once a day and doses what is used up: nothing else."""
    at = moment(machine())
    at.state.stage_since = BEGINS
    for day, level in enumerate(levels_dkh):
        fold(at.state, by_hand(day * DAY_MIN, level))
    return at


def steady_days(seed: int, days: int = 14) -> list[float]:
    """Levels of a steady tank with the noise of a kit."""
    chance = random.Random(seed)  # noqa: S311 -- invented tests, no secret
    return [8.0 + chance.gauss(0, 0.1) for _ in range(days)]


def test_few_hand_tests_say_too_little() -> None:
    """Four tests are no line yet."""
    at = levels_of(8.0, 8.1, 7.9, 8.0)
    assert "too-little" == judge_tests(at, "reef").name
    assert "too-little" == judge_tests(moment(machine()), "reef").name


@pytest.mark.parametrize("seed", range(30))
def test_hand_tests_of_a_steady_tank_stop_nothing(seed: int) -> None:
    """A kit's noise is no excess, on any of fourteen days."""
    levels = steady_days(seed)
    for days in range(1, len(levels) + 1):
        assert not judge_tests(levels_of(*levels[:days]), "reef").excess


@pytest.mark.parametrize("size_dkh", [1.2, 2.0])
def test_a_rise_that_a_retest_confirms_is_too_much(size_dkh: float) -> None:
    """One far test asks for another; the second one the same evening stops."""
    levels = steady_days(7)
    at = levels_of(*levels)
    day = len(levels) * DAY_MIN
    fold(at.state, by_hand(day, 8.0 + size_dkh))
    fold(at.state, by_hand(day + 120, 8.05 + size_dkh))
    assert judge_tests(at, "reef").excess


def test_a_fall_never_counts_as_too_much() -> None:
    """However deep and however often it is confirmed."""
    at = levels_of(*steady_days(3), 6.5, 6.4, 6.4)
    assert not judge_tests(at, "reef").excess


def test_replicates_are_one_test() -> None:
    """Five within half an hour are no line."""
    at = moment(machine())
    for number in range(5):
        fold(at.state, by_hand(number * 5.0, 8.0))
    assert "too-little" == judge_tests(at, "reef").name
