"""Slopes of tests taken at uneven times.

Floor 1. One subject: lines through points. Laws here: an estimate comes with
its error; where the tests cannot tell, the interval is endless, never narrow; times
ascend.
Shape: days from any origin, ascending. Units: those of the values, per day.
Source: least squares in closed form; citations from memory, Theil 1950, Proceedings of
the Royal Netherlands Academy 53:386, and Sen 1968, Journal of the American Statistical
Association 63:1379.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from math import inf, sqrt

from slackwater.water.quantiles import normal_quantile_wichura1988, student_quantile
from slackwater.water.ranges import above_zero, all_finite, ascending
from slackwater.water.statistics import check_pairs, median

_FEWEST_FOR_A_LINE = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A straight line through tests, by least squares.

    `residual_sd` is how far the tests lie from it; `degrees` of freedom.
    """

    slope: float
    intercept: float
    slope_sd: float
    residual_sd: float
    degrees: int

    def interval(self, confidence: float = 0.95) -> tuple[float, float]:
        """The interval of the slope, by Student's t.

        Raises: OutOfRangeError for a confidence not above 0 and below 1.
        """
        reach = student_quantile((1 + confidence) / 2, self.degrees) * self.slope_sd
        return self.slope - reach, self.slope + reach


def least_squares(days: Sequence[float], values: Sequence[float]) -> Line:
    """The line with the smallest sum of squares.

    Shape: three tests or more. Raises: OutOfRangeError otherwise.
    """
    count = _check(days, values, _FEWEST_FOR_A_LINE)
    weighted = weighted_least_squares(days, values, [1.0] * count)
    # Without known errors the distance of the tests from the line is their error.
    sd = weighted.residual_sd
    return Line(
        slope=weighted.slope,
        intercept=weighted.intercept,
        slope_sd=weighted.slope_sd * sd,
        residual_sd=sd,
        degrees=weighted.degrees,
    )


def weighted_least_squares(
    days: Sequence[float], values: Sequence[float], sds: Sequence[float]
) -> Line:
    """The line through tests whose standard deviations are known.

    Shape: three tests or more; `residual_sd` in parts of the stated deviations, near 1
    where these are right. Range: deviations above 0.
    Raises: OutOfRangeError otherwise.
    Source: (X'WX)^-1 X'Wy with W = 1 / sd^2.
    """
    count = _check(days, values, _FEWEST_FOR_A_LINE)
    check_pairs(days, sds)
    weights = [1 / above_zero("the error of a test", sd) ** 2 for sd in sds]
    day, value = _mean(days, weights), _mean(values, weights)
    spread = sum(w * (t - day) ** 2 for w, t in zip(weights, days, strict=True))
    points = list(zip(weights, days, values, strict=True))
    slope = sum(w * (t - day) * (y - value) for w, t, y in points) / spread
    squares = sum(w * (y - value - slope * (t - day)) ** 2 for w, t, y in points)
    return Line(
        slope=slope,
        intercept=value - slope * day,
        slope_sd=1 / sqrt(spread),
        residual_sd=sqrt(squares / (count - 2)),
        degrees=count - 2,
    )


def slope_sd(days: Sequence[float], sd: float) -> float:
    """How well tests on these days would tell a slope.

    Shape: two days or more. Range: sd above 0.
    Raises: OutOfRangeError otherwise.
    Source: sd / sqrt(sum (t - mean)^2).
    """
    ascending("the days", days)
    count = all_finite("the days", days, least=2)
    middle = sum(days) / count
    return above_zero("the error of a test", sd) / sqrt(
        sum((day - middle) ** 2 for day in days)
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Slope:
    """A median slope with its interval, endless where tests are too few."""

    slope: float
    low: float
    high: float

    def is_drift(self, least: float, days: float = 7.0) -> bool:
        """Whether the interval leaves out 0 and so many days move more than least."""
        return (self.low > 0 or self.high < 0) and abs(self.slope) * days > least


def slope_theil1950(
    days: Sequence[float], values: Sequence[float], confidence: float = 0.95
) -> Slope:
    """The median of the slopes of all pairs, which gross outliers hardly move.

    Shape: two tests or more; four and fewer have an endless interval at 95 percent.
    Raises: OutOfRangeError otherwise, or for a confidence not above 0 and below 1.
    Source: Theil 1950; interval by Kendall's variance, Sen 1968, equation 2.6 without
    its term for ties, which would narrow the interval of a coarse instrument.
    """
    count = _check(days, values, 2)
    points = zip(days, values, strict=True)
    slopes = sorted(
        (after[1] - before[1]) / (after[0] - before[0])
        for before, after in combinations(points, 2)
    )
    reach = normal_quantile_wichura1988((1 + confidence) / 2) * _kendall_sd(count)
    # Places in the sorted slopes; one outside them is an end nobody can know.
    high, low = round((len(slopes) + reach) / 2), round((len(slopes) - reach) / 2) - 1
    return Slope(
        slope=median(slopes),
        low=slopes[low] if low >= 0 else -inf,
        high=slopes[high] if high < len(slopes) else inf,
    )


def _check(days: Sequence[float], values: Sequence[float], least: int) -> int:
    ascending("the days", days)
    return check_pairs(days, values, least)


def _mean(values: Sequence[float], weights: Sequence[float]) -> float:
    products = (w * value for w, value in zip(weights, values, strict=True))
    return sum(products) / sum(weights)


def _kendall_sd(count: int) -> float:
    return sqrt(count * (count - 1) * (2 * count + 5) / 18)
