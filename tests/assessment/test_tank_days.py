"""Days that are told are the tank's: whoever lives far from Greenwich reads their own.

Source: tz database; Auckland is 12 h ahead of UTC in June, Los Angeles 7 h behind it.
All else is invented.
"""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest

from slackwater.assessment.assess import assess
from slackwater.assessment.notices import notices
from slackwater.assessment.picture import Picture
from slackwater.assessment.tank_days import day_at_tank
from slackwater.assessment.testing import advice_to_test, missing_tests
from slackwater.facts.tank import Machine
from tests.assessment.past import DKH, NOW, history, machine, measured
from tests.assessment.pictures import drops, picture, stands

WEST, EAST = "America/Los_Angeles", "Pacific/Auckland"
# 21:00 of 31 May on the west coast: the first of June by UTC.
LATE = datetime(2026, 6, 1, 4, tzinfo=UTC)


def _at(zone: str) -> Machine:
    made = machine()
    return replace(made, tanks={"reef": replace(made.tanks["reef"], zone=zone)})


@pytest.mark.parametrize(
    ("zone", "day"),
    [(WEST, date(2026, 5, 31)), ("UTC", date(2026, 6, 1)), (EAST, date(2026, 6, 1))],
    ids=["west", "utc", "east"],
)
def test_the_calendar_beside_the_tank(zone: str, day: date) -> None:
    """One moment is three dates."""
    assert day_at_tank(_at(zone).tanks["reef"], LATE) == day


def test_what_is_due_today_in_the_east_was_not_due_yesterday() -> None:
    """Eight in the morning of 2 June there; by UTC it is still the first."""
    # A task due by UTC's date would be overdue, with its alarm, as soon as it was set.
    assert date(2026, 6, 1) == NOW.date()
    found = missing_tests(picture({"alkalinity": None}, made=_at(EAST)))
    assert {one.due_on for one in found if one.parameter == "alkalinity"} == {
        date(2026, 6, 2)
    }


def test_what_is_due_in_days_counts_from_the_day_at_the_tank() -> None:
    """Today, and a week on."""
    looked = picture(made=_at(EAST))
    assert (looked.today, looked.due(7)) == (date(2026, 6, 2), date(2026, 6, 9))


def _evening(last: str) -> Picture:
    series = drops("alkalinity", 8.2 * DKH, 9.9 * DKH, last=last)
    points = (series.points[0], replace(series.points[1], at=LATE))
    return picture(
        made=_at(WEST),
        series={"alkalinity": (replace(series, points=points),)},
    )


def test_a_retest_names_the_evening_by_its_own_date() -> None:
    """What waits for a second test."""
    told = [one.text for one in advice_to_test(_evening("held"))]
    assert any("the result of 2026-05-31 does not fit" in text for text in told)


def test_an_outlier_is_told_by_the_date_at_the_tank() -> None:
    """What stands out."""
    told = [one.text for one in notices(_evening("outlier")) if one.code == "outliers"]
    assert told
    assert all(text.endswith("the newest on 2026-05-31") for text in told)


def test_a_test_that_counts_until_a_day_says_that_day() -> None:
    """What is still young."""
    made = stands("nitrate", 5.0, sampled_at=LATE, age_days=6.5)
    in_time = LATE + timedelta(days=6.5)
    looked = picture(made=_at(WEST), standings=[made], now=in_time)
    (one,) = (one for one in missing_tests(looked) if one.parameter == "nitrate")
    assert "counts until 2026-06-07" in one.text
    assert one.due_on == date(2026, 6, 7)


def test_the_newest_test_above_the_bound_is_told_by_the_date_at_the_tank() -> None:
    """What is too high."""
    past = history(measured("alkalinity", 12.5 * DKH, (NOW - LATE) / timedelta(days=1)))
    found = assess(past, _at(WEST), "reef", NOW)
    (why, *_) = found.standings["alkalinity"].why
    assert "of 2026-05-31, is above" in why
