"""Sums, range and slope vote on whether a series swings; a retest confirms.

Floor 3. One subject: tests on prediction errors. Laws here: what lies far out alone is
marked and takes no part until the next reading says the same; a vote needs more than
noise and more than a keeper would care about; two votes, or one and a retest; water
that itself did not rise is no swing upward, whatever was predicted of it.
Shape: points ascend in time. Units: meq/L, seconds since 1970.
Source: Page 1954 (sums), Tippett 1925 and Harter 1960 (range), Theil 1950 and Sen 1968
(slope), Hampel 1974 (outliers), see `water.statistics` and `water.trends`.
"""

from bisect import bisect_left
from collections.abc import Sequence
from datetime import UTC, datetime
from statistics import median
from typing import NamedTuple

from slackwater.facts.courses import HOUR_S
from slackwater.gate.swings.limits import (
    GOOD,
    LEAST_RANGE,
    LEAST_SWING,
    SHIFT,
    WINDOW_H,
)
from slackwater.gate.swings.usual import DAY
from slackwater.gate.swings.verdicts import Steady, Swing
from slackwater.water.statistics import (
    OUTLIER_SDS,
    SLACK_SDS,
    THRESHOLD_SDS,
    WIDEST_WINDOW,
    Sums,
    cusum_page1954,
    hourly_medians,
    outliers_hampel1974,
    range_test,
)
from slackwater.water.trends import slope_theil1950

# The table of ranges ends here.
RANGE_AT_MOST = 30
FEWEST = 2
# The sums never came to rest in a window that is so full: what they show is old.
OLD_SHARE = 0.8
# A slope of a week is drawn through six-hour medians, which is 28 of them.
SLOPE_H, SLOPE_AT_MOST = 6, 28
FEWEST_FOR_A_SLOPE = 5
# So long before a swing the level that it rose from is looked for.
BEFORE_H = 30.0
# A test a day may miss one: then at the newest of before.
BEFORE_AT_LEAST = 3


class Point(NamedTuple):
    """How far one block of readings lies from what was predicted.

    `sd` is the error of that, all in all; `bias` the part that neighbours share.
    """

    at_s: float
    error: float
    sd: float
    bias: float


def alone(points: Sequence[Point]) -> set[int]:
    """Places of points that lie far out and that no neighbour confirms."""
    found = set()
    for place, point in enumerate(points):
        _, error, sd, _ = point
        if -LEAST_SWING <= error <= LEAST_SWING or abs(error) <= OUTLIER_SDS * sd:
            continue
        near = (*points[max(place - 1, 0) : place], *points[place + 1 : place + 2])
        is_confirmed = any(_confirms(point, other) for other in near)
        if not is_confirmed and _is_outlier(points, place):
            found.add(place)
    return found


def without_few(points: Sequence[Point]) -> Sequence[Point]:
    """The points without those that stand alone, while these are few.

    Where many do, they are no exceptions but the way of the source.
    """
    far = alone(points)
    if len(far) > FEWEST:
        return points
    return [point for place, point in enumerate(points) if place not in far]


def _confirms(point: Point, other: Point) -> bool:
    """The other lies out on the same side, between half and twice as far."""
    return 1 / FEWEST < other.error / point.error < FEWEST


