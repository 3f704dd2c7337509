"""What may break in: tests that are wrong, jumps of the uptake, steps of the level."""

from dataclasses import replace
from random import Random

import pytest

from slackwater.water.uptake_belief import Reading
from slackwater.water.uptake_filter import estimated
from tests.water.estimates import DOUBTING, follow, steadily, tank


def test_a_lone_gross_reading_is_held() -> None:
    """It moves nothing, and a retest is asked for by its place."""
    tests = tank([1.2] * 12, 2)
    odd = [*tests[:8], replace(tests[8], level=9.5), *tests[9:]]
    found, clean = follow(odd), follow([*tests[:8], *tests[9:]])
    assert (8,) == found.held
    assert found.surprises[7].squared > 12
    assert pytest.approx(clean.belief.uptake, abs=0.01) == found.belief.uptake


def test_a_confirmed_reading_is_taken_with_the_uptake_set_free() -> None:
    """Two readings that say the same are right, and the uptake is less certain."""
    tests = tank([1.2] * 8, 3)
    fallen = [replace(tests[8], day=n, level=tests[8].level - 1.5) for n in (9.0, 9.2)]
    first, both = (
        follow([*tests, fallen[0]], days=10),
        follow([*tests, *fallen], days=10),
    )
    assert (9,) == first.held
    assert () == both.held
    assert both.belief.level < tests[8].level - 0.8
    assert both.belief.uptake_sd > first.belief.uptake_sd


def test_a_reading_that_something_else_refutes_is_not_confirmed_later() -> None:
    """Only the very next test is its retest."""
    tests = tank([1.2] * 9, 4)
    odd = [
        *tests[:7],
        replace(tests[7], level=9.6),
        tests[8],
        replace(tests[9], level=9.6),
    ]
    assert (7, 9) == follow(odd).held


def test_two_odd_readings_that_differ_stay_held() -> None:
    """One far up and one far down confirm nothing."""
    tests = tank([1.2] * 9, 5)
    odd = [*tests[:8], replace(tests[8], level=9.9), replace(tests[9], level=6.0)]
    assert (8, 9) == follow(odd).held


def test_readings_that_leave_further_with_time_confirm_an_uptake_that_jumped() -> None:
    """The second lies further off than the first, as much as the time is longer."""
    tests = tank([1.2] * 8, 6)
    level = tests[8].level
    off = [
        replace(tests[8], day=12.0, level=level - 2.5),
        replace(tests[8], day=16.0, level=level - 5.0),
    ]
    found = follow([*tests, *off], days=16)
    assert () == found.held
    assert found.belief.uptake > 1.5
    assert pytest.approx(level - 5.0, abs=0.3) == found.belief.level


def test_an_uptake_that_jumped_is_found_within_a_few_tests() -> None:
    """A third more from the fortieth day on, tested daily: old news after five."""
    tests = tank([1.2] * 40 + [1.6] * 5, 8)
    found = follow(tests, days=45)
    assert pytest.approx(1.6, abs=0.12) == found.belief.uptake
    assert 37 <= found.since <= 41
    assert () == found.held


def test_a_level_that_stepped_is_no_uptake() -> None:
    """Something nobody wrote down lifted it by 1.5, once."""
    tests = tank([1.2] * 30, 9)
    lifted = [
        replace(one, level=one.level + (1.5 if one.day > 20 else 0)) for one in tests
    ]
    found = follow(lifted, days=30)
    assert pytest.approx(1.2, abs=0.06) == found.belief.uptake
    assert 20 == found.since
    assert () == found.held


def test_the_newest_test_is_doubted_sooner_than_an_old_one() -> None:
    """Three errors off: another test is asked for, and settles it."""
    tests = tank([1.2] * 20, 10)
    level = follow(tests[:20], days=19).belief.level
    odd = replace(tests[20], level=level + 0.4)
    assert (20,) == follow([*tests[:20], odd], days=20).held
    again = replace(tests[20], day=20.5, level=level + 0.2)
    assert () == follow([*tests[:20], odd, again], days=21).held


def test_two_tests_cannot_gainsay_each_other() -> None:
    """However far apart: only a third one tells which is wrong."""
    tests = [Reading(day=0.0, level=8.0, sd=0.1), Reading(day=9.0, level=10.0, sd=0.1)]
    assert () == follow(tests, days=9).held


def test_nothing_that_happened_is_forgotten_in_the_error() -> None:
    """Just after a jump the interval is wider than before it."""
    calm, jumped = tank([1.2] * 40, 11), tank([1.2] * 38 + [1.7] * 2, 11)
    before, after = follow(calm, days=40), follow(jumped, days=40)
    assert after.belief.uptake_sd > 1.5 * before.belief.uptake_sd


def broken_into(seed: int) -> tuple[list[Reading], float]:
    """Forty tests of a tank in which all that may break in does, and its uptake."""
    chance = Random(seed)  # noqa: S311 - a simulation, no secret
    level, uptake, tests = 8.0, 1.2, []
    for day in range(40):
        slip = chance.gauss(0, 1.5) if chance.random() < 0.05 else 0.0
        tests.append(
            Reading(day=day, level=level + slip + chance.gauss(0, 0.15), sd=0.15)
        )
        uptake += chance.gauss(0, 0.01)
        uptake += uptake * chance.gauss(0, 0.3) if chance.random() < 0.01 else 0.0
        level += chance.gauss(0, 1.0) if chance.random() < 0.0025 else 0.0
        level += 1.2 - uptake
    return tests, uptake


def test_the_interval_holds_where_things_break_in() -> None:
    """A hundred simulated tanks with jumps, steps and slips, 90 percent."""
    held = 0
    for seed in range(100):
        tests, uptake = broken_into(seed)
        changes = steadily(1.2, 40)
        found = estimated(tests, changes, DOUBTING, now_day=40.0)
        low, high = found.now.uptake_interval(0.90)
        held += low <= uptake <= high
    assert 84 <= held <= 97


def test_clean_tests_are_rarely_held() -> None:
    """A hundred simulated tanks of 20 tests: one in two thousand by chance."""
    found = (follow(tank([1.2] * 20, seed), days=20, parts=4) for seed in range(100))
    assert sum(len(one.held) for one in found) <= 4
