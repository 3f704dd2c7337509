"""A value of its sampling day, carried to another day."""

from dataclasses import replace
from math import sqrt

import pytest

from slackwater.assessment.carrying import Carried, Consumption, carried, stated
from slackwater.assessment.inflow import Exchange, Inflow
from slackwater.assessment.practice import shelf_days

TESTED = Carried(level=420.0, sd=10.0, day=100.0)
RUNNING = Inflow(parameter="calcium", outside_per_day=8.0)
KNOWN = Consumption(per_day=9.0, sd=0.5)


def aged(days: float, *more: float) -> float:
    """The error of the test with its age and what else widens it."""
    return sqrt(
        100 + (10 * days / shelf_days("calcium")) ** 2 + sum(x * x for x in more)
    )


def test_what_came_in_and_what_was_used_move_it() -> None:
    """Six days of 8 added and 9 used."""
    found = carried(TESTED, 106.0, RUNNING, KNOWN)
    assert (414.0, aged(6, 3.0), 106.0) == pytest.approx(
        (found.level, found.sd, found.day)
    )


def test_unknown_use_credits_nothing_and_widens() -> None:
    """What was added may be anywhere between all there and twice used up."""
    found = carried(TESTED, 106.0, RUNNING, Consumption())
    assert (420.0, aged(6, 48 / sqrt(3))) == pytest.approx((found.level, found.sd))


def test_a_water_change_mixes_what_there_was_by_then() -> None:
    """Three days, a fifth of new water at 380, three more days."""
    change = Exchange(day=103.0, share=0.2, level=380.0)
    found = carried(TESTED, 106.0, replace(RUNNING, exchanges=(change,)), KNOWN)
    assert 0.8 * 417 + 0.2 * 380 - 3 == pytest.approx(found.level)


def test_untested_new_water_widens() -> None:
    """A fifth of water that may be 15 % off."""
    change = Exchange(day=100.5, share=0.2)
    found = carried(
        TESTED, 101.0, Inflow(parameter="calcium", exchanges=(change,)), Consumption()
    )
    assert (420.0, aged(1, 0.2 * 0.15 * 420)) == pytest.approx((found.level, found.sd))


def test_a_change_before_the_test_is_part_of_it() -> None:
    """And one after the day asked for does not count yet."""
    changes = tuple(Exchange(day=day, share=0.5, level=0.0) for day in (99.0, 107.0))
    found = carried(
        TESTED, 106.0, Inflow(parameter="calcium", exchanges=changes), Consumption()
    )
    assert 420.0 == found.level


def test_a_level_is_never_below_nothing() -> None:
    """Use of 9 a day for a hundred days."""
    plain = Inflow(parameter="calcium")
    assert 0.0 == carried(TESTED, 200.0, plain, KNOWN).level
    change = Exchange(day=199.0, share=0.5, level=400.0)
    mixed = carried(TESTED, 199.5, replace(plain, exchanges=(change,)), KNOWN)
    assert 195.5 == pytest.approx(mixed.level)


def test_a_stated_lower_bound_is_a_ninety_percent_one() -> None:
    """10 with 8 at least: 2 are 1.645 standard deviations."""
    found = stated(10.0, 8.0)
    assert 10.0 == found.per_day
    assert 2 / 1.645 == pytest.approx(found.sd)
