"""Slopes against a reference library."""

from math import inf, nan, sqrt
from random import Random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from slackwater.errors import OutOfRangeError
from slackwater.water.trends import (
    Slope,
    least_squares,
    slope_sd,
    slope_theil1950,
    weighted_least_squares,
)

DAYS = [0.0, 0.9, 2.0, 3.1, 4.0, 5.0, 6.2, 7.0, 8.1, 9.5, 11.0, 13.2]


def readings(count: int, seed: int, slope: float = -0.3) -> list[float]:
    """Readings on a line with noise 0.1, the same for every run."""
    chance = Random(seed)  # noqa: S311 - a simulation, no secret
    return [8.0 + slope * day + chance.gauss(0, 0.1) for day in DAYS[:count]]


@pytest.mark.parametrize("count", [3, 4, 5, 8, 12])
@pytest.mark.parametrize("seed", range(5))
def test_the_line_is_that_of_the_library(count: int, seed: int) -> None:
    """Oracle: scipy.stats.linregress, and its t interval."""
    values = readings(count, seed)
    line, library = (
        least_squares(DAYS[:count], values),
        stats.linregress(DAYS[:count], values),
    )
    assert pytest.approx(float(library.slope), rel=1e-9) == line.slope
    assert pytest.approx(float(library.intercept), rel=1e-9) == line.intercept
    assert pytest.approx(float(library.stderr), rel=1e-9) == line.slope_sd
    reach = float(stats.t.ppf(0.95, count - 2) * library.stderr)
    assert pytest.approx(
        (float(library.slope) - reach, float(library.slope) + reach)
    ) == line.interval(0.9)


@pytest.mark.parametrize("seed", range(5))
def test_the_weighted_line_is_that_of_the_library(seed: int) -> None:
    """Oracle: numpy.linalg on the rows divided by their deviation."""
    sds = [0.1, 0.2, 0.05, 0.1, 0.3, 0.1, 0.1, 0.2]
    values = readings(8, seed)
    rows = np.array([[1 / sd, day / sd] for day, sd in zip(DAYS, sds, strict=False)])
    scaled = np.array(values) / np.array(sds)
    factors = np.linalg.lstsq(rows, scaled, rcond=None)[0]
    covariance = np.linalg.inv(rows.T @ rows)
    line = weighted_least_squares(DAYS[:8], values, sds)
    assert pytest.approx(float(factors[1])) == line.slope
    assert pytest.approx(float(factors[0])) == line.intercept
    assert pytest.approx(sqrt(float(covariance[1, 1]))) == line.slope_sd
    residual = float(np.sum((scaled - rows @ factors) ** 2))
    assert pytest.approx(sqrt(residual / 6)) == line.residual_sd


@pytest.mark.parametrize("count", [5, 6, 8, 10, 12])
@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("confidence", [0.9, 0.95])
def test_the_median_slope_is_that_of_the_library(
    count: int, seed: int, confidence: float
) -> None:
    """Oracle: scipy.stats.theilslopes, values without ties."""
    values = readings(count, seed)
    library = stats.theilslopes(values, DAYS[:count], confidence)
    found = slope_theil1950(DAYS[:count], values, confidence)
    assert pytest.approx((float(library[0]), float(library[2]), float(library[3]))) == (
        found.slope,
        found.low,
        found.high,
    )


@given(steps=st.lists(st.integers(75, 85), min_size=5, max_size=12))
def test_a_coarse_instrument_never_narrows_the_interval(steps: list[int]) -> None:
    """Oracle: scipy.stats.theilslopes, which takes ties for knowledge."""
    values, days = [step / 10 for step in steps], DAYS[: len(steps)]
    library = stats.theilslopes(values, days)
    found = slope_theil1950(days, values)
    assert found.low <= float(library[2]) + 1e-12
    assert found.high >= float(library[3]) - 1e-12


@pytest.mark.parametrize("count", [2, 3, 4])
def test_a_few_tests_have_no_interval(count: int) -> None:
    """Four tests in one order happen by chance once in twelve."""
    found = slope_theil1950(DAYS[:count], readings(count, 1))
    assert (-inf, inf) == (found.low, found.high)


def test_one_gross_reading_hardly_moves_the_median_slope() -> None:
    """The line of least squares goes with it."""
    values = [8.0 - 0.1 * day for day in DAYS]
    values[-1] += 3.0
    assert pytest.approx(-0.1) == slope_theil1950(DAYS, values).slope
    assert least_squares(DAYS, values).slope > 0


def test_an_interval_holds_the_truth_as_often_as_it_says() -> None:
    """Four hundred simulated series of eight tests, 95 percent."""
    lines = [
        least_squares(DAYS[:8], readings(8, seed)).interval() for seed in range(400)
    ]
    held = sum(low <= -0.3 <= high for low, high in lines)
    assert 365 <= held <= 395


@pytest.mark.parametrize(
    ("slope", "low", "high", "drift"),
    [
        (0.05, 0.01, 0.09, True),
        (-0.05, -0.09, -0.01, True),
        (0.05, -0.01, 0.11, False),
        (0.04, 0.03, 0.05, False),
    ],
)
def test_a_drift_is_sure_and_large(
    slope: float, low: float, high: float, drift: bool
) -> None:
    """0.3 in a week, and an interval without 0: common practice, no source."""
    assert drift == Slope(slope=slope, low=low, high=high).is_drift(0.3)


def test_more_days_apart_tell_more() -> None:
    """Two tests 14 days apart beat five in four days."""
    assert slope_sd([0.0, 14.0], 0.1) < slope_sd([0.0, 1.0, 2.0, 3.0, 4.0], 0.1)


@pytest.mark.parametrize(
    ("days", "values"),
    [
        ([0.0, 1.0], [8.0, 7.9]),
        ([0.0, 1.0, 1.0], [8.0, 7.9, 7.8]),
        ([0.0, 2.0, 1.0], [8.0, 7.9, 7.8]),
        ([0.0, 1.0, 2.0], [8.0, 7.9, nan]),
        ([0.0, 1.0, 2.0], [8.0, 7.9]),
    ],
)
def test_a_series_without_a_line_is_refused(
    days: list[float], values: list[float]
) -> None:
    """Too short, out of order, twice at one time, or not finite."""
    with pytest.raises(OutOfRangeError):
        least_squares(days, values)


def test_an_error_of_nothing_is_refused() -> None:
    """No test is without error."""
    with pytest.raises(OutOfRangeError, match="error of a test"):
        weighted_least_squares([0.0, 1.0, 2.0], [8.0, 7.9, 7.8], [0.1, 0.0, 0.1])
    with pytest.raises(OutOfRangeError, match="error of a test"):
        slope_sd([0.0, 1.0], 0.0)
    with pytest.raises(OutOfRangeError, match="2 or more"):
        slope_sd([0.0], 0.1)
    with pytest.raises(OutOfRangeError, match="2 or more"):
        slope_theil1950([0.0], [8.0])
