"""What was told of is explained as far as it reaches, and no further."""

from collections.abc import Sequence
from datetime import UTC, datetime
from math import exp, inf

import pytest

from slackwater.facts.judgements import Break, Told
from slackwater.gate.swings.breaks import (
    BEYOND,
    BEYOND_SHARE,
    SERVICE_REACH,
    UNKNOWN_REACH,
    Habits,
    Joined,
    Shift,
    joined,
    reach_of,
)
from slackwater.gate.swings.limits import DKH
from slackwater.gate.swings.usual import MEDIAN_PRICE, Residual

STEP_H = 100.0
FADES = 0.02


def told_at(hour: float, told: Told = "change", rise: float | None = 0.1) -> Break:
    """Something told of at an hour since 1970."""
    at = datetime.fromtimestamp(hour * 3600, UTC)
    return Break(at=at, told=told, rise=rise)


def habits(period_h: float = 1.0, fades: float = 0.0) -> Habits:
    """A source that reads so often, in a tank that forgets by that share an hour."""
    return Habits(clock=lambda _: 0.0, period_h=period_h, per_peq=1e-9, fades=fades)


def stepped(size: float, begins: float = 80.0, ends: float = 120.0) -> list[Residual]:
    """A reading an hour, higher by a size from the step on."""
    hours = [begins + place for place in range(int(ends - begins))]
    return [(hour, size if hour >= STEP_H else 0.0) for hour in hours]


def test_a_step_told_of_is_taken_off() -> None:
    """As large as the readings say, within its reach."""
    rows = stepped(0.12)
    join = joined(rows, [told_at(STEP_H)], habits())
    assert [0.0] * len(rows) == [value for _, value in join.shifted(rows)]
    assert not join.settling


def rows_of(hours: Sequence[float], size: float = 0.1) -> list[Residual]:
    """Readings at these hours, higher by a size from the step on."""
    return [(hour, size if hour >= STEP_H else 0.0) for hour in hours]


def every(period_h: float, begins: float, ends: float) -> list[float]:
    """Hours from a beginning up to an end, which is not among them."""
    return [begins + period_h * n for n in range(int((ends - begins) / period_h))]


def test_the_size_is_taken_from_five_hours_on_either_side() -> None:
    """From six hours to one before it, and from one to six after it.

    By the hour that is 94 to 98 and 101 to 105, however often the other side was read;
    what was read while the water mixed takes no part.
    """
    by_hour = {"before": every(1.0, 80, 100), "after": every(1.0, 100, 120)}
    by_half = {"before": every(0.5, 80, 100), "after": every(0.5, 100, 120)}
    for before, after in ((by_hour, by_half), (by_half, by_hour), (by_hour, by_hour)):
        rows = rows_of([*before["before"], *after["after"]])
        (shift,) = joined(rows, [told_at(STEP_H)], habits()).shifts
        assert 5 == shift.readings


def test_of_rare_readings_four_and_a_half_periods_are_looked_at() -> None:
    """Every two hours: from nine hours to one before it, which are 92, 94, 96, 98."""
    rows = rows_of(every(2.0, 80, 120))
    (shift,) = joined(rows, [told_at(STEP_H)], habits(2.0)).shifts
    assert 4 == shift.readings


@pytest.mark.parametrize(("begins", "ends"), [(97.0, 120.0), (80.0, 103.0)])
def test_two_readings_of_a_side_are_enough(begins: float, ends: float) -> None:
    """One may be an outlier, two that agree are a level."""
    join = joined(stepped(0.1, begins, ends), [told_at(STEP_H)], habits())
    assert (2, False) == (join.shifts[0].readings, join.settling)


def test_the_step_is_what_the_level_rose_by_without_its_cycle() -> None:
    """From 1.0 to 1.1, while the hour of the day alone would bring far more."""

    def cycle(hour: float) -> float:
        return 0.3 * (hour % 24)

    rows = [(hour, 1.0 + value + cycle(hour)) for hour, value in stepped(0.1)]
    of_day = Habits(clock=cycle, period_h=1.0, per_peq=1e-9, fades=0.0)
    (shift,) = joined(rows, [told_at(STEP_H)], of_day).shifts
    assert pytest.approx(0.1) == shift.size


def test_what_goes_beyond_its_reach_stays() -> None:
    """A change told to bring 0.1 meq/L explains 0.3 dKH and half of it more."""
    rows, reach = stepped(1.0), BEYOND + BEYOND_SHARE * 0.1
    join = joined(rows, [told_at(STEP_H)], habits())
    assert pytest.approx(1.0 - reach) == join.shifted(rows)[-1][1]
    down = stepped(-1.0)
    found = joined(down, [told_at(STEP_H)], habits()).shifted(down)
    assert pytest.approx(-1.0 + reach) == found[-1][1]


@pytest.mark.parametrize("told", ["change", "addition", "event"])
def test_what_moved_the_water_fades(told: Told) -> None:
    """The tank takes up more of more."""
    rows = stepped(0.1)
    (shift,) = joined(rows, [told_at(STEP_H, told)], habits(fades=FADES)).shifts
    assert pytest.approx(0.1 * exp(-10 * FADES)) == shift.at(STEP_H + 10)


@pytest.mark.parametrize("told", ["service", "release"])
def test_what_moved_the_probe_stays(told: Told) -> None:
    """A new scale is one for good."""
    rows = stepped(0.1)
    (shift,) = joined(rows, [told_at(STEP_H, told)], habits(fades=FADES)).shifts
    assert pytest.approx(0.1) == shift.at(STEP_H + 1000)


