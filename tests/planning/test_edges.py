"""What the planning says at the very amounts and days where its word changes."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from fractions import Fraction
from math import lcm
from zoneinfo import ZoneInfo

import pytest

from slackwater.facts.plan import DueDose, Group, Window
from slackwater.facts.tank import AlkalinityGuard
from slackwater.planning.ceilings import ceilings, check
from slackwater.planning.changes import Laid, growths, touched_pumps
from slackwater.planning.charges import HOUR, Stretch, Sum, rolling_sums
from slackwater.planning.daily import hours_to_ceiling
from slackwater.planning.days import checked_days
from slackwater.planning.draws import drawn_ul, lasts_days
from slackwater.planning.faults import group_faults, line_faults
from slackwater.planning.suggestions import rounded_up
from slackwater.planning.timetable import Timetable
from tests.planning.plans import (
    BERLIN,
    STARTS,
    line,
    machine,
    plan,
    timed,
    with_pump,
)

ONE_DAY = timedelta(days=1)
MACHINE = machine("UTC")
PUMP = "carbonate-reef"


def test_the_first_dose_above_a_cap_is_named_whichever_sum_it_breaks() -> None:
    """At 06:00 of the second day six doses lie in 24 hours; the day has six by 15:00.

    The dose of 06:00 the day before may begin as late as 07:30, and counts.
    """
    upkeep = line(per_day_ul=10_000, count=4, times_minute=(0, 360, 720, 1080))
    more = line(
        per_day_ul=10_000,
        count=4,
        id="more",
        times_minute=(180, 540, 900, 1260),
        first_day=STARTS + ONE_DAY,
    )
    made = with_pump(MACHINE, PUMP, per_day_ul=13_000)
    found = ceilings(plan(upkeep, more), made)
    (broken,) = found.broken
    assert ("most_per_day", 15_000) == (broken.key, broken.found)
    assert "reef/carbonate@2026-01-06#02" == broken.first
    assert {0} == {one.found for one in found.all if not one.first}


def due(hour: int, latest_hour: int) -> DueDose:
    """A dose of a microlitre."""
    day = datetime(2026, 5, 3, tzinfo=UTC)
    return DueDose(
        id=f"reef/carbonate@2026-05-03#{hour}",
        line="carbonate",
        tank="reef",
        pump=PUMP,
        local_day=day.date(),
        ordinal=hour,
        due_at=day + hour * HOUR,
        latest_at=day + latest_hour * HOUR,
        volume_ul=1,
    )


def test_a_dose_counts_until_it_is_as_old_as_the_stretch() -> None:
    """One that began at one o'clock at the latest is gone from two hours at three."""
    doses = [due(0, 1), due(3, 4)]
    stretch = Stretch(local_day=date(2026, 5, 3), today={PUMP: doses}, before={})
    sums = [Sum(doses[0], 1), Sum(doses[1], 1)]
    assert sums == list(rolling_sums(stretch, {PUMP: 1}, 2 * HOUR))


@pytest.mark.parametrize(
    ("alkalinity", "touched"), [(1_981_350, False), (1_981_351, True)]
)
def test_another_solution_is_one_of_more_than_five_percent(
    alkalinity: int, touched: bool
) -> None:
    """1 887 000 and a twentieth, to the unit."""
    mixed = replace(MACHINE.solutions["carbonate"], effects={"alkalinity": alkalinity})
    other = replace(MACHINE, solutions={**MACHINE.solutions, "carbonate": mixed})
    assert touched == bool(touched_pumps(MACHINE, other, plan(line())))


def test_what_no_plan_gave_before_grows_from_nothing_and_is_left_out() -> None:
    """New is told as new, not as a growth."""
    before = Laid(
        plan=plan(line()), machine=MACHINE, until=datetime(2026, 5, 3, tzinfo=UTC)
    )
    assert () == growths([[before]], (plan(line(), line("calcium")), MACHINE))


def test_a_single_microlitre_a_day_is_something_to_grow_from() -> None:
    """Two of it are twice as much."""
    made = with_pump(MACHINE, PUMP, smallest_dose_ul=1)
    small, twice = (plan(line(per_day_ul=ul, count=1)) for ul in (1, 2))
    before = Laid(plan=small, machine=made, until=datetime(2026, 5, 3, tzinfo=UTC))
    found = growths([[before]], (twice, made))
    assert {Fraction(2)} == {growth.change.ratio for growth in found}
    assert 2 == len(found)


