"""Which tests of a series stand out, and which of them a later test confirmed.

Floor 3. One subject: outliers. Laws here: what is far out is marked and not used, never
deleted; two tests that agree confirm each other; the newest one, which nothing has
confirmed yet, is held and asks for a retest.
Source: Hampel 1974 on residuals from the median slope of Theil 1950, in a moving window
of seven tests.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from math import hypot, sqrt

from slackwater.assessment.inflow import Inflow, day_of
from slackwater.assessment.practice import floor_sd
from slackwater.assessment.records import Point, Series, Use
from slackwater.water.statistics import (
    NARROWEST_WINDOW,
    OUTLIER_SDS,
    SD_PER_MEDIAN_DEVIATION,
    median,
    median_deviation,
)
from slackwater.water.trends import slope_theil1950

# Fewer tests show no pattern to stand out from.
FEWEST = 5
FEWEST_FOR_NOISE = 3
# More of the tests than this are no outliers but what the test is like.
MOST_OUTLIERS = 0.25
# The stated error of a test is believed as if so many tests had shown it.
SAID_COUNTS = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Fallen:
    """A test less everything that came in since the first one.

    What is left falls by the uptake alone, if the tests are right.
    """

    day: float
    value: float
    sd: float


@dataclass(frozen=True, slots=True, kw_only=True)
class _Scatter:
    """How far a test lies off the line through those around it, and they off it."""

    off: float
    spread: float


def fallen(points: Sequence[Point], inflow: Inflow) -> list[Fallen]:
    """The tests of a series less what came in: y = A - D - W.

    Shape: one for each point, in order. Water changes move the level there was, between
    the tests before and after it.
    """
    found: list[Fallen] = []
    came = 0.0
    for place, point in enumerate(points):
        day = day_of(point.at)
        if place:
            before = points[place - 1]
            came += inflow.added(found[-1].day, day)
            for exchange in inflow.within(found[-1].day, day):
                step, _ = exchange.moved((before.value + point.value) / 2)
                came += step
        found.append(Fallen(day=day, value=point.value - came, sd=point.sd))
    return found


def cleaned(series: Series, inflow: Inflow) -> Series:
    """The series with errors as its own tests show them, and its outliers marked.

    What stands out by the stated errors does not take part in learning the true ones;
    where too many do, it is the test that scatters. Readings that contradict each other
    take no part.
    """
    told = tuple(one for one in series.points if not one.apart)
    if len(told) == len(series.points):
        return _cleaned(series, inflow)
    rest = (one for one in series.points if one.apart)
    points = (*_cleaned(replace(series, points=told), inflow).points, *rest)
    return replace(series, points=tuple(sorted(points, key=lambda one: one.at)))


def _cleaned(series: Series, inflow: Inflow) -> Series:
    less = fallen(series.points, inflow)
    if len(less) < FEWEST:
        return _with_noise(series, noise_share(less))
    scatters = list(_scatters(less))
    kept = [
        one
        for one, point in zip(less, _marked(series, scatters).points, strict=True)
        if point.use == "used"
    ]
    if len(less) - len(kept) > MOST_OUTLIERS * len(less):
        return _with_noise(series, noise_share(less))
    return _marked(_with_noise(series, noise_share(kept)), scatters)


def noise_share(less: Sequence[Fallen]) -> float:
    """The errors that tests show, as a share of those they are said to have.

    Shape: 1 for fewer than three tests. What is said counts as much as `SAID_COUNTS`
    tests, and the rest is what a test lies off the line between its neighbours, by the
    median.
    Source: second differences, after von Neumann 1941 and Hampel 1974.
    """
    if len(less) < FEWEST_FOR_NOISE:
        return 1.0
    off = [
        _off(before, here, after)
        for before, here, after in zip(less, less[1:], less[2:], strict=False)
    ]
    shown = SD_PER_MEDIAN_DEVIATION * median(off)
    count = len(off)
    said = SAID_COUNTS / (SAID_COUNTS + count)
    return sqrt(said + (1 - said) * shown**2)


def _off(before: Fallen, here: Fallen, after: Fallen) -> float:
    share = (here.day - before.day) / (after.day - before.day)
    between = before.value + share * (after.value - before.value)
    sd = sqrt(here.sd**2 + ((1 - share) * before.sd) ** 2 + (share * after.sd) ** 2)
    return abs(here.value - between) / sd


def _with_noise(series: Series, share: float) -> Series:
    least = floor_sd(series.parameter)
    return replace(
        series,
        points=tuple(
            replace(point, sd=max(point.sd * share, least)) for point in series.points
        ),
    )


def _marked(series: Series, scatters: Sequence[_Scatter]) -> Series:
    far = {
        place: scatter.off
        for place, (scatter, point) in enumerate(
            zip(scatters, series.points, strict=True)
        )
        if abs(scatter.off) > OUTLIER_SDS * max(scatter.spread, point.sd)
    }
    marked = list(series.points)
    for place, residual in far.items():
        if any(
            _agree(residual, far.get(other), series.points[place].sd)
            for other in (place - 1, place + 1)
        ):
            continue
        use: Use = "held" if place == len(marked) - 1 else "outlier"
        marked[place] = replace(marked[place], use=use)
    return replace(series, points=tuple(marked))


def _agree(one: float, other: float | None, sd: float) -> bool:
    return other is not None and abs(one - other) <= OUTLIER_SDS * hypot(sd, sd)


def _scatters(values: Sequence[Fallen]) -> Iterator[_Scatter]:
    """How each test lies to those around it."""
    for place in range(len(values)):
        first = max(
            0, min(place - NARROWEST_WINDOW // 2, len(values) - NARROWEST_WINDOW)
        )
        near = values[first : first + NARROWEST_WINDOW]
        slope = slope_theil1950(
            [one.day for one in near], [one.value for one in near]
        ).slope
        flat = [one.value - slope * (one.day - near[0].day) for one in near]
        yield _Scatter(
            off=flat[place - first] - median(flat), spread=median_deviation(flat)
        )