@pytest.mark.parametrize(
    ("told", "rise", "reach"),
    [
        ("release", None, inf),
        ("service", None, SERVICE_REACH),
        ("event", None, UNKNOWN_REACH),
        ("change", None, UNKNOWN_REACH),
        ("change", -0.2, BEYOND + BEYOND_SHARE * 0.2),
    ],
)
def test_each_kind_has_its_reach(told: Told, rise: float | None, reach: float) -> None:
    """A person who releases accepts anything; a change what it is said to do."""
    assert pytest.approx(reach) == reach_of(told_at(0.0, told, rise), 1e-9)


def test_an_addition_reaches_as_far_as_what_was_added() -> None:
    """Its rise is among the doses already; what it may be off counts."""
    added = Break(at=datetime.fromtimestamp(0, UTC), told="addition", added=200_000_000)
    assert pytest.approx(BEYOND + BEYOND_SHARE * 0.2) == reach_of(added, 1e-9)


def test_too_young_a_step_settles_first() -> None:
    """Nothing was read since the water mixed, so nothing is said."""
    rows = stepped(0.1, ends=STEP_H + 1.5)
    assert joined(rows, [told_at(STEP_H)], habits()).settling


def test_a_step_that_was_long_not_read_after_is_only_a_cut() -> None:
    """The readings began again a day later: what came before is of no use."""
    rows = [row for row in stepped(0.1, ends=140) if not 99 < row[0] < 125]
    join = joined(rows, [told_at(STEP_H)], habits())
    assert (STEP_H, False) == (join.cut, join.settling)
    assert 125.0 == join.shifted(rows)[0][0]


def test_a_source_heard_again_six_hours_later_no_longer_settles() -> None:
    """What it should have read by then it will not read any more."""
    rows = rows_of([*every(1.0, 80, 100), STEP_H + 6])
    assert not joined(rows, [told_at(STEP_H)], habits()).settling
    rows = rows_of([*every(1.0, 80, 100), STEP_H + 5.9])
    assert joined(rows, [told_at(STEP_H)], habits()).settling


def test_a_step_before_which_nothing_was_read_is_a_cut_as_well() -> None:
    """The series begins with it; its first reading counts."""
    rows = stepped(0.1, begins=STEP_H + 1)
    join = joined(rows, [told_at(STEP_H)], habits())
    assert (STEP_H + 1, ()) == (join.cut, join.shifts)
    assert rows == join.shifted(rows)


def test_what_came_before_a_cut_says_nothing_of_the_next_step() -> None:
    """The reading at the cut itself does: with it there are two, enough for a size."""
    rows = [(hour, 0.0) for hour in every(1.0, STEP_H + 1, 120)]
    join = joined(rows, [told_at(STEP_H), told_at(STEP_H + 3.5)], habits())
    assert [2] == [shift.readings for shift in join.shifts]
    assert STEP_H + 1 == join.cut
    early = [(STEP_H - 0.5, 0.0), *rows[1:]]
    join = joined(early, [told_at(STEP_H), told_at(STEP_H + 3.5)], habits())
    assert ((), STEP_H + 4.5) == (join.shifts, join.cut)


def test_without_anything_told_of_nothing_settles() -> None:
    """Every reading counts and may be judged."""
    join = Joined()
    assert (False, True) == (join.settling, join.is_settled(STEP_H))
    assert stepped(0.1) == join.shifted(stepped(0.1))


def test_two_steps_are_joined_one_after_the_other() -> None:
    """The second is measured on what the first one left."""
    rows = [(h, v + (0.2 if h > 110 else 0.0)) for h, v in stepped(0.1, ends=130)]
    steps = [told_at(STEP_H), told_at(110.0, rise=0.2)]
    join = joined(rows, steps, habits())
    assert pytest.approx(0.0) == join.shifted(rows)[-1][1]
    assert pytest.approx(0.0) == join.shifted(rows)[0][1]


def test_nothing_is_judged_within_an_hour_of_a_step() -> None:
    """Water mixes, and the clocks of people are off."""
    join = joined(stepped(0.1), [told_at(STEP_H)], habits())
    spans = [STEP_H - 1, STEP_H, STEP_H + 0.9, STEP_H + 1]
    assert [True, False, False, True] == [join.is_settled(hour) for hour in spans]


def test_of_two_steps_each_keeps_readings_from_being_judged() -> None:
    """One that is over does not make the other settle."""
    steps = [told_at(STEP_H), told_at(110.0)]
    join = joined(stepped(0.1), steps, habits())
    spans = [STEP_H, 105.0, 110.0]
    assert [False, True, False] == [join.is_settled(hour) for hour in spans]


def test_a_join_of_the_last_day_is_uncertain() -> None:
    """By the error of two medians, until a day has passed."""
    shift = Shift(begins=STEP_H, size=0.1, readings=5, fades=0.0)
    join = Joined(shifts=(shift,))
    price = 2 * MEDIAN_PRICE**2 * 0.01 / 5
    hours = [STEP_H - 1, STEP_H, STEP_H + 23, STEP_H + 24]
    found = [join.variance_at(hour, 0.01) for hour in hours]
    assert pytest.approx([0.0, price, price, 0.0]) == found
    assert 0.0 == Joined().variance_at(STEP_H, 0.01)


def test_before_its_step_a_shift_takes_nothing_off() -> None:
    """What was before is what counts."""
    shift = Shift(begins=STEP_H, size=0.1, readings=5, fades=0.0)
    assert (0.0, 0.1) == (shift.at(STEP_H - 1), shift.at(STEP_H))


def test_the_reach_of_nobody_knows_is_one_dkh() -> None:
    """Common practice, no source."""
    assert pytest.approx(DKH) == UNKNOWN_REACH
