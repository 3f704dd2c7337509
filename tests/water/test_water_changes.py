"""Dilution against a tank mixed in small steps."""

from collections.abc import Callable
from fractions import Fraction
from math import exp, inf, nan

import pytest
from hypothesis import given
from hypothesis import strategies as st
from molmass import Formula

from slackwater.errors import OutOfRangeError
from slackwater.water.solutions import saturated_limewater
from slackwater.water.water_changes import (
    Portion,
    after_change,
    after_changes,
    after_exchange,
    changes_to_reach,
    excess_water,
    fraction_to_reach,
    half_life_days,
    mixed,
    rise_by_topoff,
    salinity_after_evaporation,
    salinity_after_excess,
    steady_state,
    step_of_change,
    time_constant_days,
)

LEVELS = st.floats(0, 500)
FRACTIONS = st.floats(0.01, 1.0)


@given(level=LEVELS, new=LEVELS, fraction=FRACTIONS, count=st.integers(0, 30))
def test_changes_one_after_another_are_the_series(
    level: float, new: float, fraction: float, count: int
) -> None:
    """Mixing n times gives what the closed form gives."""
    mixing = level
    for _ in range(count):
        mixing = mixed(
            [
                Portion(litres=1 - fraction, level=mixing),
                Portion(litres=fraction, level=new),
            ]
        )
    assert pytest.approx(mixing, abs=1e-9) == after_changes(level, new, fraction, count)


@given(level=LEVELS, new=LEVELS, limit=LEVELS, fraction=FRACTIONS)
def test_the_count_is_the_smallest_that_reaches(
    level: float, new: float, limit: float, fraction: float
) -> None:
    """One change fewer does not, and where none is said to reach, none does."""
    try:
        count = changes_to_reach(level, limit, new, fraction)
    except OutOfRangeError:
        far = after_changes(level, new, fraction, 2000)
        assert (far - limit) * (level - limit) >= -1e-9
        return
    if count:
        after = after_changes(level, new, fraction, count)
        before = after_changes(level, new, fraction, count - 1)
        assert (after - limit) * (level - limit) <= 1e-6
        assert (before - limit) * (level - limit) > -1e-6


@pytest.mark.parametrize(
    ("level", "limit", "new", "count"),
    [
        (25.0, 5.0, 0.3, 11),
        (5.0, 5.0, 0.3, 0),
        (380.0, 410.0, 430.0, 6),
        (7.0, 7.0, 7.0, 0),
    ],
)
def test_changes_are_counted_both_ways(
    level: float, limit: float, new: float, count: int
) -> None:
    """Down to a limit or up to one, and none at the limit."""
    assert count == changes_to_reach(level, limit, new, 0.15)


def test_all_the_water_is_one_change() -> None:
    """Nothing is left of the old."""
    assert 1 == changes_to_reach(25.0, 5.0, 0.3, 1.0)


@pytest.mark.parametrize("new", [5.0, 6.0, 25.0, 30.0])
def test_worse_new_water_reaches_nothing(new: float) -> None:
    """At the limit, above it, as the tank, or above the tank."""
    with pytest.raises(OutOfRangeError, match="No number of changes"):
        changes_to_reach(25.0, 5.0, new, 0.15)


def test_a_limit_on_the_far_side_of_the_tank_is_not_reached() -> None:
    """A tank below a limit does not climb to it with poorer water."""
    with pytest.raises(OutOfRangeError, match="No number of changes"):
        changes_to_reach(4.0, 5.0, 0.3, 0.15)


@given(level=LEVELS, new=LEVELS, part=st.floats(0.01, 1.0))
def test_the_part_for_a_target_reaches_it(
    level: float, new: float, part: float
) -> None:
    """The inverse of one change."""
    target = after_change(level, new, part)
    if abs(target - level) < 1e-6:
        return
    fraction = fraction_to_reach(level, target, new)
    assert pytest.approx(target) == after_change(level, new, min(fraction, 1.0))


@pytest.mark.parametrize("target", [36.0, 33.0, 32.0, 41.0])
def test_a_target_off_the_way_is_refused(target: float) -> None:
    """From 36 towards 33.5 neither 36 itself nor what lies beyond."""
    with pytest.raises(OutOfRangeError, match="between the tank and the new water"):
        fraction_to_reach(36.0, target, 33.5)


def test_a_change_moves_by_its_part_of_the_difference() -> None:
    """A tenth of water that holds 10 more."""
    assert pytest.approx(1.0) == step_of_change(400.0, 410.0, 0.1)


