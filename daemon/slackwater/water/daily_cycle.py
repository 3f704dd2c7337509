"""Finds the daily cycle in tests taken at uneven times.

Floor 1. One subject: waves of one day. Laws here: a wave comes with its error; tests
that leave a part of the clock out show none, because they cannot.
Shape: days from any origin, ascending. Units: those of the values.
Source: Lomb 1976, Astrophysics and Space Science 39:447 (from memory), at one turn a
day.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import atan2, cos, hypot, pi, sin, sqrt

from slackwater.water.ranges import all_finite, ascending
from slackwater.water.statistics import check_pairs

FEWEST_TESTS = 8
# A clock with a wider hole may hide the wave in it: own rule, no source.
WIDEST_HOLE_HOURS = 10
_HOURS = 24
_TURN = 2 * pi

Matrix = list[list[float]]


@dataclass(frozen=True, slots=True, kw_only=True)
class DailyCycle:
    """A wave of one day on a straight line.

    `amplitude` is half of what lies between its top and bottom; `top_hour` counts
    from the origin of the days; `residual_sd` is what is left.
    """

    amplitude: float
    amplitude_sd: float
    top_hour: float
    slope: float
    residual_sd: float


def daily_cycle_lomb1976(
    days: Sequence[float], values: Sequence[float]
) -> DailyCycle | None:
    """The wave of one day in a series, None where the tests cannot show it.

    Shape: None for fewer than eight tests, and where they leave more than ten hours
    of the clock untested: testing always at the same hour hides the wave.
    Raises: OutOfRangeError for times that do not ascend or numbers not finite.
    Source: least squares on a + b t + c cos wt + s sin wt, w one turn a day.
    """
    ascending("the days", days)
    count = check_pairs(days, values, 0)
    if count < FEWEST_TESTS or widest_hole_hours(days) > WIDEST_HOLE_HOURS:
        return None
    middle = sum(days) / count
    rows = [[1.0, t - middle, cos(_TURN * t), sin(_TURN * t)] for t in days]
    inverse = _inverse(_squared(rows))
    factors = [_dot(line, _moments(rows, values)) for line in inverse]
    squares = sum(
        (value - _dot(factors, row)) ** 2
        for row, value in zip(rows, values, strict=True)
    )
    return _wave(factors, inverse, squares / (count - len(factors)))


def widest_hole_hours(days: Sequence[float]) -> float:
    """The longest stretch of the clock in which no test was ever taken.

    Shape: one day or more, any order. Raises: OutOfRangeError otherwise.
    """
    all_finite("the days", days)
    clock = sorted(day % 1 for day in days)
    holes = [after - before for before, after in pairwise([*clock, clock[0] + 1])]
    return max(holes) * _HOURS


def _wave(
    factors: Sequence[float], inverse: Sequence[Sequence[float]], variance: float
) -> DailyCycle:
    _, slope, cosine, sine = factors
    amplitude = hypot(cosine, sine)
    # The error is that along the wave; of no wave at all, that along the cosine.
    along = atan2(sine, cosine)
    spread = (
        cos(along) ** 2 * inverse[2][2]
        + sin(along) ** 2 * inverse[3][3]
        + 2 * cos(along) * sin(along) * inverse[2][3]
    )
    return DailyCycle(
        amplitude=amplitude,
        amplitude_sd=sqrt(variance * spread),
        top_hour=along / _TURN * _HOURS % _HOURS,
        slope=slope,
        residual_sd=sqrt(variance),
    )


def _dot(one: Sequence[float], other: Sequence[float]) -> float:
    return sum(x * y for x, y in zip(one, other, strict=True))


def _squared(rows: Matrix) -> Matrix:
    columns = list(zip(*rows, strict=True))
    return [[_dot(one, other) for other in columns] for one in columns]


def _moments(rows: Matrix, values: Sequence[float]) -> list[float]:
    return [_dot(column, values) for column in zip(*rows, strict=True)]


def _inverse(matrix: Matrix) -> Matrix:
    """The inverse by elimination; products of spread-out tests always have one."""
    size = len(matrix)
    rows = [
        [*line, *(float(place == column) for column in range(size))]
        for place, line in enumerate(matrix)
    ]
    for place in range(size):
        pivot = rows[place][place]
        rows[place] = [number / pivot for number in rows[place]]
        for other in range(size):
            if other != place:
                factor = rows[other][place]
                rows[other] = [
                    number - factor * above
                    for number, above in zip(rows[other], rows[place], strict=True)
                ]
    return [row[size:] for row in rows]
