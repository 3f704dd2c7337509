"""Days of 23, 23.5, 24.5 and 25 hours (H36, H41)."""

from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo, available_timezones

import pytest

from slackwater.facts.plan import DueDose, PlanLine, Window
from slackwater.planning.ceilings import ceilings
from slackwater.planning.timetable import Timetable
from tests.planning.plans import BERLIN, dues, line, machine, plan, utc

ONE_DAY = timedelta(days=1)

# Source: IANA tz database: day, first instant, hours.
CHANGED_DAYS = (
    (BERLIN, date(2026, 3, 29), "2026-03-28T23:00", 23.0),
    (BERLIN, date(2026, 10, 25), "2026-10-24T22:00", 25.0),
    ("America/St_Johns", date(2026, 3, 8), "2026-03-08T03:30", 23.0),
    ("America/St_Johns", date(2026, 11, 1), "2026-11-01T02:30", 25.0),
    ("Australia/Lord_Howe", date(2026, 4, 5), "2026-04-04T13:00", 24.5),
    ("Australia/Lord_Howe", date(2026, 10, 4), "2026-10-03T13:30", 23.5),
)
DAYS = [(zone, day) for zone, day, _first, _hours in CHANGED_DAYS]
SECOND = timedelta(seconds=1)


def day_of(zone: str, day: date, *lines: PlanLine) -> tuple[DueDose, ...]:
    """The doses of the reef in a zone on a day."""
    return Timetable(plan(*lines), machine(zone)).day("reef", day).doses


@pytest.mark.parametrize(("zone", "day"), DAYS)
@pytest.mark.parametrize("count", [1, 7, 24, 48])
def test_h36_a_changed_day_gives_the_same_count_and_total(
    zone: str, day: date, count: int
) -> None:
    """Neither a dose nor a microlitre is lost or added by the clock."""
    doses = day_of(zone, day, line(per_day_ul=24_007, count=count))

    assert (count, 24_007) == (len(doses), sum(dose.volume_ul for dose in doses))


@pytest.mark.parametrize(("zone", "day", "first", "hours"), CHANGED_DAYS)
def test_h36_doses_are_even_in_elapsed_time(
    zone: str, day: date, first: str, hours: float
) -> None:
    """Twelve doses stand a twelfth of the real length of the day apart."""
    doses = day_of(zone, day, line(count=12))

    step = timedelta(hours=hours) / 12

    assert [utc(first) + number * step for number in range(12)] == [
        dose.due_at for dose in doses
    ]


@pytest.mark.parametrize(("zone", "day"), DAYS)
def test_h36_doses_stay_inside_their_windows_on_the_wall(zone: str, day: date) -> None:
    """A window that the change falls into is kept in wall time."""
    windows = (Window(start_minute=60, end_minute=240),)

    shown = [
        dose.due_at.astimezone(ZoneInfo(zone))
        for dose in day_of(zone, day, line(count=40, windows=windows))
    ]

    assert {day} == {moment.date() for moment in shown}
    assert {1, 2, 3} >= {moment.hour for moment in shown}


@pytest.mark.parametrize(("zone", "day"), DAYS)
def test_h36_lateness_stays_before_the_next_dose(zone: str, day: date) -> None:
    """The gap that lateness is a share of is the real one."""
    timetable = Timetable(plan(line(count=24)), machine(zone))
    doses = [
        dose
        for back in (-1, 0, 1)
        for dose in timetable.day("reef", day + back * ONE_DAY).doses
    ]

    assert all(
        (dose.latest_at - dose.due_at) // SECOND
        == (later.due_at - dose.due_at) // SECOND // 4
        for dose, later in pairwise(doses)
    )


