"""Days that a bottle lasts, each counted by itself."""

from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from slackwater.facts.plan import PlanLine
from slackwater.planning.days import doses_on
from slackwater.planning.draws import WALKED_DAYS, drawn_ul, lasts_days
from tests.planning.plans import STARTS, line, plan

PUMP = line().pump
# The first day of the invented plan.
FIRST = STARTS


def lasts(left_ul: int, *lines: PlanLine, first: date = FIRST) -> float | None:
    """How long a content of these pumps lasts."""
    return lasts_days(plan(*lines), {PUMP}, left_ul, first)


def test_a_daily_line_shares_a_bottle_evenly() -> None:
    """2 L by 36 mL are 55 days and five ninths."""
    daily = line(per_day_ul=36_000)
    assert 2_000 / 36 == pytest.approx(lasts(2_000_000, daily))
    assert 36_000 * 10 == drawn_ul(
        plan(daily), {PUMP}, (FIRST, FIRST + timedelta(days=9))
    )


def test_a_correction_draws_on_its_own_days_and_then_no_more() -> None:
    """Ten days of 30 mL beside 10 mL a day: 300 and 700 mL of a litre."""
    upkeep = line(per_day_ul=10_000)
    raise_it = replace(
        line(per_day_ul=30_000),
        id="up",
        purpose="correction",
        first_day=FIRST,
        last_day=FIRST + timedelta(days=9),
    )
    assert 70 == lasts(1_000_000, upkeep, raise_it)
    # From its last day on there is one day of it left.
    last = FIRST + timedelta(days=9)
    assert 97 == lasts(1_000_000, upkeep, raise_it, first=last)
    assert lasts(1_000_000, raise_it) is None


def test_a_weekly_line_lasts_until_the_day_it_is_missed() -> None:
    """A dose every seventh day from the first: two of them are there."""
    weekly = line(per_day_ul=10_000, every_days=7)
    assert 8 == lasts(20_000, weekly)
    assert 14.5 == lasts(25_000, weekly)


def test_nothing_drawn_has_no_end_and_nothing_left_no_day() -> None:
    """Another pump's lines do not count; an empty bottle ends on its first dose."""
    daily = line(per_day_ul=10_000)
    assert lasts_days(plan(daily), {"other"}, 10, FIRST) is None
    assert 0 == lasts(0, daily)
    assert 3 == lasts(0, daily, first=FIRST - timedelta(days=3))


def test_far_ahead_it_is_as_exact_as_on_the_first_days() -> None:
    """A drop every other day from a tank: no day more after the last of them."""
    drop = line(per_day_ul=1_000, every_days=2)
    drops = 10 * WALKED_DAYS
    assert 2 * drops - 1 == lasts(drops * 1_000, drop)


def test_where_days_do_not_come_again_for_years_a_mean_stands_for_them() -> None:
    """A drop a day and one a year on weekdays of another: the first days are exact."""
    daily = line(per_day_ul=1_000)
    rare = replace(line(per_day_ul=1_000, every_days=1_097), id="rare")
    weekly = replace(line(per_day_ul=7_000, weekdays=("mon",)), id="weekly")
    # All three on the first day, a Monday, then one alone.
    assert 1.5 == lasts(9_500, daily, rare, weekly)
    years = 20 * WALKED_DAYS
    far = lasts(years * 1_000, daily, rare, weekly)
    assert pytest.approx(years / (2 + 1 / 1_097), abs=8) == far


def test_a_line_that_begins_in_years_is_not_waited_for() -> None:
    """Beyond three years its mean stands for it, whenever it begins."""
    late = replace(line(per_day_ul=1_000), first_day=FIRST + timedelta(days=4_000))
    assert WALKED_DAYS + 5 == lasts(5_000, late)
    soon = replace(late, first_day=FIRST + timedelta(days=WALKED_DAYS))
    assert WALKED_DAYS + 5 == lasts(5_000, soon)


def test_a_line_of_weekdays_counts_by_its_week() -> None:
    """A drop on three days of seven: 11 000 drops are 3 667 weeks less a few days."""
    drop = line(per_day_ul=1_000, weekdays=("mon", "wed", "fri"))
    drops = 10 * WALKED_DAYS
    assert pytest.approx(drops * 7 / 3, abs=7) == lasts(drops * 1_000, drop)


@given(
    left_ul=st.integers(0, 3_000_000),
    shift=st.integers(-9, 40),
    every=st.integers(1, 12),
    first=st.integers(0, 9),
    last=st.integers(0, 30),
)
def test_it_is_what_a_walk_of_all_its_days_comes_to(
    left_ul: int, shift: int, every: int, first: int, last: int
) -> None:
    """A daily line, one of some days, one of weekdays and a correction, day by day."""
    lines = (
        line(per_day_ul=3_000),
        replace(line(per_day_ul=7_001, every_days=every), id="some"),
        replace(line(per_day_ul=999, weekdays=("tue", "sat")), id="week"),
        replace(
            line(per_day_ul=40_000),
            id="up",
            purpose="correction",
            first_day=FIRST + timedelta(days=first),
            last_day=FIRST + timedelta(days=first + last),
        ),
    )
    begins = FIRST + timedelta(days=shift)
    left, number = left_ul, 0
    while True:
        day = begins + timedelta(days=number)
        ul = sum(one.per_day_ul for one in lines if doses_on(one, FIRST, day))
        if 0 < ul >= left:
            break
        left, number = left - ul, number + 1
    assert pytest.approx(number + left / ul) == lasts(left_ul, *lines, first=begins)


@pytest.mark.parametrize("left_ul", [1, 999, 47_123, 250_000])
def test_what_it_lasts_is_what_it_draws(left_ul: int) -> None:
    """Summed day by day apart: gone on the day that is said, and not before."""
    third = replace(line(per_day_ul=7_000, every_days=3), id="b")
    days = lasts(left_ul, line(per_day_ul=3_000), third)
    assert days is not None
    whole = int(days)
    # 3 mL each day, and 7 mL on the first of three.
    before, after = (
        sum(10_000 if number % 3 == 0 else 3_000 for number in range(count))
        for count in (whole, whole + 1)
    )
    assert before <= left_ul <= after
