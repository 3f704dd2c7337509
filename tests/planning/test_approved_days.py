"""The days whose doses are part of an approval."""

from dataclasses import replace
from datetime import date, timedelta

import pytest

from slackwater.planning.days import approved_days
from slackwater.planning.timetable import dose_table_lines
from tests.planning.plans import BERLIN, STARTS, line, machine, plan

# Clock changes of 2026 and 2027 from the tz database (2026a): Berlin on the last
# Sundays of March and October, St John's on the second of March and first of November,
# Lord Howe (half an hour, southern summer) on the first Sundays of April and October.
CHANGES = {
    "Europe/Berlin": (date(2026, 3, 29), date(2026, 10, 25)),
    "America/St_Johns": (date(2026, 3, 8), date(2026, 11, 1)),
    "Australia/Lord_Howe": (date(2026, 4, 5), date(2026, 10, 4)),
}


@pytest.mark.parametrize("zone", CHANGES)
def test_holds_a_month_and_the_next_change_each_way(zone: str) -> None:
    """Thirty days from the start, and three around each of two clock changes."""
    found = approved_days(plan(line()), machine(zone))
    month = {STARTS + timedelta(days=number) for number in range(30)}
    around = {
        changed + timedelta(days=offset)
        for changed in CHANGES[zone]
        for offset in (-1, 0, 1)
    }
    assert tuple(sorted(month | around)) == found


def test_a_zone_without_changes_adds_nothing() -> None:
    """In UTC the month stands alone."""
    assert 30 == len(approved_days(plan(line()), machine("UTC")))


def test_zones_of_tanks_without_lines_do_not_count() -> None:
    """What is not dosed needs no table."""
    with_idle = machine("UTC", other_zone=BERLIN)
    assert 30 == len(approved_days(plan(line()), with_idle))


def test_no_day_before_the_start() -> None:
    """A plan that starts on the day of a change has no day before it."""
    begun = replace(plan(line()), starts=date(2026, 3, 29))
    assert date(2026, 3, 29) == min(approved_days(begun, machine()))


def test_another_zone_makes_another_table() -> None:
    """The table of doses moves with the zone, so the digest does as well."""
    tables = [
        list(dose_table_lines(plan(line()), made, approved_days(plan(line()), made)))
        for made in (machine("Europe/Berlin"), machine("Europe/Lisbon"))
    ]
    assert tables[0] != tables[1]
