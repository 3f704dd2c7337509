"""The baseline of a source: level, drift and cycle of the days before the last."""

from collections.abc import Callable
from math import cos, exp, tau

import pytest

from slackwater.gate.swings.limits import CYCLE_UNKNOWN
from slackwater.gate.swings.usual import DAYS_AT_MOST, Residual, Usual, usual_of

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


def test_readings_six_hours_apart_have_no_hole_for_that() -> None:
    """A hole is three readings that did not come."""
    assert 3.0 == known(hourly(6, lambda _: 3.0, 6.0), 6.0).level


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


def test_no_more_days_are_looked_at_than_eight() -> None:
    """What is older is another tank."""
    older = hourly(12, lambda hour: 3.0 if hour >= NOW_H - 216 else 9.0)
    assert DAYS_AT_MOST * 24 == known(older).count
    assert 3.0 == known(older).level


def test_noise_is_never_below_half_of_what_is_resolved() -> None:
    """A series without any noise is as sure as its last figure."""
    assert known(hourly(6, lambda _: 3.0)).sd >= RESOLUTION / 2
