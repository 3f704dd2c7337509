"""Lines with their covariance, against reference libraries."""

from math import inf, nan, sqrt
from random import Random

import numpy as np
import pytest
from scipy import stats

from slackwater.errors import OutOfRangeError
from slackwater.water.lines import Fit, fitted_line, line_from_nought

SECONDS = [1.0, 6.0, 1.0, 6.0, 2.5, 4.0, 1.0]


def noisy(count: int, seed: int) -> list[float]:
    """Values on a line with noise 3, the same for every run."""
    chance = Random(seed)  # noqa: S311 - a simulation, no secret
    return [500.0 * x - 40.0 + chance.gauss(0, 3) for x in SECONDS[:count]]


@pytest.mark.parametrize("count", [3, 4, 5, 7])
@pytest.mark.parametrize("seed", range(5))
def test_equal_weights_are_the_line_of_the_library(count: int, seed: int) -> None:
    """Oracle: scipy.stats.linregress, its errors scaled by the scatter."""
    values = noisy(count, seed)
    line = fitted_line(SECONDS[:count], values, [3.0] * count)
    library = stats.linregress(SECONDS[:count], values)
    assert pytest.approx(float(library.slope), rel=1e-9) == line.slope
    assert pytest.approx(float(library.intercept), rel=1e-9) == line.intercept
    assert pytest.approx(float(library.stderr)) == line.slope_sd * line.scale
    shown = line.intercept_sd * line.scale
    assert pytest.approx(float(library.intercept_stderr)) == shown
    quantile = float(stats.t.ppf(0.975, count - 2))
    assert pytest.approx(quantile) == line.reach()


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("scaled", [True, False])
def test_weights_and_covariance_are_those_of_the_library(
    seed: int, *, scaled: bool
) -> None:
    """Oracle: numpy.polyfit with weights 1 / sd, with and without its scaling."""
    values = noisy(7, seed)
    sds = [5.0, 30.0, 6.0, 28.0, 12.0, 20.0, 4.0]
    line = fitted_line(SECONDS, values, sds)
    factors, covariance = np.polyfit(
        SECONDS, values, 1, w=1 / np.array(sds), cov=True if scaled else "unscaled"
    )
    scale = line.scale if scaled else 1.0
    assert pytest.approx((factors[0], factors[1])) == (line.slope, line.intercept)
    assert pytest.approx(sqrt(covariance[0, 0])) == line.slope_sd * scale
    assert pytest.approx(sqrt(covariance[1, 1])) == line.intercept_sd * scale
    for x in (0.0, 0.4, 3.0, 9.0):
        row = np.array([x, 1.0])
        assert pytest.approx(sqrt(row @ covariance @ row)) == line.sd_at(x) * scale


@pytest.mark.parametrize("seed", range(3))
def test_a_line_from_nought_is_that_of_the_library(seed: int) -> None:
    """Oracle: numpy.linalg on the rows divided by their deviation."""
    values = noisy(7, seed)
    sds = [5.0, 30.0, 6.0, 28.0, 12.0, 20.0, 4.0]
    rows = np.array([[x / sd] for x, sd in zip(SECONDS, sds, strict=True)])
    scaled = np.array(values) / np.array(sds)
    factors, squares, _, _ = np.linalg.lstsq(rows, scaled, rcond=None)
    line = line_from_nought(SECONDS, values, sds)
    assert pytest.approx(float(factors[0])) == line.slope
    variance = float(np.linalg.inv(rows.T @ rows)[0, 0])
    assert pytest.approx(sqrt(variance)) == line.slope_sd
    assert pytest.approx(sqrt(float(squares[0]) / 6)) == line.scale
    assert pytest.approx(3 * sqrt(variance)) == line.sd_at(3.0)
    assert (0.0, 0.0, 6) == (line.intercept, line.intercept_sd, line.degrees)


def test_points_of_one_place_make_a_line_from_nought() -> None:
    """The mean of three values at 2, and none at 0."""
    assert 3.0 == line_from_nought([2, 2, 2], [5, 6, 7], [1, 1, 1]).slope
    with pytest.raises(OutOfRangeError):
        line_from_nought([2, 0, 2], [5, 6, 7], [1, 1, 1])


def test_a_line_without_scatter_is_found_exactly() -> None:
    """2 x + 1 through its own points: no scatter, whatever the order."""
    line = fitted_line([3, 1, 2], [7, 3, 5], [1, 1, 1])
    assert (2.0, 1.0, 0.0) == (line.slope, line.intercept, line.scale)
    assert 9.0 == line.at(4)


@pytest.mark.parametrize(
    ("xs", "ys", "sds"),
    [
        ([1, 2], [1, 2], [1, 1]),
        ([1, 1, 1], [1, 2, 3], [1, 1, 1]),
        ([1, 2, 3], [1, 2], [1, 1, 1]),
        ([1, 2, 3], [1, 2, 3], [1, 1]),
        ([1, 2, 3], [1, 2, 3], [1, 0, 1]),
        ([1, 2, nan], [1, 2, 3], [1, 1, 1]),
        ([1, 2, 3], [1, inf, 3], [1, 1, 1]),
    ],
)
def test_what_makes_no_line_is_refused(
    xs: list[float], ys: list[float], sds: list[float]
) -> None:
    """Too few, all at one place, unequal counts, no error, no number."""
    with pytest.raises(OutOfRangeError):
        fitted_line(xs, ys, sds)


@pytest.mark.parametrize("confidence", [0.0, 1.0, 1.5])
def test_an_interval_has_a_confidence_between_none_and_all(confidence: float) -> None:
    """0 and 1 belong to no interval."""
    line: Fit = fitted_line([1, 2, 3], [1, 2, 4], [1, 1, 1])
    with pytest.raises(OutOfRangeError):
        line.reach(confidence * 2 - 1)
