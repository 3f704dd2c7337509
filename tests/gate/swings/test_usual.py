"""The baseline of a source: level, drift and cycle of the days before the last."""

from collections.abc import Callable
from math import cos, exp, pi, sqrt, tau

import pytest

from slackwater.gate.swings.limits import CYCLE_UNKNOWN, DKH
from slackwater.gate.swings.usual import Residual, Usual, usual_of

NOW_H = 1000.0
RESOLUTION = 0.004


def hourly(
    days: float, shown: Callable[[float], float], every_h: float = 1.0
) -> list[Residual]:
    """Residuals of so many days before now, the oldest first."""
    count = int(days * 24 / every_h)
    hours = [NOW_H - every_h * (count - place) for place in range(count)]
    return [(hour, shown(hour)) for hour in hours]


def known(residuals: list[Residual], period_h: float = 1.0) -> Usual:
    """There must be a baseline."""
    found = usual_of(residuals, NOW_H, period_h, RESOLUTION)
    assert found is not None
    return found


def test_two_whole_days_before_the_last_are_needed() -> None:
    """The last day takes no part, and one day tells no drift."""
    assert usual_of(hourly(2.5, lambda _: 3.0), NOW_H, 1.0, RESOLUTION) is None
    assert 3.0 == known(hourly(3.0, lambda _: 3.0)).level


def test_the_day_before_the_last_must_be_there() -> None:
    """A baseline that ends two days ago is none."""
    old = [row for row in hourly(6, lambda _: 3.0) if row[0] < NOW_H - 48]
    assert usual_of(old, NOW_H, 1.0, RESOLUTION) is None


def test_the_last_day_takes_no_part_in_its_own_baseline() -> None:
    """A swing of the last hours moves nothing of what it is compared with."""
    calm = hourly(6, lambda _: 3.0)
    swing = [(hour, 4.0 if hour >= NOW_H - 24 else value) for hour, value in calm]
    assert known(calm) == known(swing)


def test_a_drift_is_gone_on_with() -> None:
    """A thousandth an hour before now is one after it too."""
    found = known(hourly(6, lambda hour: 3.0 + 0.001 * (hour - NOW_H)))
    assert pytest.approx(0.001) == found.drift
    assert pytest.approx(3.0, abs=0.003) == found.at(NOW_H)


def test_a_drift_of_the_water_goes_on_more_slowly() -> None:
    """A tank on its way to another level, as the mass balance has it: by its own rate.

    A straight line through the same days would end below where it is going.
    """
    fades = 0.6 / 24
    course = hourly(3.0, lambda hour: 2.0 + exp(-fades * (hour - NOW_H + 72)))
    found = usual_of(course, NOW_H, 1.0, RESOLUTION, fades)
    assert found is not None
    assert pytest.approx(2.0 + exp(-1.8), abs=0.03) == found.at(NOW_H)
    assert known(course).at(NOW_H) < 2.0


def test_few_days_cannot_tell_a_drift_from_a_step() -> None:
    """Of two days the drift is as uncertain as it is large, of more by far less."""

    def drifts(hour: float) -> float:
        return 3.0 + 0.01 * (hour - NOW_H)

    two, six = known(hourly(3, drifts)), known(hourly(7, drifts))
    assert pytest.approx(0.01, rel=0.05) == two.drift_sd
    assert pytest.approx(0.01 / 5, rel=0.05) == six.drift_sd


def test_the_daily_cycle_is_taken_out() -> None:
    """A wave of one day, known to a tenth of its height at any hour."""

    def wave(hour: float) -> float:
        return 3.0 + 0.07 * cos(tau * hour / 24)

    found = known(hourly(8, wave))
    assert [] == [h for h in range(976, 1000) if abs(found.at(h) - wave(h)) > 0.014]


def test_no_drift_passes_for_a_cycle() -> None:
    """Each day is set on its own middle."""
    found = known(hourly(6, lambda hour: 3.0 + 0.004 * (hour - NOW_H)))
    assert [] == [h for h in range(24) if abs(found.clock(h)) > 0.01]


def test_a_day_with_a_wide_hole_is_left_out() -> None:
    """Nine hours of silence would show half of a cycle as a level."""
    whole = hourly(5, lambda _: 3.0)
    holed = [(h, v) for h, v in whole if not NOW_H - 70 <= h < NOW_H - 61]
    assert known(whole).count - 24 == known(holed).count


def test_a_hole_of_eight_hours_is_none_yet() -> None:
    """From one reading to the next, and half an hour longer is one."""
    whole = hourly(5, lambda _: 3.0)
    holed = [(h, v) for h, v in whole if not NOW_H - 70 < h < NOW_H - 62]
    assert known(whole).count - 7 == known(holed).count
    sooner = [(h - 0.5 if h == NOW_H - 70 else h, v) for h, v in holed]
    assert known(whole).count - 24 == known(sooner).count


def test_readings_six_hours_apart_have_no_hole_for_that() -> None:
    """A hole is more than three readings that did not come: 19.2 hours."""
    whole = hourly(6, lambda _: 3.0, 6.0)
    assert 3.0 == known(whole, 6.0).level
    assert 20 == known(whole, 6.0).count
    rare = [(h, v) for h, v in whole if h not in {NOW_H - 66, NOW_H - 60}]
    assert 18 == known(rare, 6.0).count
    late = [(h, v) for h, v in whole if not NOW_H - 72 < h < NOW_H - 48]
    late = sorted([*late, (NOW_H - 49, 3.0)])
    assert 16 == known(late, 6.0).count