def test_a_steady_exchange_is_many_small_changes() -> None:
    """A thousand changes of a thousandth."""
    small = after_changes(30.0, 2.0, 0.001, 1000)
    assert pytest.approx(small, rel=1e-3) == after_exchange(30.0, 2.0, 20.0, 20.0)
    assert pytest.approx(16.0) == after_exchange(30.0, 2.0, 20.0, half_life_days(20.0))
    assert 20.0 == time_constant_days(200.0, 10.0)


@pytest.mark.parametrize("production", [0.5, -0.3])
def test_a_steady_state_stays(production: float) -> None:
    """Two years of weekly changes end there, whatever is made or used up."""
    level = 10.0
    for _ in range(200):
        level = after_change(level + 7 * production, 8.0, 0.15)
    found = steady_state(production, 7.0, 0.15, 8.0)
    assert pytest.approx(level) == found.after_change
    assert pytest.approx(level + 7 * production) == found.before_change


def test_evaporation_and_topoff_undo_each_other() -> None:
    """Pure water brings the salinity back."""
    salty = salinity_after_evaporation(35.0, 200.0, 4.0)
    parts = [Portion(litres=196.0, level=salty), Portion(litres=4.0, level=0.0)]
    assert pytest.approx(35.0) == mixed(parts)


def test_what_topoff_holds_adds_up() -> None:
    """Thirty days of 2 L with 15 mg/L in 200 L, mixed day by day."""
    level = 0.0
    for _ in range(30):
        left = salinity_after_evaporation(level, 200.0, 2.0)
        level = mixed(
            [Portion(litres=198.0, level=left), Portion(litres=2.0, level=15.0)]
        )
    assert pytest.approx(level) == rise_by_topoff(15.0, 2.0, 200.0, 30.0)


def test_limewater_by_topoff_has_a_budget() -> None:
    """10 L that stick in 250 L lift alkalinity by 4.9 dKH; oracle: molmass."""
    stock = saturated_limewater(Fraction(25)).effects["alkalinity"]
    rise = rise_by_topoff(stock / 1000, 10.0, 250.0, 1.0)
    assert pytest.approx(4.9, rel=0.05) == rise / (20 / Formula("CaO").mass)


def test_dosed_water_below_evaporation_is_no_excess() -> None:
    """The top-off shrinks and the salinity stands."""
    assert 0.0 == excess_water(0.9, 1.2)
    assert pytest.approx(0.3) == excess_water(1.2, 0.9)
    assert 35.0 == salinity_after_excess(35.0, 200.0, 0.0, 14.0)
    assert pytest.approx(35.0 * exp(-0.021)) == salinity_after_excess(
        35.0, 200.0, 0.3, 14.0
    )


@pytest.mark.parametrize(
    "call",
    [
        lambda: after_change(30.0, 2.0, 0.0),
        lambda: after_change(30.0, 2.0, 1.3),
        lambda: after_change(30.0, 2.0, nan),
        lambda: after_change(nan, 2.0, 0.1),
        lambda: after_change(30.0, inf, 0.1),
        lambda: after_changes(30.0, 2.0, 0.1, -1),
        lambda: changes_to_reach(30.0, nan, 2.0, 0.1),
        lambda: fraction_to_reach(nan, 2.0, 3.0),
        lambda: time_constant_days(0.0, 1.0),
        lambda: time_constant_days(1.0, 0.0),
        lambda: half_life_days(0.0),
        lambda: after_exchange(30.0, 2.0, 0.0, 1.0),
        lambda: after_exchange(30.0, 2.0, 20.0, -1.0),
        lambda: after_exchange(30.0, nan, 20.0, 1.0),
        lambda: steady_state(0.5, 0.0, 0.1, 1.0),
        lambda: steady_state(0.5, 7.0, 0.0, 1.0),
        lambda: mixed([]),
        lambda: mixed([Portion(litres=-1.0, level=35.0)]),
        lambda: mixed([Portion(litres=1.0, level=nan)]),
        lambda: salinity_after_evaporation(35.0, 200.0, 200.0),
        lambda: salinity_after_evaporation(35.0, 200.0, -1.0),
        lambda: rise_by_topoff(-1.0, 2.0, 200.0, 30.0),
        lambda: rise_by_topoff(1.0, -2.0, 200.0, 30.0),
        lambda: rise_by_topoff(1.0, 2.0, 0.0, 30.0),
        lambda: rise_by_topoff(1.0, 2.0, 200.0, -30.0),
        lambda: excess_water(-1.0, 1.0),
        lambda: excess_water(1.0, -1.0),
        lambda: salinity_after_excess(nan, 200.0, 0.0, 1.0),
        lambda: salinity_after_excess(35.0, 200.0, -0.3, 1.0),
    ],
)
def test_what_no_tank_has_is_refused(call: Callable[[], object]) -> None:
    """No volume, parts above all or below nothing, or no number."""
    with pytest.raises(OutOfRangeError):
        call()
