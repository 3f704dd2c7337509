"""Dosing days, and the days that stand for all days."""

from datetime import date, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from slackwater.facts.plan import PlanLine
from slackwater.planning.days import checked_days, doses_on
from tests.planning.plans import BERLIN, STARTS, line, plan

ONE_DAY = timedelta(days=1)


def dosing_days(one: PlanLine, days: int = 15) -> list[int]:
    """Offsets from the start of the days that a line doses on."""
    return [
        offset
        for offset in range(-3, days)
        if doses_on(one, STARTS, STARTS + offset * ONE_DAY)
    ]


@pytest.mark.parametrize(
    ("one", "expected"),
    [
        (line(), list(range(15))),
        (line(every_days=4), [0, 4, 8, 12]),
        # 5 January 2026 is a Monday (calendar fact, ISO 8601 week 2).
        (line(weekdays=("mon", "thu")), [0, 3, 7, 10, 14]),
        (line(weekdays=("sun",)), [6, 13]),
        (line(first_day=date(2026, 1, 7), last_day=date(2026, 1, 9)), [2, 3, 4]),
        (line(every_days=3, first_day=date(2026, 1, 7)), [3, 6, 9, 12]),
        (line(first_day=date(2025, 12, 1), last_day=STARTS), [0]),
    ],
)
def test_lines_dose_on_the_days_they_name(one: PlanLine, expected: list[int]) -> None:
    """Every so many days counts from the start; first and last day are inclusive."""
    assert expected == dosing_days(one)


def test_a_daily_line_is_checked_at_its_start_and_at_clock_changes() -> None:
    """Three days show all successions; each change of two years adds three."""
    days = checked_days(plan(line()), "reef", ZoneInfo(BERLIN))

    # Source: IANA tz database, last Sundays of March and October.
    changes = [
        date(2026, 3, 29),
        date(2026, 10, 25),
        date(2027, 3, 28),
        date(2027, 10, 31),
    ]
    around = [change + back * ONE_DAY for change in changes for back in (-1, 0, 1)]
    starts = [STARTS, STARTS + ONE_DAY, STARTS + 2 * ONE_DAY]

    assert (*starts, *around) == days


def test_a_zone_without_changes_adds_no_days() -> None:
    """UTC has days of 24 hours only."""
    days = checked_days(plan(line()), "reef", ZoneInfo("UTC"))

    assert days == (STARTS, STARTS + ONE_DAY, STARTS + 2 * ONE_DAY)


def test_h47_a_rare_meeting_of_lines_is_checked() -> None:
    """Lines of every 29 and every 31 days meet after 899 days for the first time."""
    later = STARTS + ONE_DAY
    rare = plan(
        line(every_days=29, first_day=later),
        line("calcium", every_days=31, first_day=later),
    )

    days = checked_days(rare, "reef", ZoneInfo("UTC"))

    assert [
        day
        for day in days
        if all(doses_on(one, rare.starts, day) for one in rare.lines)
    ] == [STARTS + 29 * 31 * ONE_DAY]


def test_first_and_last_days_are_checked_however_far_away() -> None:
    """A line that joins after years brings its own successions."""
    late = line("calcium", first_day=date(2031, 6, 1), last_day=date(2031, 6, 3))

    days = checked_days(plan(line(), late), "reef", ZoneInfo("UTC"))

    assert [date(2031, 6, number) for number in range(1, 6)] == [
        day for day in days if day.year == 2031
    ]


def test_days_without_a_dose_are_left_out() -> None:
    """A weekly line is checked on its days only."""
    days = checked_days(plan(line(weekdays=("wed",))), "reef", ZoneInfo("UTC"))

    assert (date(2026, 1, 7),) == days


def test_lines_of_other_tanks_do_not_count() -> None:
    """A tank is checked for its own lines."""
    mixed = plan(line(every_days=2), line("calcium", tank="lagoon"))

    days = checked_days(mixed, "reef", ZoneInfo("UTC"))

    assert days == (STARTS, STARTS + 2 * ONE_DAY)


@given(
    cycles=st.lists(st.integers(1, 9), min_size=1, max_size=4),
    last=st.integers(0, 40),
)
@settings(deadline=None)
def test_every_succession_of_three_days_is_among_the_checked(
    cycles: list[int], last: int
) -> None:
    """What any day of two hundred does has a checked day that does the same."""
    lines = [
        line(id=f"l{number}", every_days=cycle) for number, cycle in enumerate(cycles)
    ]
    lines.append(line("calcium", last_day=STARTS + last * ONE_DAY))

    def succession(day: date) -> tuple[bool, ...]:
        return tuple(
            doses_on(one, STARTS, day - back * ONE_DAY)
            for back in range(3)
            for one in lines
        )

    days = checked_days(plan(*lines), "reef", ZoneInfo("UTC"))
    seen = {succession(day) for day in days}
    all_days = [STARTS + offset * ONE_DAY for offset in range(200)]

    assert {
        succession(day)
        for day in all_days
        if any(doses_on(one, STARTS, day) for one in lines)
    } <= seen