@pytest.mark.parametrize(("zone", "day"), DAYS)
def test_h36_the_rolling_cap_holds_across_the_change(zone: str, day: date) -> None:
    """No 24 h of on-time doses around a change exceed the cap that fits the plan."""
    asked = plan(line(per_day_ul=24_007, count=24))
    fits = {one.key: one.fits for one in ceilings(asked, machine(zone)).all if one.pump}
    start = datetime.combine(day, datetime.min.time(), UTC)
    doses = Timetable(asked, machine(zone)).between(
        start - 2 * ONE_DAY, start + 3 * ONE_DAY
    )

    highest = max(
        sum(
            dose.volume_ul
            for dose in doses
            if last.due_at - ONE_DAY < dose.latest_at and dose.due_at <= last.due_at
        )
        for last in doses
        if last.due_at >= start - ONE_DAY
    )

    assert highest <= fits["most_per_day"]


def test_h36_a_time_that_does_not_exist_is_skipped_and_listed() -> None:
    """02:30 is jumped over; its dose is left out, the others keep their ordinals."""
    one = line(per_day_ul=3_000, count=3, times_minute=(60, 150, 240))
    day = Timetable(plan(one), machine()).day("reef", date(2026, 3, 29))

    assert dues(day.doses) == ["2026-03-29T00:00:00", "2026-03-29T02:00:00"]
    assert [dose.ordinal for dose in day.doses] == [1, 3]
    assert day.left_out == (
        "reef/carbonate@2026-03-29#02: 02:30 does not exist on this day",
    )


def test_h36_a_repeated_time_runs_once_and_first() -> None:
    """02:30 comes twice; the dose belongs to the first."""
    one = line(per_day_ul=1_000, count=1, times_minute=(150,))

    assert dues(day_of(BERLIN, date(2026, 10, 25), one)) == ["2026-10-25T00:30:00"]


def test_h36_a_window_in_the_missing_hour_is_left_out_and_listed() -> None:
    """A line whose windows never come on a day gives nothing and says so."""
    one = line(count=4, windows=(Window(start_minute=125, end_minute=175),))
    day = Timetable(plan(one), machine()).day("reef", date(2026, 3, 29))

    assert (
        day.doses,
        day.left_out,
    ) == ((), ("reef/carbonate@2026-03-29: its windows do not exist on this day",))


def test_h41_a_day_that_a_zone_skipped_gives_nothing() -> None:
    """Samoa crossed the date line: no 30 December 2011, its neighbours are whole.

    Source: IANA tz database, Pacific/Apia.
    """
    asked = plan(line(count=24), starts=date(2011, 12, 1))
    timetable = Timetable(asked, machine("Pacific/Apia"))

    counts = [
        len(timetable.day("reef", date(2011, 12, number)).doses)
        for number in (29, 30, 31)
    ]

    assert counts == [24, 0, 24]


def test_h41_rolling_hours_span_midnight() -> None:
    """A dose at 23:59 and one at 00:01 fall into one stretch of 24 hours."""
    asked = plan(
        line(
            id="late",
            per_day_ul=1_000,
            count=1,
            times_minute=(1439,),
            weekdays=("mon",),
        ),
        line(
            id="early",
            per_day_ul=1_000,
            count=1,
            times_minute=(1,),
            weekdays=("tue",),
        ),
    )

    fits = {one.key: one.fits for one in ceilings(asked, machine()).all if one.pump}

    assert (fits["most_per_dose"], fits["most_per_day"]) == (1_000, 2_000)


def test_h36_all_zones_of_the_database_keep_count_and_total() -> None:
    """Every change of 2026 in every zone leaves the day's doses as they were."""
    changed = [
        (zone, day)
        for zone in sorted(available_timezones())
        for day in _changed_days(ZoneInfo(zone), 2026)
    ]

    short = [
        (zone, day)
        for zone, day in changed
        if [dose.volume_ul for dose in day_of(zone, day, line(per_day_ul=24_012))]
        != [1_000, 1_001] * 12
    ]

    assert short == []
    # More than two hundred zones change their clocks twice a year.
    assert len(changed) > 400


def _changed_days(zone: ZoneInfo, year: int) -> list[date]:
    """Local days with another offset at their end than at their start."""
    first = datetime(year, 1, 1, 12, tzinfo=zone)
    noons = [first + number * ONE_DAY for number in range(365)]
    return [
        later.date()
        for noon, later in pairwise(noons)
        if noon.utcoffset() != later.utcoffset()
    ]
