"""How noisy a slow source is beside what it used to be."""

from dataclasses import replace
from math import sqrt
from statistics import fmean, stdev

import pytest

from slackwater.gate.swings.habits import (
    FEWEST_BEFORE,
    READINGS,
    Habit,
    habit_of,
    noise_of,
)
from slackwater.gate.swings.limits import DKH
from tests.gate.swing_tanks import Series
from tests.gate.swings.followed import (
    NOISE_DKH,
    LevelAt,
    at_target,
    noisy,
    seen,
    series,
)


def habit(shown: LevelAt, readings: int, period_min: float = 360.0) -> Habit | None:
    """The habits after so many readings."""
    days = readings * period_min / 1440
    return habit_of(*seen(series(shown, days, period_min)))


def known(found: Habit | None) -> Habit:
    """There must be some."""
    assert found is not None
    return found


def test_readings_before_and_after_are_needed() -> None:
    """As many as both figures can be told by, in whole days."""
    enough = READINGS + FEWEST_BEFORE
    assert habit(noisy(at_target), enough - 1) is None
    assert habit(noisy(at_target), enough + 4) is not None


def unread(one: Series, *places: int) -> Series:
    """The same without some of its readings, counted from the newest sixteen back."""
    newest = len(one.readings) - 16
    lost = {newest - place for place in places}
    return replace(
        one, readings=[row for n, row in enumerate(one.readings) if n not in lost]
    )


def test_twelve_readings_before_the_newest_sixteen_make_a_habit() -> None:
    """Every six hours for three days and a half before them, less one; less two not.

    The day before holds three, those before it four each and the first of them two.
    """
    one = series(noisy(at_target), (16 + 13) / 4, 360.0)
    assert habit_of(*seen(unread(one, 5))) is not None
    assert habit_of(*seen(unread(one, 5, 9))) is None


def test_a_day_with_a_wide_hole_makes_no_habit() -> None:
    """Read every two hours, but not for twelve of the day before the day before."""
    one = series(noisy(at_target), (16 + 23) / 12, 120.0)
    assert habit_of(*seen(one)) is not None
    assert habit_of(*seen(unread(one, *range(15, 20)))) is None


def test_the_newest_sixteen_are_compared_and_the_farthest_four_left_out() -> None:
    """Readings that swing further each time: twelve stay, of which the noise is told.

    Made good is that the farthest are left out, by 1.45.
    """
    wider = [0.01 * n * (-1) ** n for n in range(1, 17)]
    still = series(at_target, 9, 360.0)
    newest = zip(still.readings[-16:], wider, strict=True)
    rows = [*still.readings[:-16], *[(m, v + more) for (m, v), more in newest]]
    found = known(habit_of(*seen(replace(still, readings=rows))))
    assert pytest.approx(1.45 * stdev(wider[:12]) * DKH) == found.now


def test_a_probe_that_drifts_evenly_is_not_loud_for_that() -> None:
    """0.1 dKH from reading to reading, and so it did before."""
    found = known(habit(lambda minute: 6.0 + 0.1 * minute / 360, 36))
    assert found.now < 0.01 * DKH


def test_what_was_dosed_makes_no_source_loud() -> None:
    """Six doses of half a dKH between the newest readings: a staircase."""
    begins = 9 * 1440 - 16 * 360
    doses = [(begins + 360.0 * n + 200, 0.5) for n in (1, 3, 4, 7, 9, 13)]

    def stairs(minute: float) -> float:
        return 6.0 + sum(rise for at, rise in doses if at <= minute)

    dosed = known(habit_of(*seen(series(stairs, 9, 360.0, doses=doses))))
    assert dosed.now < 0.03 * DKH
    bare = known(habit_of(*seen(series(stairs, 9, 360.0))))
    assert bare.now > 0.2 * DKH


def test_of_sixteen_readings_the_four_largest_steps_are_left_out() -> None:
    """A ramp of 0.02: eleven steps of it, over the root of 2 (von Neumann 1941)."""
    ramp = [5.0 + 0.02 * n for n in range(16)]
    assert pytest.approx(1.45 * 0.02 / sqrt(2)) == noise_of(ramp)


def test_of_sixteen_readings_those_farthest_from_their_middle_are_left_out() -> None:
    """Twelve of 5 up and down by 0.1, and four far out on either side."""
    calm = [5.0 + 0.1 * (-1) ** n for n in range(12)]
    assert pytest.approx(1.45 * stdev(calm)) == noise_of([*calm, 2.0, 8.0, 2.1, 7.9])


def test_readings_with_a_gap_before_them_tell_no_habit() -> None:
    """A baseline needs the day before the readings that are compared."""
    one = series(noisy(at_target), 9, 360.0)
    begins = one.readings[-READINGS][0]
    read = [row for row in one.readings if not begins - 2000 < row[0] < begins]
    assert READINGS + FEWEST_BEFORE < len(read)
    assert habit_of(*seen(one)) is not None
    assert habit_of(*seen(replace(one, readings=read))) is None


@pytest.mark.parametrize("period_min", [60.0, 120.0, 360.0])
def test_a_source_that_goes_on_as_ever_is_as_noisy_as_usual(period_min: float) -> None:
    """Over many seeds, both figures are near the noise it has."""
    count = READINGS + (72 if period_min < 360 else 20)
    found = [known(habit(noisy(at_target, s), count, period_min)) for s in range(40)]
    noise = NOISE_DKH * DKH
    assert pytest.approx(noise, rel=0.15) == fmean(one.usual for one in found)
    assert 0.75 * noise < fmean(one.now for one in found) < noise


def test_a_dying_source_is_loud_beside_what_it_was() -> None:
    """Six times as noisy for sixteen readings, which make no habit yet."""
    begins = 9 * 1440 - READINGS * 360
    calm, loud = noisy(at_target, 1), noisy(at_target, 2, 6 * NOISE_DKH)
    found = known(habit(lambda minute: (loud if minute > begins else calm)(minute), 36))
    assert found.now > 3 * found.usual
    assert pytest.approx(NOISE_DKH * DKH, rel=0.5) == found.usual


@pytest.mark.parametrize("shape", ["step", "ramp", "four outliers"])
def test_neither_a_swing_nor_a_few_outliers_make_a_source_loud(shape: str) -> None:
    """A step has one large jump, a ramp small ones, and the farthest are left out."""
    quiet = [0.05 * (-1) ** place for place in range(READINGS)]
    rest = {
        "step": [v + (2.0 if n > 6 else 0.0) for n, v in enumerate(quiet)],
        "ramp": [v + 0.02 * n for n, v in enumerate(quiet)],
        "four outliers": [*quiet[:-4], 3.0, -3.0, 3.1, 2.9],
    }[shape]
    assert noise_of(rest) < 2 * noise_of(quiet)