def test_an_hour_that_is_never_read_has_a_cycle_nobody_knows() -> None:
    """Read at eight and at sixteen o'clock each day: midnight may be anything."""
    apart = [
        (24.0 * day + hour, 3.0) for day in range(33, 42) for hour in (8.25, 16.25)
    ]
    found = usual_of(apart, 1000.0, 8.0, RESOLUTION)
    assert found is not None
    assert found.variance_at(1008.0) > CYCLE_UNKNOWN**2
    assert found.variance_at(16.0 + 984.0) < CYCLE_UNKNOWN**2
    assert 0.0 == found.clock(1008.0)


def test_an_hour_of_the_clock_is_told_by_its_neighbours() -> None:
    """Read twice a day for two days, at eight and at ten o'clock, 0.2 meq/L apart.

    An hour and the ones beside it if these were read twice, else three on either side.
    """
    rows = [(944.0, 1.0), (946.0, 1.2), (968.0, 1.0), (970.0, 1.2), (992.0, 9.0)]
    found = usual_of(rows, NOW_H, 8.0, RESOLUTION)
    assert found is not None
    by_eight, by_ten, by_both, unknown = (-0.1, 2), (0.1, 2), (0.0, 4), (0.0, 0)
    clock = [unknown] * 24
    clock[5:14] = [by_eight] * 4 + [by_both] + [by_ten] * 4
    assert [count for _, count in clock] == [count for _, count in found.cycle]
    assert pytest.approx([v for v, _ in clock]) == [v for v, _ in found.cycle]
    # Of two readings half is fitted, of two in a day half again: half of the smallest
    # step, over the root of a quarter.
    assert pytest.approx(RESOLUTION / 2 * 2) == found.sd


def jumping(size: float) -> Callable[[float], float]:
    """Up and down from hour to hour, the other way round from day to day."""
    return lambda h: 3.0 + size * (-1) ** (int(h) + (int(h) - 977) // 24)


@pytest.mark.parametrize(
    ("unread", "a_day", "hour"),
    [((), 24, 964.5), ((955.0, 956.0, 965.0, 966.0), 20, 965.3)],
)
def test_each_figure_has_the_error_of_so_many_readings(
    unread: tuple[float, ...], a_day: int, hour: float
) -> None:
    """Six days that jump by 0.2 meq/L; the newest may have been read less often.

    A noise is 1.4826 medians of the jumps over the root of 2 (Hampel 1974). Fitting 18
    readings of an hour of the clock and those of a day to it made it smaller: of n
    readings about their mean is left 1 - 1/n of the variance. The error of a median is
    that of a mean times the root of pi / 2, for normal values; of a slope through days
    -2.5 to 2.5 it is that of a day over the root of 17.5, the sum of their squares.
    """
    rows = [row for row in hourly(7, jumping(0.1)) if row[0] not in unread]
    found = known(rows)
    left = (1 - 1 / 18) * (1 - 1 / a_day)
    sd = 1.4826 * 0.2 / sqrt(2) / sqrt(left)
    level_sd = sd * sqrt(pi / 2) / sqrt(a_day)
    assert pytest.approx((hour, 3.0, 0.0)) == (found.hour, found.level, found.drift)
    assert pytest.approx(sd) == found.sd
    assert pytest.approx(level_sd, rel=1e-4) == found.level_sd
    assert 144 - len(unread) == found.count
    if not unread:
        assert pytest.approx(level_sd / sqrt(17.5) / 24, rel=1e-4) == found.drift_sd
        assert 60.0 == found.back_h


def stated(count: int = 4, drift_sd: float = 0.002) -> Usual:
    """A baseline of round figures, ten hours before hour 110."""
    return Usual(
        hour=100.0,
        level=3.0,
        drift=0.0,
        back_h=12.0,
        fades=0.0,
        cycle=[(0.0, count)] * 24,
        sd=0.1,
        level_sd=0.03,
        drift_sd=drift_sd,
        count=96,
    )


def test_how_uncertain_an_hour_is_is_the_sum_of_its_parts() -> None:
    """Of the level, of the median of four readings of that hour, of ten hours of drift.

    Of an hour of which nobody knows the cycle 0.14 dKH stand for it.
    """
    of_median = pi / 2 * 0.1**2 / 4
    found = stated().variance_at(110.0)
    assert pytest.approx(0.03**2 + of_median + 0.02**2, rel=1e-4) == found
    unknown = stated(count=0).variance_at(110.0)
    assert pytest.approx(0.03**2 + (0.14 * DKH) ** 2 + 0.02**2) == unknown


def test_no_more_days_are_looked_at_than_eight() -> None:
    """What is older is another tank."""
    older = hourly(12, lambda hour: 3.0 if hour >= NOW_H - 216 else 9.0)
    assert 8 * 24 == known(older).count
    assert 3.0 == known(older).level


def test_noise_is_never_below_half_of_what_is_resolved() -> None:
    """A series without any noise is as sure as its last figure."""
    assert known(hourly(6, lambda _: 3.0)).sd >= RESOLUTION / 2