def _is_outlier(points: Sequence[Point], place: int) -> bool:
    first = max(0, min(place - WIDEST_WINDOW // 2, len(points) - WIDEST_WINDOW))
    near = [point.error for point in points[first : first + WIDEST_WINDOW]]
    marked = outliers_hampel1974(near, sd_floor=points[place].sd, window=WIDEST_WINDOW)
    return place - first in marked


def judged(
    points: Sequence[Point], levels: Sequence[tuple[float, float]]
) -> Swing | Steady:
    """The swing that the points of the last day show, or how many are well.

    Shape: `points` may be empty; `levels` are (seconds, level) of the last week, the
    newest among them.
    """
    far = alone(points)
    kept = [point for place, point in enumerate(points) if place not in far]
    return _swing(kept, levels, len(far)) or _steady(kept)


def _swing(
    points: Sequence[Point], levels: Sequence[tuple[float, float]], outliers: int
) -> Swing | None:
    """The swing that points without outliers show; None where they show none."""
    sums, rest_up, rest_down = _sums(points)
    for sign, total, rest in ((1.0, sums.up, rest_up), (-1.0, sums.down, rest_down)):
        part = points[rest:]
        if len(part) < FEWEST or _is_old(points, rest):
            continue
        size = median(point.error for point in part[-FEWEST:])
        if sign * size < LEAST_SWING or not _is_true(levels, sign, part[0].at_s):
            continue
        votes = _votes(points, levels, (sign, total))
        if len(votes) == 1 and _is_retested(part, sign):
            votes.append("retest")
        if len(votes) >= FEWEST:
            return Swing(
                size=size,
                sd=part[-1].sd,
                since=_utc(part[0].at_s),
                votes=tuple(votes),
                points=len(part),
                outliers=outliers,
            )
    return None


def _is_true(
    levels: Sequence[tuple[float, float]], sign: float, since_s: float
) -> bool:
    """Whether the level itself rose, for a rise, whatever was predicted.

    Water that stands or sinks holds no excess: then the prediction is wrong.
    """
    if sign < 0:
        return True
    times = [at_s for at_s, _ in levels]
    first = bisect_left(times, since_s - BEFORE_H * HOUR_S)
    before = max(bisect_left(times, since_s) - BEFORE_AT_LEAST, 0)
    lowest = min(level for _, level in levels[min(first, before) :])
    return max(level for _, level in levels[-FEWEST:]) - lowest >= LEAST_SWING


def _steady(points: Sequence[Point]) -> Steady:
    """All is well; the newest points in a row that are near the prediction."""
    good = 0
    for point in reversed(points):
        if abs(point.error) > GOOD + point.bias:
            break
        good += 1
    if not points:
        return Steady(good=0, since=None)
    since = _utc(points[-good].at_s) if good else None
    newest = points[-1]
    return Steady(good=good, since=since, off=newest.error, sd=newest.sd)


def _utc(at_s: float) -> datetime:
    return datetime.fromtimestamp(at_s, UTC)


def _sums(points: Sequence[Point]) -> tuple[Sums, int, int]:
    """The sums at the end, and the places after which each of them only grew."""
    sums, rest_up, rest_down = Sums(), 0, 0
    for place, (_, error, sd, bias) in enumerate(points, start=1):
        slack = (SHIFT / 2 + bias) / sd
        slack = max(SLACK_SDS, slack)
        sums = up, down = cusum_page1954(sums, error / sd, slack)
        if not up:
            rest_up = place
        if not down:
            rest_down = place
    return sums, rest_up, rest_down


def _is_old(points: Sequence[Point], rest: int) -> bool:
    """Whether it began before the window: then it is a new level, and no swing."""
    span_h = (points[-1].at_s - points[0].at_s) / HOUR_S
    return not rest and span_h > OLD_SHARE * WINDOW_H


def _votes(
    points: Sequence[Point],
    levels: Sequence[tuple[float, float]],
    of: tuple[float, float],
) -> list[str]:
    sign, total = of
    votes = []
    if total > THRESHOLD_SDS:
        votes.append("sums")
    if _ranges(points, sign):
        votes.append("range")
    # The slope is dear, and decides only where one of the others stands alone.
    if len(votes) == 1 and _slopes(levels, sign):
        votes.append("slope")
    return votes


def _ranges(points: Sequence[Point], sign: float) -> bool:
    """Whether the errors range further than noise, and end on the side of the sign."""
    hours = [point.at_s / HOUR_S for point in points]
    by_hour = hourly_medians(hours, [point.error for point in points])
    errors = [error for _, error in by_hour[-RANGE_AT_MOST:]]
    ends = median(errors[-FEWEST:]) - (max(errors) + min(errors)) / 2
    # One hour or two end in the middle of their range, which is neither side of it.
    return sign * ends > 0 and _is_wide(errors, median(point.sd for point in points))


def _is_wide(errors: Sequence[float], sd: float) -> bool:
    test = range_test(errors, sd)
    return test.is_swing and test.found > LEAST_RANGE


def _slopes(levels: Sequence[tuple[float, float]], sign: float) -> bool:
    """Whether the level itself drifted that way over a week."""
    by_time = hourly_medians(
        [at_s / HOUR_S / SLOPE_H for at_s, _ in levels],
        [level for _, level in levels],
    )[-SLOPE_AT_MOST:]
    if len(by_time) < FEWEST_FOR_A_SLOPE:
        return False
    days = [place * SLOPE_H / DAY for place, _ in by_time]
    slope = slope_theil1950(days, [level for _, level in by_time])
    return slope.is_drift(LEAST_SWING) and sign * slope.slope > 0


def _is_retested(part: Sequence[Point], sign: float) -> bool:
    """Whether the newest point and the one before it both say the same."""
    return all(sign * point.error > SHIFT / 2 for point in part[-FEWEST:])
