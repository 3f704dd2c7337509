"""Straight lines through points of known weight, with what is known of both ends.

Floor 1. One subject: a line with its covariance. Laws here: abscissas may repeat and
need no order, but are not all the same; an estimate comes with its error.
Source: weighted least squares in closed form, (X'WX)^-1 X'Wy with W = 1 / sd^2.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot, sqrt

from slackwater.water.quantiles import student_quantile
from slackwater.water.ranges import above_zero, all_finite, refused

_FEWEST = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """A line; `centre` is the weighted mean abscissa, `centre_sd` the error there.

    `scale` is how far the points lie from it, in parts of the stated deviations: near 1
    where these are right. The errors are those of the stated deviations alone.
    """

    slope: float
    intercept: float
    slope_sd: float
    intercept_sd: float
    centre: float
    centre_sd: float
    scale: float
    degrees: int

    def at(self, x: float) -> float:
        """The line's value."""
        return self.intercept + self.slope * x

    def sd_at(self, x: float) -> float:
        """The error of the line's value."""
        return hypot(self.centre_sd, self.slope_sd * (x - self.centre))

    def reach(self, confidence: float = 0.95) -> float:
        """By what an error is multiplied for an interval, by Student's t.

        Raises: OutOfRangeError for a confidence not above 0 and below 1.
        """
        return student_quantile((1 + confidence) / 2, self.degrees)


def fitted_line(xs: Sequence[float], ys: Sequence[float], sds: Sequence[float]) -> Fit:
    """The line through points whose standard deviations are known.

    Shape: three points or more, equally many of each; at least two different `xs`.
    Range: deviations above 0. Raises: OutOfRangeError otherwise.
    """
    points = _weighted(xs, ys, sds)
    if min(xs) == max(xs):
        raise refused(what="all places are the same", expected="two or more of them")
    return _fitted(points)


def line_from_nought(
    xs: Sequence[float], ys: Sequence[float], sds: Sequence[float]
) -> Fit:
    """The line through the origin, for points that may all be at one place.

    Shape: three points or more, equally many of each. Range: deviations and places
    above 0. Raises: OutOfRangeError otherwise.
    Source: slope = sum w x y / sum w x^2 (weighted least squares of one factor).
    """
    points = _weighted([above_zero("a place", x) for x in xs], ys, sds)
    squares = sum(w * x * x for w, x, _ in points)
    slope = sum(w * x * y for w, x, y in points) / squares
    degrees = len(points) - 1
    return Fit(
        slope=slope,
        intercept=0.0,
        slope_sd=1 / sqrt(squares),
        intercept_sd=0.0,
        centre=0.0,
        centre_sd=0.0,
        scale=sqrt(sum(w * (y - slope * x) ** 2 for w, x, y in points) / degrees),
        degrees=degrees,
    )


def _weighted(
    xs: Sequence[float], ys: Sequence[float], sds: Sequence[float]
) -> list[tuple[float, float, float]]:
    """Weight, place and value of each point."""
    count = all_finite("the places", xs, least=_FEWEST)
    if not count == all_finite("the values", ys) == all_finite("the errors", sds):
        raise refused(
            what=f"there are {count} places, {len(ys)} values and {len(sds)} errors",
            expected="equally many",
        )
    weights = [1 / above_zero("the error of a point", sd) ** 2 for sd in sds]
    return list(zip(weights, xs, ys, strict=True))


def _fitted(points: Sequence[tuple[float, float, float]]) -> Fit:
    total = sum(w for w, _, _ in points)
    centre = sum(w * x for w, x, _ in points) / total
    height = sum(w * y for w, _, y in points) / total
    spread = sum(w * (x - centre) ** 2 for w, x, _ in points)
    slope = sum(w * (x - centre) * (y - height) for w, x, y in points) / spread
    squares = sum(w * (y - height - slope * (x - centre)) ** 2 for w, x, y in points)
    degrees = len(points) - 2
    return Fit(
        slope=slope,
        intercept=height - slope * centre,
        slope_sd=1 / sqrt(spread),
        intercept_sd=hypot(1 / sqrt(total), centre / sqrt(spread)),
        centre=centre,
        centre_sd=1 / sqrt(total),
        scale=sqrt(squares / degrees),
        degrees=degrees,
    )
