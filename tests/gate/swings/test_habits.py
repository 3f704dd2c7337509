"""How noisy a slow source is beside what it used to be."""

from dataclasses import replace
from statistics import fmean

import pytest

from slackwater.gate.swings.habits import (
    FEWEST_BEFORE,
    READINGS,
    Habit,
    habit_of,
    noise_of,
)
from slackwater.gate.swings.limits import DKH
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