@pytest.mark.parametrize(("carbonate_ul", "faults"), [(30_004, 0), (30_005, 1)])
def test_a_ratio_is_kept_to_a_microlitre_on_either_side(
    carbonate_ul: int, faults: int
) -> None:
    """3 to 2: twice the one less three times the other is five at the most."""
    groups = {"pair": Group(id="pair", ratio={"carbonate": 3, "calcium": 2})}
    lines = (
        line(per_day_ul=carbonate_ul, group="pair"),
        line("calcium", 20_001, group="pair"),
    )
    assert faults == len(group_faults(plan(*lines, groups=groups)))


@pytest.mark.parametrize(
    ("starts", "is_checked"),
    [(date(2026, 3, 27), True), (date(2026, 3, 26), False)],
)
def test_clock_changes_are_looked_for_on_731_days(
    starts: date, is_checked: bool
) -> None:
    """Source: IANA tz database, Europe/Berlin changes on 26 March 2028, 730 days on."""
    days = checked_days(plan(line(), starts=starts), "reef", ZoneInfo(BERLIN))
    assert is_checked == (date(2028, 3, 26) in days)


@pytest.mark.parametrize("cycles", [(4, 9, 25), (2, 7, 31), (19, 23, 1)])
def test_successions_are_kept_once_and_after_a_year_only_fuller_ones(
    cycles: tuple[int, int, int],
) -> None:
    """Oracle: each three days as sets of lines, every day of the cycle walked."""

    def lines_on(offset: int) -> frozenset[int]:
        return frozenset(n for n in cycles if offset >= 0 and offset % n == 0)

    seen: set[tuple[frozenset[int], ...]] = set()
    expected = []
    for offset in range(lcm(*cycles) + 2):
        met = tuple(lines_on(offset - back) for back in range(3))
        is_part = any(
            all(one <= other for one, other in zip(met, old, strict=True))
            for old in seen
        )
        if met in seen or (offset >= 366 and is_part):
            continue
        seen.add(met)
        if met[0]:
            expected.append(STARTS + offset * ONE_DAY)
    lines = [line(id=f"every-{n}", every_days=n) for n in cycles]
    assert expected == list(checked_days(plan(*lines), "reef", ZoneInfo("UTC")))


def test_what_is_drawn_is_counted_from_the_first_day_to_the_last() -> None:
    """Five of ten days come before the line begins."""
    late = line(per_day_ul=1000, first_day=STARTS + 5 * ONE_DAY)
    days = (STARTS, STARTS + 9 * ONE_DAY)
    assert 5000 == drawn_ul(plan(late), {PUMP}, days)


def test_a_bottle_lasts_to_its_last_microlitre() -> None:
    """One a day of one is a day; an empty one ends with the next dose, six days on."""
    once = line(per_day_ul=1, count=1, last_day=STARTS)
    assert 1.0 == lasts_days(plan(once), {PUMP}, 1, STARTS)
    weekly = line(per_day_ul=10_000, every_days=7)
    assert 6.0 == lasts_days(plan(weekly), {PUMP}, 0, STARTS + ONE_DAY)


def test_a_time_before_midnight_is_no_time() -> None:
    """Also where the last one is."""
    one = line(count=2, times_minute=(-5, 10))
    said = [fault.finding.what for fault in line_faults(plan(one), MACHINE)]
    assert ["the times do not make 2 doses of one day"] == said


def test_a_rate_of_one_nanolitre_a_second_is_a_rate() -> None:
    """It is slow, and told as too much for one run."""
    made = with_pump(MACHINE, PUMP, rate_nl_per_s=1)
    said = [fault.finding.what for fault in line_faults(plan(line()), made)]
    assert ["a dose of 1 mL is more than one run can give"] == said


def test_a_cap_of_one_microlitre_a_dose_speaks_against_a_smaller_dose() -> None:
    """It would take more doses than a day has."""
    made = with_pump(MACHINE, PUMP, per_dose_ul=1)
    one = line(per_day_ul=70_000, count=1)
    (fault,) = line_faults(plan(one), made)
    assert "70000 doses are more than 288 a day, for" in fault.finding.do


@pytest.mark.parametrize(
    ("value", "digits", "expected"),
    [(5, 2, "5"), (5, 1, "5"), (101, 2, "110"), (100, 2, "100"), (99, 1, "100")],
)
def test_figures_are_rounded_up_to_whole_numbers(
    value: int, digits: int, expected: str
) -> None:
    """Also those that have fewer digits than are kept."""
    assert expected == f"{rounded_up(Fraction(value), digits)}"


