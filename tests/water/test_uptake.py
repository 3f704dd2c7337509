"""Uptake by lines through tests less what was added."""

from math import inf, nan, sqrt
from random import Random

import numpy as np
import pytest

from slackwater.errors import OutOfRangeError
from slackwater.water.uptake import (
    Steady,
    Uptake,
    added_until,
    balance,
    uptake_between,
    uptake_by_known_errors,
    uptake_by_least_squares,
    uptake_by_median_slope,
)

DAYS = [0.0, 1.0, 2.1, 3.0, 4.0, 5.2, 6.0, 7.1, 8.0, 9.0]
DOSES = (
    Steady(from_day=0.0, to_day=4.0, per_day=0.9),
    Steady(from_day=4.0, to_day=inf, per_day=1.25),
)


def levels(seed: int, *, noise: float = 0.1) -> list[float]:
    """A tank that takes up 1.1 a day, and is dosed as above."""
    chance = Random(seed)  # noqa: S311 - a simulation, no secret
    return [
        8.0 + added_until(DOSES, day) - 1.1 * day + chance.gauss(0, noise)
        for day in DAYS
    ]


@pytest.mark.parametrize(
    ("day", "added"), [(-1.0, 0.0), (0.0, 0.0), (2.0, 1.8), (4.0, 3.6), (6.0, 6.1)]
)
def test_steady_additions_add_up(day: float, added: float) -> None:
    """One ends where the next begins."""
    assert pytest.approx(added) == added_until(DOSES, day)


@pytest.mark.parametrize("seed", range(5))
def test_three_ways_find_the_uptake(seed: int) -> None:
    """A change of the dose in the middle does not matter."""
    added = [added_until(DOSES, day) for day in DAYS]
    tested = levels(seed)
    ways = [
        uptake_by_least_squares(DAYS, tested, added),
        uptake_by_median_slope(DAYS, tested, added),
        uptake_by_known_errors(DAYS, balance(tested, added), [0.1] * len(DAYS)),
    ]
    for found in ways:
        assert pytest.approx(1.1, abs=0.06) == found.per_day
        assert found.low < found.per_day < found.high
        assert 0 < found.sd < 0.03
    assert not ways[0].disagrees(ways[1])


def test_the_error_is_as_large_as_the_estimates_scatter() -> None:
    """Three hundred simulated series, noise 0.1."""
    added = [added_until(DOSES, day) for day in DAYS]
    found = [uptake_by_least_squares(DAYS, levels(n), added) for n in range(300)]
    scatter = float(np.std([one.per_day for one in found]))
    assert pytest.approx(scatter, rel=0.12) == float(np.mean([one.sd for one in found]))


def test_three_tests_have_no_sure_median_slope() -> None:
    """The error is endless, so it disagrees with nothing."""
    found = uptake_by_median_slope([0.0, 1.0, 2.0], [8.0, 7.9, 7.8], [0.0, 0.5, 1.0])
    assert pytest.approx(0.6) == found.per_day
    assert inf == found.sd
    assert not found.disagrees(Uptake(per_day=9.0, sd=0.1, low=8.8, high=9.2))


def test_estimates_far_apart_disagree() -> None:
    """Three common errors, common practice, no source."""
    one = Uptake(per_day=1.0, sd=0.03, low=0.9, high=1.1)
    assert not one.disagrees(Uptake(per_day=1.149, sd=0.04, low=1.0, high=1.3))
    assert one.disagrees(Uptake(per_day=1.151, sd=0.04, low=1.0, high=1.3))


def test_two_tests_far_apart_are_better_than_five_close_together() -> None:
    """Two 14 days apart, error 0.1: good to 0.010 a day."""
    found = uptake_between(0.4, 14.0, 14.0, 0.1)
    assert pytest.approx(14.4 / 14) == found.per_day
    assert pytest.approx(0.1 * sqrt(2) / 14) == found.sd
    assert pytest.approx(2 * 1.959964 * found.sd) == found.high - found.low


@pytest.mark.parametrize(
    ("fall", "added", "days", "sd"),
    [(nan, 1.0, 3.0, 0.1), (0.6, 1.0, 0.0, 0.1), (0.6, 1.0, 3.0, 0.0)],
)
def test_two_tests_that_tell_nothing_are_refused(
    fall: float, added: float, days: float, sd: float
) -> None:
    """No number, no span, no error."""
    with pytest.raises(OutOfRangeError):
        uptake_between(fall, added, days, sd)


def test_every_test_needs_its_addition() -> None:
    """Unequal lengths and what is no number are refused."""
    with pytest.raises(OutOfRangeError, match="2 levels and 1 additions"):
        balance([8.0, 7.9], [0.0])
    with pytest.raises(OutOfRangeError):
        balance([8.0], [nan])
