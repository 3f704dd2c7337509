"""Uptake beside what it was, and beside a second way of estimating it."""

from random import Random

import pytest

from slackwater.facts.history import History
from tests.assessment.past import DKH, deliveries, history, kept_tank, measured
from tests.assessment.test_uptakes import found_in, surely


def fallen_tank(after: float) -> History:
    """Uptake 1.5 until 12 days ago, another one since; daily tests, dose 1.2."""
    chance = Random(4)  # noqa: S311 -- a simulation, no secret
    tests, level = [], 8.2
    for back in range(40, -1, -1):
        tests.append(
            measured("alkalinity", (level + chance.gauss(0, 0.05)) * DKH, back)
        )
        level += 1.2 - (1.5 if back > 12 else after) * (level - 3) / 5.2
    return history(*tests, deliveries=deliveries({"alkalinity": 1.2 * DKH}, 41))


def test_a_fall_of_the_uptake_is_found() -> None:
    """From 1.5 to 1.0 within two weeks, both known to a few percent."""
    found = surely(found_in(fallen_tank(1.0)))
    assert found.fell
    assert found.before_per_day is not None
    before = 1.5 * (found.level / DKH - 3) / 5.2
    assert before * DKH == pytest.approx(found.before_per_day, rel=0.06)


def test_a_small_change_is_no_fall() -> None:
    """From 1.5 to 1.45."""
    found = surely(found_in(fallen_tank(1.45)))
    assert not found.fell
    assert found.before_per_day is not None


def test_what_was_not_known_cannot_have_fallen() -> None:
    """Ten days of tests have no uptake of two weeks ago."""
    assert None is surely(found_in(kept_tank(days=10))).before_per_day
    few = history(
        measured("alkalinity", 8 * DKH, 16),
        measured("alkalinity", 7.5 * DKH, 15),
        measured("alkalinity", 7.5 * DKH, 0),
        deliveries=deliveries({"alkalinity": DKH}, 17),
    )
    assert None is surely(found_in(few)).before_per_day


def drifting_tank() -> History:
    """A good test each day, and for two weeks two poor ones that drift away from it."""
    chance = Random(1)  # noqa: S311 -- a simulation, no secret
    tests = []
    for back in range(40, -1, -1):
        level = 8.2 + chance.gauss(0, 0.03)
        tests.append(measured("alkalinity", level * DKH, back, sd=0.05 * DKH))
    for third in range(1, 14 * 3):
        days = 14 - third / 3
        if third % 3:
            level = 8.2 + 0.1 * (7 - days) + chance.gauss(0, 0.03)
            tests.append(measured("alkalinity", level * DKH, days, sd=0.5 * DKH))
    return history(*tests, deliveries=deliveries({"alkalinity": 1.2 * DKH}, 41))


def test_two_ways_that_disagree_freeze_the_dose() -> None:
    """One goes by how good a test is said to be, the other by their number."""
    found = surely(found_in(drifting_tank()))
    assert found.frozen
    assert "two ways of estimating it disagree" in found.why_not


def growing_tank(percent_a_day: float) -> History:
    """A tank that grows day by day, tested daily and well."""
    chance = Random(2)  # noqa: S311 -- a simulation, no secret
    tests, level, uptake = [], 8.2, 1.2
    for back in range(40, -1, -1):
        tests.append(
            measured("alkalinity", (level + chance.gauss(0, 0.03)) * DKH, back)
        )
        level += 1.2 - uptake * (level - 3) / 5.2
        uptake *= 1 + percent_a_day / 100
    return history(*tests, deliveries=deliveries({"alkalinity": 1.2 * DKH}, 41))


@pytest.mark.parametrize("percent_a_day", [0.3, 1.0, 2.0])
def test_a_tank_that_grows_is_no_disagreement(percent_a_day: float) -> None:
    """The middle of two weeks is not today, and is not taken for it."""
    assert not surely(found_in(growing_tank(percent_a_day))).frozen


def test_what_broke_in_is_no_disagreement() -> None:
    """Before the level was lifted there is nothing to compare with: too few tests."""
    tests = []
    for back in range(40, -1, -1):
        level = 8.0 + 0.45 * max(4 - back, 0)
        tests.append(measured("alkalinity", level * DKH, back, sd=0.02 * DKH))
    past = history(*tests, deliveries=deliveries({"alkalinity": 1.2 * DKH}, 41))
    found = surely(found_in(past))
    assert not found.frozen
    assert found.check_per_day is None


def test_few_or_crowded_tests_have_no_second_estimate() -> None:
    """Five tests over seven days are needed."""
    few = surely(found_in(kept_tank(days=28, every=4.0)))
    crowded = surely(found_in(kept_tank(days=5, every=0.5)))
    assert (None, None) == (few.check_per_day, crowded.check_per_day)