def test_what_is_left_out_is_told_without_the_doses() -> None:
    """Source: IANA tz database, Europe/Berlin has no 02:30 on 29 March 2026."""
    one = line(count=2, times_minute=(90, 150))
    timetable = Timetable(plan(one), machine())
    told = timetable.left_out("reef", date(2026, 3, 29))
    assert ("reef/carbonate@2026-03-29#02: 02:30 does not exist on this day",) == told


@pytest.mark.parametrize(
    ("every_days", "late_s"), [(30, 259), (31, 267), (32, 267), (90, 267)]
)
def test_the_next_dose_is_looked_for_within_31_days(
    every_days: int, late_s: int
) -> None:
    """A ten-thousandth of 30 or 31 days, in whole seconds; beyond, as of 31."""
    made = timed(MACHINE, lateness_share=1e-4)
    one = line(per_day_ul=1000, count=1, every_days=every_days, times_minute=(0,))
    (dose,) = Timetable(plan(one), made).day("reef", STARTS).doses
    assert timedelta(seconds=late_s) == dose.latest_at - dose.due_at


def test_31_days_are_counted_from_midnight_to_midnight() -> None:
    """A four-hundredth of 2 678 400 s is 6696 s, and of a minute less not quite."""
    made = timed(MACHINE, lateness_share=0.0025)
    one = line(per_day_ul=1000, count=1, every_days=90, times_minute=(0,))
    (dose,) = Timetable(plan(one), made).day("reef", STARTS).doses
    assert timedelta(seconds=6696) == dose.latest_at - dose.due_at


def test_a_cap_of_nothing_is_told_as_nothing() -> None:
    """No cap is none, not less."""
    made = with_pump(MACHINE, PUMP, per_day_ul=0)
    expected = {finding.expected for finding in check(plan(line()), made)}
    assert any(said.startswith("at most 0 µL, what [pump.") for said in expected)


def test_the_hours_to_the_ceiling_are_those_of_the_day_that_adds_most() -> None:
    """24 mL a day, and 24 more every second day; 250 L and 1 meq/L of room."""
    tank = replace(MACHINE.tanks["reef"], targets={"alkalinity": 2.5})
    guard = AlkalinityGuard(
        ceiling=3.5,
        floor=2.0,
        rise=0.3,
        fall=0.3,
        spread=0.2,
        hysteresis=0.1,
        good_readings=3,
        hold_at_least_s=3600.0,
    )
    made = replace(
        MACHINE, tanks={**MACHINE.tanks, "reef": tank}, guards={"reef": guard}
    )
    upkeep = line(count=1, times_minute=(0,))
    more = line(count=1, id="more", times_minute=(60,), every_days=2)
    added_meq = 2 * 24 * 1.887
    assert pytest.approx(24 * 250 / added_meq) == hours_to_ceiling(
        plan(upkeep, more), made, "reef"
    )


@pytest.mark.parametrize(
    ("cycles", "meet_on", "is_checked"),
    [((85, 43), 3655, True), ((8, 457), 3656, False)],
)
def test_lines_that_meet_within_ten_years_are_checked(
    cycles: tuple[int, int], meet_on: int, is_checked: bool
) -> None:
    """3654 days from the second, from which on both dose; later is for the gate."""
    one = line(id="one", every_days=cycles[0])
    other = line(id="other", every_days=cycles[1], first_day=STARTS + ONE_DAY)
    days = checked_days(plan(one, other), "reef", ZoneInfo("UTC"))
    assert is_checked == (STARTS + meet_on * ONE_DAY in days)


def test_the_eve_of_a_new_line_is_checked_for_what_it_is_alone() -> None:
    """It was as the fourth day, which is checked."""
    lines = (
        line(id="daily"),
        line(id="fourth", every_days=4),
        line(id="new", first_day=STARTS + 9 * ONE_DAY),
    )
    days = checked_days(plan(*lines), "reef", ZoneInfo("UTC"))
    assert STARTS + 4 * ONE_DAY in days
    assert STARTS + 8 * ONE_DAY not in days


def test_windows_may_touch() -> None:
    """One ends where the next begins: they share no minute."""
    windows = (
        Window(start_minute=0, end_minute=480),
        Window(start_minute=480, end_minute=600),
    )
    assert () == tuple(line_faults(plan(line(windows=windows)), MACHINE))
