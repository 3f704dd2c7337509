"""Tells noise, outliers and steps of a series of readings apart.

Floor 1. One subject: statistics of one series. Laws here: what is far out is marked,
never deleted; a noise of 0 is never believed, half of what the instrument resolves is
the least; range and sums work on prediction errors, not on levels that are dosed.
Shape: series in the order of time. Units: those of the readings.
Source (citations from memory, figures computed again): von Neumann 1941, Annals of
Mathematical Statistics 12:367 (successive differences); Hampel 1974, Journal of the
American Statistical Association 69:383; Page 1954, Biometrika 41:100 (cumulative sums);
Siegmund 1985, Sequential Analysis.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import exp, floor, sqrt
from typing import NamedTuple

from slackwater.water.quantiles import range_limit_harter1960, range_mean_tippett1925
from slackwater.water.ranges import above_zero, all_finite, refused, within

# The standard deviation of normal values, over their median absolute deviation.
SD_PER_MEDIAN_DEVIATION = 1.4826
OUTLIER_SDS = 3.0
NARROWEST_WINDOW = 7
WIDEST_WINDOW = 11
# A shift of one standard deviation is found in 10 samples; one false alarm in 465.
SLACK_SDS = 0.5
THRESHOLD_SDS = 5.0
# How far sums overshoot a threshold (Siegmund 1985), on both ends.
_OVERSHOOT = 1.166


def median(values: Sequence[float]) -> float:
    """The middle value, or the mean of the two middle ones.

    Shape: at least one value, any order. Raises: OutOfRangeError otherwise.
    """
    count = all_finite("the values", values)
    ranked = sorted(values)
    return (ranked[(count - 1) // 2] + ranked[count // 2]) / 2


def median_deviation(values: Sequence[float]) -> float:
    """The standard deviation as the median absolute deviation shows it.

    Shape: at least one value. Raises: OutOfRangeError otherwise.
    Source: Hampel 1974; 1.4826 holds for normal values.
    """
    middle = median(values)
    return SD_PER_MEDIAN_DEVIATION * median([abs(value - middle) for value in values])


def noise_vonneumann1941(values: Sequence[float]) -> float:
    """The noise of a series that drifts slowly, from successive differences.

    Shape: at least two values. Raises: OutOfRangeError otherwise.
    Source: sqrt(sum d^2 / (2 (n - 1))).
    """
    all_finite("the values", values, least=2)
    squares = sum(step * step for step in _steps(values))
    return sqrt(squares / (2 * (len(values) - 1)))


def noise_robust(values: Sequence[float]) -> float:
    """The noise of a series that drifts slowly and holds gross outliers.

    Shape: at least two values. Raises: OutOfRangeError otherwise.
    Source: 1.4826 median |d| / sqrt(2), after Hampel 1974.
    """
    all_finite("the values", values, least=2)
    typical = median([abs(step) for step in _steps(values)])
    return SD_PER_MEDIAN_DEVIATION * typical / sqrt(2)


def noise(values: Sequence[float], *, resolution: float) -> float:
    """The noise of a series, never less than half of what the instrument resolves.

    Shape: at least two values. Range: resolution above 0.
    Raises: OutOfRangeError otherwise.
    """
    least = above_zero("the resolution", resolution) / 2
    return max(noise_robust(values), least)


def outliers_hampel1974(
    values: Sequence[float], *, sd_floor: float, window: int = NARROWEST_WINDOW
) -> tuple[int, ...]:
    """Places of the values that lie far from the median of their neighbours.

    Shape: places from 0, ascending; at the ends, and in a series shorter than the
    window, the nearest values there are. Range: window 7 to 11, least noise above 0.
    Raises: OutOfRangeError otherwise.
    Source: |x - median| > 3 * 1.4826 * median absolute deviation.
    """
    above_zero("the least noise", sd_floor)
    within("the window", window, (NARROWEST_WINDOW, WIDEST_WINDOW))
    all_finite("the values", values, least=0)
    return tuple(
        place
        for place, value in enumerate(values)
        if _is_far(value, _neighbours(values, place, window), sd_floor)
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class RangeTest:
    """The range of a stretch beside what noise alone gives."""

    found: float
    expected: float
    limit: float

    @property
    def is_swing(self) -> bool:
        """Whether noise alone goes so far less than once in a hundred."""
        return self.found > self.limit


def range_test(values: Sequence[float], sd: float) -> RangeTest:
    """Whether prediction errors range further than their noise explains.

    Shape: 2 to 30 values; of a probe hourly medians, because raw readings by the
    minute leave any limit. Range: sd above 0.
    Raises: OutOfRangeError otherwise.
    Source: Tippett 1925 and Harter 1960, see `quantiles`.
    """
    count = all_finite("the values", values, least=2)
    above_zero("the noise", sd)
    return RangeTest(
        found=max(values) - min(values),
        expected=range_mean_tippett1925(count) * sd,
        limit=range_limit_harter1960(count) * sd,
    )


def hourly_medians(
    hours: Sequence[float], values: Sequence[float]
) -> tuple[tuple[int, float], ...]:
    """The median of every whole hour that holds a reading.

    Shape: hours in any order, as many as values; pairs of hour and median, ascending.
    Raises: OutOfRangeError for series of unequal length or numbers not finite.
    """
    check_pairs(hours, values)
    bins: dict[int, list[float]] = {}
    for hour, value in zip(hours, values, strict=True):
        bins.setdefault(floor(hour), []).append(value)
    return tuple((hour, median(bins[hour])) for hour in sorted(bins))


class Sums(NamedTuple):
    """Cumulative sums of standardised prediction errors, up and down."""

    up: float = 0.0
    down: float = 0.0

    def is_alarm(self, threshold: float = THRESHOLD_SDS) -> bool:
        """Whether either sum has passed the threshold."""
        return max(self.up, self.down) > threshold


def cusum_page1954(before: Sums, z: float, slack: float = SLACK_SDS) -> Sums:
    """The sums after one more standardised prediction error.

    Units: z in standard deviations, above 0 where the reading is above what was
    predicted. Raises: OutOfRangeError for a z that is not finite.
    Source: S+ = max(0, S+ + z - k), S- = max(0, S- - z - k).
    """
    all_finite("the errors", (z,))
    up, down = before
    return Sums(max(0.0, up + z - slack), max(0.0, down - z - slack))


def all_sums(errors: Sequence[float], slack: float = SLACK_SDS) -> tuple[Sums, ...]:
    """The sums after each of the standardised prediction errors, from 0.

    Raises: OutOfRangeError for an error that is not finite.
    """
    sums, found = Sums(), []
    for z in errors:
        sums = cusum_page1954(sums, z, slack)
        found.append(sums)
    return tuple(found)


def run_length_siegmund1985(
    threshold: float = THRESHOLD_SDS, *, slack: float = SLACK_SDS, shift: float = 0.0
) -> float:
    """Samples until the upward sum alarms on average, when the mean has moved.

    Units: standard deviations; without a shift it is the time between false alarms,
    and both sums together alarm twice as often. Range: threshold and slack above 0.
    Raises: OutOfRangeError outside it.
    Source: (exp(-2 D b) + 2 D b - 1) / (2 D^2), D = shift - k, b = h + 1.166.
    """
    above_zero("the slack", slack)
    reach = above_zero("the threshold", threshold) + _OVERSHOOT
    drift = shift - slack
    if not drift:
        return reach * reach
    return (exp(-2 * drift * reach) + 2 * drift * reach - 1) / (2 * drift * drift)


def check_pairs(times: Sequence[float], values: Sequence[float], least: int = 1) -> int:
    """How many pairs two series make.

    Raises: OutOfRangeError for too few, unequal lengths, or numbers not finite.
    """
    all_finite("the times", times, least=least)
    count = all_finite("the values", values, least=least)
    if len(times) == count:
        return count
    raise refused(what=f"{len(times)} times and {count} values", expected="as many")


def _steps(values: Sequence[float]) -> list[float]:
    return [after - before for before, after in pairwise(values)]


def _neighbours(values: Sequence[float], place: int, window: int) -> Sequence[float]:
    first = min(place - window // 2, len(values) - window)
    return values[max(0, first) : max(0, first) + window]


def _is_far(value: float, neighbours: Sequence[float], sd_floor: float) -> bool:
    sd = max(median_deviation(neighbours), sd_floor)
    return abs(value - median(neighbours)) > OUTLIER_SDS * sd
